"""The printed reference card: its place on the tray, and its print as spectra.

One copy of the card is used for all photos, so one print profile serves them all. Its
patches miss their nominal colour by a printer's gamut and by a random error.
"""

import json
import os
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from PIL import Image

from . import spectra

Image.MAX_IMAGE_PIXELS = None
DESIGN = Path(os.environ.get("CARD_DESIGN", Path(__file__).parent / "card"))
PAPER_MM = 0.15          # thickness
PRINT_COPY_SEED = 20      # which printed copy
BLACK_L = 17.5            # L* of the first copy's black
PRINT_ERROR_LAB = 0.45    # standard deviation of each of L, a, b


@dataclass(frozen=True)
class Print:
    """One printed copy of the card."""
    copy: int = PRINT_COPY_SEED
    black: float = BLACK_L      # L* of the solid black
    paper: float = spectra.PAPER_L      # L*
    error: float = PRINT_ERROR_LAB
    sheen: float = 0.0          # roughness of a semi-gloss surface, 0.15 to 0.5; 0 is matte


@cache
def design():
    return json.loads((DESIGN / "card-v1.json").read_text())


@cache
def black_mask():
    """1 where the design prints black (tags, bar, words), 0 on paper and on patches."""
    grey = np.asarray(Image.open(DESIGN / "card-v1.png").convert("L"), np.float32) / 255
    scale = grey.shape[1] / design()["width_mm"]
    mask = 1 - grey
    for patch in design()["patches"]:
        x, y = int((patch["x_mm"] - 0.5) * scale), int((patch["y_mm"] - 0.5) * scale)
        side = int((patch["width_mm"] + 1) * scale)
        mask[y:y + side, x:x + side] = 0
    return mask


@cache
def patch_prints(copy=Print()):
    """Patch name -> reflectance of this printed copy."""
    rng = np.random.default_rng(copy.copy)
    prints = {}
    for patch in design()["patches"]:
        aim = np.array(patch["lab_d65"]) + rng.normal(0, copy.error, 3)
        if copy.black > BLACK_L:      # no ink is darker than its black
            aim[0] = max(aim[0], copy.black + 1)
        neutral = patch["name"].startswith("grey")
        blacks = [_black_for(aim[0])] if neutral else (0.0, 0.3, 0.6)
        prints[patch["name"]] = spectra.printed(aim, blacks, paper(copy))
    return prints


@cache
def paper(copy=Print()):
    return spectra.paper(copy.paper)


def _black_for(lightness):
    """Black ink for a neutral: most of the density, the coloured inks trim the rest."""
    wanted = spectra.xyz_from_lab((lightness, 0, 0))[1]
    return 0.8 * max(0.0, np.log(0.86 / wanted))


@cache
def black_ink(copy=Print()):
    blacks = [2.6] if copy.black == BLACK_L else (1.4, 1.8, 2.2, 2.6)
    return spectra.printed((copy.black, 0.3, 0.2), blacks, paper(copy))


@dataclass
class Placed:
    """The card on the tray: world place of its top left corner, turn of its x axis."""
    corner: np.ndarray
    turn_deg: float
    curl_mm: float = 0.0      # how high the right end stands off the tray

    def curl(self, x):
        """Height of the paper's underside over the tray, at x along the card."""
        share = np.asarray(x, float) / design()["width_mm"]
        return self.curl_mm * np.maximum(0.0, (share - 0.4) / 0.6) ** 2

    @property
    def axes(self):
        """3 x 3, columns: the card's x, y, z axes in the world."""
        c, s = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        return np.array([[c, s, 0.0], [s, -c, 0.0], [0.0, 0.0, -1.0]])

    @property
    def origin(self):
        return np.array([self.corner[0], self.corner[1], 0.0])

    def to_world(self, points, lift=0.0):
        """Card millimetres (n x 2) to the world, `lift` above the tray."""
        points = np.asarray(points, float)
        flat = np.concatenate([points, -(lift + self.curl(points[:, :1]))], axis=1)
        return flat @ self.axes.T + self.origin

    def from_world(self, points):
        """World points (n x 3) to the card frame (n x 3)."""
        return (np.asarray(points, float) - self.origin) @ self.axes

    def corners(self):
        """Outer corners in the world: TL, TR, BR, BL, on the paper's top."""
        w, h = design()["width_mm"], design()["height_mm"]
        return self.to_world([(0, 0), (w, 0), (w, h), (0, h)], PAPER_MM)

    def tag_corners(self):
        """Tag id -> its black square's TL, TR, BR, BL in the world."""
        tags = {}
        for tag in design()["tags"]:
            x, y, s = tag["x_mm"], tag["y_mm"], tag["size_mm"]
            square = [(x, y), (x + s, y), (x + s, y + s), (x, y + s)]
            tags[tag["id"]] = self.to_world(square, PAPER_MM)
        return tags


def centred(middle, turn_deg):
    """A card whose middle lies at a world place."""
    placed = Placed(np.zeros(2), turn_deg)
    offset = placed.to_world([(design()["width_mm"] / 2, design()["height_mm"] / 2)])[0, :2]
    return Placed(np.asarray(middle) - offset, turn_deg)
