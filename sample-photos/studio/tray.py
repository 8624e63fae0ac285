"""What the pieces lie on: a matte tray, not quite even, some with a rim in view."""

from dataclasses import dataclass

import numpy as np
import trimesh
from scipy.ndimage import gaussian_filter
from shapely.affinity import rotate, translate
from shapely.geometry import Polygon, box

from . import surfaces

RIM_HEIGHT, RIM_WIDTH, TABLE_DROP = 13.0, 5.0, 2.0
PLAIN_HALF = 900.0      # half side of a tray that is larger than the picture
WIDE_HALF = 640.0       # likewise, of those of `surfaces`
GRAIN_MM = 0.5          # a texel


@dataclass
class Tray:
    colour: str             # palette.TRAYS
    grain: float            # strength of the texture, 0 to 1
    table: str = ""         # palette.TABLES where a rim is in view
    share: float = 1.0      # the inside's half size against what the picture shows
    shift: tuple = (0.0, 0.0)
    wooden: bool = False    # a busy table instead of a tray
    surface: str = ""       # `surfaces`: felt, cork, kraft, wood, mat, plastic; "" is the first photos'
    inside_mm: tuple = ()   # (width, height) of the floor of a tray in view, about the scene's middle
    rim_mm: float = RIM_HEIGHT      # its height
    rim_width: float = RIM_WIDTH
    rim_lean: float = 1.0       # how far its top leans out, mm
    corner_mm: float = 12.0     # radius of the floor's corners
    turn: float = 0.0       # degrees, of the tray and its grain
    gloss: float = 0.0      # roughness of a glossy floor and rim; 0 is matte

    def shades(self):
        """What its lighter and its darker shade add to the colour, in Lab."""
        if self.surface:
            return surfaces.SHADES[self.surface]
        return ((6.0, -1.0, 0.0), (-19.0, 2.5, 2.0)) if self.wooden else ((1.2, 0, 0), (-4.0, 0.2, 0.6))

    def plain_half(self):
        return WIDE_HALF if self.surface else PLAIN_HALF

    def texture(self, seed, side_mm):
        if self.surface:
            return surfaces.weight(self.surface, seed, side_mm)
        return wood(seed, side_mm) if self.wooden else texture(seed, side_mm, self.grain)

    def floor(self, view):
        """Inside of the rim in world mm, or None for a tray without an edge in view."""
        if self.inside_mm:
            return self.rounded(0.0)
        if not self.table:
            return None
        pixels = np.array([(0, 0), (view.width, 0), (view.width, view.height), (0, view.height)])
        low, high = (f(view.on_tray(pixels), axis=0) for f in (np.min, np.max))
        middle, half = (low + high) / 2 + self.shift, (high - low) / 2 * self.share
        return box(*(middle - half), *(middle + half)).buffer(-12).buffer(12)

    def rounded(self, out):
        """The floor's outline, `out` mm further out; always of as many points, in the same order."""
        half, radius = np.array(self.inside_mm) / 2 + out, max(0.2, self.corner_mm + out)
        points = [(sx * (half[0] - radius) + radius * np.cos(a), sy * (half[1] - radius) + radius * np.sin(a))
                  for quarter, (sx, sy) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1)))
                  for a in np.pi / 2 * (quarter + np.linspace(0, 1, 9))]
        return translate(rotate(Polygon(points), self.turn, origin=(0, 0)), *self.shift)

    def rim(self, floor):
        """The rim around a floor polygon, as one mesh; of a tray given in mm it leans out and its
        edges are rounded."""
        if not self.inside_mm:
            ring = Polygon(floor.buffer(RIM_WIDTH).exterior, [floor.exterior])
            return trimesh.creation.extrude_polygon(ring, RIM_HEIGHT)
        lean, high, wide = self.rim_lean, self.rim_mm, self.rim_width
        soft = min(0.8, 0.3 * wide)
        section = [(0.0, 0.0), (lean, high - soft), (lean + 0.3 * soft, high - 0.3 * soft), (lean + soft, high),
                   (lean + wide - soft, high), (lean + wide - 0.3 * soft, high - 0.3 * soft),
                   (lean + wide, high - soft), (wide, -TABLE_DROP)]
        return _lofted([np.column_stack([np.array(self.rounded(out).exterior.coords)[:-1],
                                         np.full(36, z)]) for out, z in section])


def _lofted(rings):
    """A closed mesh through rings of as many points each (x, y, z), first and last joined."""
    n, points, faces = len(rings[0]), np.concatenate(rings), []
    for row in range(len(rings)):
        here, there = row * n, (row + 1) % len(rings) * n
        for k in range(n):
            after = (k + 1) % n
            faces += [(here + k, there + k, here + after), (here + after, there + k, there + after)]
    return trimesh.Trimesh(points, faces, process=False)


def texture(seed, side_mm, grain):
    """Weight picture (0 plain, 1 the darker shade): fine grain, blotches and a few specks."""
    rng = np.random.default_rng([seed, 77])
    n = int(side_mm / GRAIN_MM)
    fine = gaussian_filter(rng.standard_normal((n, n)).astype(np.float32), 1.1, mode="wrap")
    broad = gaussian_filter(rng.standard_normal((n // 8, n // 8)).astype(np.float32), 10, mode="wrap")
    broad = np.kron(broad, np.ones((8, 8), np.float32))
    broad = gaussian_filter(np.pad(broad, ((0, n - broad.shape[0]), (0, n - broad.shape[1])),
                                   mode="edge"), 6)
    weight = 0.35 + grain * (0.17 * fine / fine.std() + 0.12 * broad / broad.std())
    specks = rng.integers(0, n, (int(60 * grain * (side_mm / 600) ** 2), 2))
    weight[specks[:, 0], specks[:, 1]] += 0.6
    return np.clip(weight, 0, 1)


def wood(seed, side_mm):
    """Weight picture of boards with rings, fibres and dark joints."""
    rng = np.random.default_rng([seed, 78])
    n = int(side_mm / GRAIN_MM)
    y, x = np.mgrid[0:n, 0:n].astype(np.float32) * GRAIN_MM
    board = np.floor(y / 92.0).astype(int)
    boards = board.max() + 1
    across = (y % 92.0) - rng.uniform(-60, 150, boards)[board]
    along = x + rng.uniform(0, 4000, boards)[board]
    wander = gaussian_filter(rng.standard_normal((n // 4, n // 4)).astype(np.float32), (3, 30))
    wander = np.kron(wander / wander.std(), np.ones((4, 4), np.float32))
    wander = np.pad(wander, ((0, n - wander.shape[0]), (0, n - wander.shape[1])), mode="edge")
    reach = np.hypot(across, 0.055 * (along % 900 - 450)) + 2.2 * wander
    rings = 0.5 + 0.5 * np.sin(2 * np.pi * reach / rng.uniform(6.0, 11.0, boards)[board])
    fibre = gaussian_filter(rng.standard_normal((n, n)).astype(np.float32), (0.6, 14))
    weight = 0.25 + 0.42 * rings**2 + 0.12 * fibre / fibre.std() + rng.uniform(-0.1, 0.2, boards)[board]
    weight[(y % 92.0) < 1.0] = 1.0
    return np.clip(weight, 0, 1).astype(np.float32)
