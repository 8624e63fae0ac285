"""The printed card as Mitsuba shapes: paper with black print, patches a hair above it;
flat or with one end curled, matte or under a glossy film."""

import numpy as np

from . import card
from .gloss import glossy
from .lights import _spectrum
from .meshes import as_mesh, grid, matte

PATCH_LIFT_MM = 0.03
FILM_ROUGHNESS = 0.08


def parts(placed, film, mi, copy=card.Print()):
    design = card.design()
    upright = np.ascontiguousarray(card.black_mask()[::-1])    # v runs up
    mask = mi.Bitmap(upright[:, :, None])
    roughness = FILM_ROUGHNESS if film else copy.sheen
    paper = {"type": "twosided", "inner": {
        "type": "blendbsdf", "weight": {"type": "bitmap", "raw": True, "bitmap": mask},
        "paper": _ink(card.paper(copy), roughness), "black": _ink(card.black_ink(copy), roughness)}}
    sheet = _bent if placed.curl_mm else _flat
    found = {"card": sheet(placed, 0, 0, design["width_mm"], design["height_mm"],
                           card.PAPER_MM, paper, mi)}
    for patch in design["patches"]:
        print_ = card.patch_prints(copy)[patch["name"]]
        bsdf = {"type": "twosided", "inner": _ink(print_, roughness)} if roughness else matte(print_)
        found[f"patch-{patch['name']}"] = sheet(
            placed, patch["x_mm"], patch["y_mm"], patch["width_mm"], patch["height_mm"],
            card.PAPER_MM + PATCH_LIFT_MM, bsdf, mi)
    return found


def _ink(reflectance, roughness):
    """`roughness`: of a glossy surface; 0 is matte."""
    if not roughness:
        return {"type": "diffuse", "reflectance": _spectrum(reflectance)}
    return glossy(reflectance, 1.49, roughness)


def _flat(placed, x, y, width, height, lift, bsdf, mi):
    transform = mi.ScalarTransform4f
    frame = np.eye(4)
    frame[:3, 0], frame[:3, 1] = placed.axes[:, 0], -placed.axes[:, 1]   # y up along the print
    frame[:3, 3] = placed.origin
    spot = transform().translate([x + width / 2, -(y + height / 2), lift])
    return {"type": "rectangle", "bsdf": bsdf,
            "to_world": transform(frame) @ spot @ transform().scale([width / 2, height / 2, 1])}


def _bent(placed, x, y, width, height, lift, bsdf, mi):
    points, faces, places = grid(width, height, max(2, int(width / 2)), 1)
    return as_mesh(placed.to_world(points + (x, y), lift), faces, mi, mi.load_dict(bsdf), places)
