"""A recipe and its seed become a scene: what is where, and the same as Mitsuba objects."""

from dataclasses import dataclass

import numpy as np

from . import card, layout, lights, palette, shapes, spectra, view as views
from . import tray as trays
from .lights import _spectrum


@dataclass
class Scene:
    recipe: object
    view: views.View
    card: card.Placed
    pieces: list
    floor: object          # the tray's inside, or None


def stream(seed, name):
    """A random stream of its own for each concern, so that one does not shift another."""
    return np.random.default_rng([seed, *name.encode()])


def lay_out(recipe):
    """Draw camera, card and pieces from the seed; draw again where there is no room."""
    for attempt in range(40):
        rng = stream(recipe.seed, f"layout{attempt}")
        view = views.held_over_tray(
            recipe.width, recipe.height, recipe.focal_35mm * rng.uniform(0.985, 1.015),
            recipe.distance, recipe.tilt, rng.uniform(0, 360), rng.uniform(-4, 4), rng)
        floor = recipe.tray.floor(view)
        try:
            placed = layout.place_card(view, recipe.card_side, recipe.card_turn, rng)
            if recipe.kind == "teach":
                pieces = layout.rows(shapes.Kind(recipe.form, recipe.sizes[0]), recipe.colours,
                                     view, placed, recipe.card_side, 6, rng)
            else:
                pieces = layout.scatter(wanted(recipe), view, placed, floor, rng)
        except layout.NoRoom:
            continue
        return Scene(recipe, view, placed, pieces, floor)
    raise layout.NoRoom(recipe.name)


def wanted(recipe):
    """(kind, colour) of each piece: small sizes more often than large ones."""
    rng = stream(recipe.seed, "wanted")
    if not recipe.count:
        return []
    area = np.array([np.prod(shapes.Kind(recipe.form, s).studs) for s in recipe.sizes])
    chance = area ** -0.35
    picks = rng.choice(len(recipe.sizes), recipe.count, p=chance / chance.sum())
    colours = recipe.colours or list(rng.choice(
        palette.far_from(recipe.tray.colour, 9.0), recipe.colour_count, replace=False))
    names = rng.choice(colours, recipe.count)
    return [(shapes.Kind(recipe.form, recipe.sizes[i]), str(c)) for i, c in zip(picks, names)]


def build(scene, mi):
    """The whole scene as a Mitsuba dictionary."""
    recipe = scene.recipe
    parts = {"type": "scene"}
    parts.update(lights.emitters(recipe.lighting, scene.view, mi))
    parts.update(_ground(scene, mi))
    parts.update(_card(scene.card, mi))
    gloss = stream(recipe.seed, "gloss")
    coats = {name: _plastic(name, gloss.uniform(0.04, 0.09)) for name in sorted(palette.PIECES)}
    ready = {name: mi.load_dict(coats[name]) for name in {p.colour for p in scene.pieces}}
    for index, piece in enumerate(scene.pieces):
        parts[f"piece{index:04d}"] = mesh_of(piece, mi, ready[piece.colour])
    return parts


def mesh_of(piece, mi, bsdf=None):
    """A piece as a Mitsuba mesh in the world."""
    solid = shapes.solid(piece.kind)
    return as_mesh(piece.to_world(solid.vertices), solid.faces, mi, bsdf)


def as_mesh(vertices, faces, mi, bsdf):
    properties = mi.Properties()
    if bsdf is not None:
        properties["bsdf"] = bsdf
    mesh = mi.Mesh("piece", len(vertices), len(faces), props=properties)
    params = mi.traverse(mesh)
    params["vertex_positions"] = np.ravel(vertices).astype(np.float32)
    params["faces"] = np.ravel(faces).astype(np.uint32)
    params.update()
    return mesh


def _plastic(name, roughness):
    return {"type": "roughplastic", "distribution": "ggx", "int_ior": 1.54, "alpha": roughness,
            "diffuse_reflectance": _spectrum(spectra.plastic(palette.PIECES[name]))}


def _matte(reflectance):
    return {"type": "twosided", "inner": {"type": "diffuse", "reflectance": _spectrum(reflectance)}}


def _ground(scene, mi):
    recipe, transform = scene.recipe, mi.ScalarTransform4f
    lab = np.array(palette.TRAYS[recipe.tray.colour])
    light, dark = spectra.plastic(lab + (1.2, 0, 0)), spectra.plastic(lab + (-4.0, 0.2, 0.6))
    half = trays.PLAIN_HALF
    weight = trays.texture(recipe.seed, 2 * half, recipe.tray.grain)
    surface = {"type": "twosided", "inner": {
        "type": "blendbsdf",
        "weight": {"type": "bitmap", "raw": True, "bitmap": mi.Bitmap(weight[:, :, None])},
        "light": {"type": "diffuse", "reflectance": _spectrum(light)},
        "dark": {"type": "diffuse", "reflectance": _spectrum(dark)}}}
    middle, size = np.zeros(2), np.array([half, half])
    parts = {}
    if scene.floor is not None:
        low, high = np.array(scene.floor.bounds[:2]), np.array(scene.floor.bounds[2:])
        middle, size = (low + high) / 2, (high - low) / 2 + trays.RIM_WIDTH / 2
        ring = trays.rim(scene.floor)
        parts["rim"] = as_mesh(ring.vertices, ring.faces, mi, mi.load_dict(_matte(light)))
        table = spectra.plastic(palette.TABLES[recipe.tray.table])
        parts["table"] = {"type": "rectangle", "bsdf": _matte(table),
                          "to_world": transform().translate([0, 0, -trays.TABLE_DROP])
                          @ transform().scale([2500, 2500, 1])}
    parts["tray"] = {"type": "rectangle", "bsdf": surface,
                     "to_world": transform().translate([*middle, 0]) @ transform().scale([*size, 1])}
    return parts


def _card(placed, mi):
    """Paper with black print, and the patches a hair above it."""
    transform = mi.ScalarTransform4f
    frame = np.eye(4)
    frame[:3, 0], frame[:3, 1] = placed.axes[:, 0], -placed.axes[:, 1]   # y up along the print
    frame[:3, 3] = placed.origin
    frame = transform(frame)

    def sheet(x, y, width, height, lift, bsdf):
        spot = transform().translate([x + width / 2, -(y + height / 2), lift])
        return {"type": "rectangle", "bsdf": bsdf,
                "to_world": frame @ spot @ transform().scale([width / 2, height / 2, 1])}

    design = card.design()
    upright = np.ascontiguousarray(card.black_mask()[::-1])    # v runs up
    mask = mi.Bitmap(upright[:, :, None])
    paper = {"type": "twosided", "inner": {
        "type": "blendbsdf", "weight": {"type": "bitmap", "raw": True, "bitmap": mask},
        "paper": {"type": "diffuse", "reflectance": _spectrum(spectra.paper())},
        "black": {"type": "diffuse", "reflectance": _spectrum(card.black_ink())}}}
    parts = {"card": sheet(0, 0, design["width_mm"], design["height_mm"], card.PAPER_MM, paper)}
    for patch in design["patches"]:
        parts[f"patch-{patch['name']}"] = sheet(
            patch["x_mm"], patch["y_mm"], patch["width_mm"], patch["height_mm"],
            card.PAPER_MM + 0.03, _matte(card.patch_prints()[patch["name"]]))
    return parts
