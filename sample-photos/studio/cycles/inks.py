"""Colours of the second renderer: three numbers, the linear values of Rec. ITU-R BT.2020 primaries,
wide enough for all that is moulded or printed; no spectra. White is D65."""

from functools import cache

import numpy as np
from PIL import Image

from .. import card, spectra

# Rec. ITU-R BT.2020-2, table 4: primaries and D65 white as chromaticities.
PRIMARIES = {"r": (0.708, 0.292), "g": (0.170, 0.797), "b": (0.131, 0.046)}
WHITE = (0.3127, 0.3290)
TEXEL_PER_MM = 10
GAMUT_CHROMA = 44.0
DARKEST, LIGHTEST = 0.003, 0.94     # that a surface sends back


@cache
def from_xyz():
    """CIE XYZ (Y of white 1) to linear BT.2020."""
    xyz = lambda x, y: np.array([x / y, 1.0, (1 - x - y) / y])  # noqa: E731
    primaries = np.stack([xyz(*PRIMARIES[c]) for c in "rgb"], axis=1)
    return np.linalg.inv(primaries * np.linalg.solve(primaries, xyz(*WHITE)))


def of_lab(lab):
    """CIELAB D65 of a surface to what it sends back."""
    return np.clip(spectra.xyz_from_lab(lab) @ from_xyz().T, DARKEST, LIGHTEST)


def of_light(power):
    """A spectrum on the grid; the equal-energy spectrum of 1 has a Y of 1."""
    seen = spectra.observer()
    return np.maximum(power @ seen / seen[:, 1].sum() @ from_xyz().T, 0.0)


def card_picture(copy):
    """The printed card (height x width x 3, linear): this printer's black, paper, narrower gamut,
    and an error of its own at each patch."""
    design, rng = card.design(), np.random.default_rng([copy.copy, 3])
    paper = of_lab((copy.paper, 0.3, rng.uniform(-2.5, 1.5)))
    black = of_lab((copy.black, *rng.normal(0, 0.8, 2)))
    mask = Image.fromarray(card.black_mask())
    size = [round(design[side] * TEXEL_PER_MM) for side in ("width_mm", "height_mm")]
    weight = np.asarray(mask.resize(size, Image.Resampling.BOX))[:, :, None]
    picture = paper * (1 - weight) + black * weight
    for patch in design["patches"]:
        x, y, wide, high = (round(patch[key] * TEXEL_PER_MM) for key in
                            ("x_mm", "y_mm", "width_mm", "height_mm"))
        picture[y:y + high, x:x + wide] = of_lab(_printed(patch, copy, rng))
    return picture.astype(np.float32)


def _printed(patch, copy, rng):
    lab = np.array(patch["lab_d65"], float)
    dark = (95 - lab[0]) / 75       # the darkest patch comes out a little lighter than solid black
    lab[0] = min(lab[0] + (copy.black + 1.5 - 20) * dark**2, copy.paper - 0.5)
    chroma = np.hypot(*lab[1:])
    if chroma > GAMUT_CHROMA:       # where inks give out
        lab[1:] *= (GAMUT_CHROMA + 0.45 * (chroma - GAMUT_CHROMA)) / chroma
    return lab + rng.normal(0, copy.error, 3)
