"""Numbers into Mitsuba's meshes and plain surfaces."""

import numpy as np

from .lights import _spectrum


def as_mesh(vertices, faces, mi, bsdf, texture_places=None):
    properties = mi.Properties()
    if bsdf is not None:
        properties["bsdf"] = bsdf
    mesh = mi.Mesh("piece", len(vertices), len(faces), props=properties,
                   has_vertex_texcoords=texture_places is not None)
    params = mi.traverse(mesh)
    params["vertex_positions"] = np.ravel(vertices).astype(np.float32)
    params["faces"] = np.ravel(faces).astype(np.uint32)
    if texture_places is not None:
        params["vertex_texcoords"] = np.ravel(texture_places).astype(np.float32)
    params.update()
    return mesh


def matte(reflectance):
    return {"type": "twosided", "inner": {"type": "diffuse", "reflectance": _spectrum(reflectance)}}


def grid(width, height, columns, rows):
    """Points (x, y) of a sheet from (0, 0) to (width, height), its triangles, and the
    texture's place at each point, which runs up where y runs down."""
    u, v = np.meshgrid(np.linspace(0, 1, columns + 1), np.linspace(0, 1, rows + 1))
    points = np.stack([u.ravel() * width, v.ravel() * height], axis=1)
    first = (np.arange(rows)[:, None] * (columns + 1) + np.arange(columns)).ravel()
    right, below, across = first + 1, first + columns + 1, first + columns + 2
    faces = np.concatenate([np.stack([first, below, right], 1), np.stack([right, below, across], 1)])
    return points, faces, np.stack([u.ravel(), 1 - v.ravel()], axis=1)
