"""The tray, its rim and the table as Mitsuba shapes."""

import numpy as np

from . import palette, spectra, surfaces, tray as trays
from .gloss import glossy
from .lights import _spectrum
from .meshes import as_mesh, matte


def parts(scene, mi):
    recipe, transform = scene.recipe, mi.ScalarTransform4f
    tray, lab = recipe.tray, np.array(palette.TRAYS[recipe.tray.colour])
    light, dark = (spectra.plastic(lab + shift) for shift in tray.shades())
    half = tray.plain_half()
    coat = _blend(tray.texture(recipe.seed, 2 * half), light, dark, mi, tray.gloss)
    middle, size, turn = np.zeros(2), np.array([half, half]), tray.turn
    found = {}
    if scene.floor is not None:
        ring = tray.rim(scene.floor)
        found["rim"] = as_mesh(ring.vertices, ring.faces, mi, mi.load_dict(_plain(light, tray.gloss)))
        found["table"] = _table(scene, mi)
        if tray.inside_mm:
            middle, size = np.array(tray.shift), np.array(tray.inside_mm) / 2 + tray.rim_width / 2
        else:
            low, high = np.array(scene.floor.bounds[:2]), np.array(scene.floor.bounds[2:])
            middle, size = (low + high) / 2, (high - low) / 2 + trays.RIM_WIDTH / 2
    found["tray"] = {"type": "rectangle", "bsdf": coat,
                     "to_world": transform().translate([*middle, 0]) @ transform().rotate([0, 0, 1], turn)
                     @ transform().scale([*size, 1])}
    return found


def _table(scene, mi):
    tray, transform = scene.recipe.tray, mi.ScalarTransform4f
    lab = np.array(palette.TABLES[tray.table])
    if not tray.surface:
        return {"type": "rectangle", "bsdf": matte(spectra.plastic(lab)),
                "to_world": transform().translate([0, 0, -trays.TABLE_DROP]) @ transform().scale([2500, 2500, 1])}
    made = "wood" if tray.table.endswith("wood") else "plain"
    light, dark = (spectra.plastic(lab + shift) for shift in surfaces.SHADES[made])
    weight = surfaces.weight(made, scene.recipe.seed + 1, 2 * trays.WIDE_HALF, 0.5)
    return {"type": "rectangle", "bsdf": _blend(weight, light, dark, mi, 0.0),
            "to_world": transform().translate([0, 0, -trays.TABLE_DROP])
            @ transform().rotate([0, 0, 1], tray.turn * 0.3) @ transform().scale([trays.WIDE_HALF * 1.4] * 2 + [1])}


def _blend(weight, light, dark, mi, gloss):
    return {"type": "twosided", "inner": {
        "type": "blendbsdf",
        "weight": {"type": "bitmap", "raw": True, "bitmap": mi.Bitmap(weight[:, :, None])},
        "light": _side(light, gloss), "dark": _side(dark, gloss)}}


def _plain(reflectance, gloss):
    return {"type": "twosided", "inner": _side(reflectance, gloss)}


def _side(reflectance, gloss):
    if not gloss:
        return {"type": "diffuse", "reflectance": _spectrum(reflectance)}
    return glossy(reflectance, 1.5, gloss)
