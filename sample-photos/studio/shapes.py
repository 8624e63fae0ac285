"""Pieces as closed solids, by boolean operations; middle of the footprint at the origin,
long side along x, standing on z = 0. Millimetres.

Dimensions are the trade's common practice, from memory and not from a source:
pitch 8, n studs measure 8 n - 0.2, plate and tile 3.2 high, brick 9.6, stud 4.8 x 1.7.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import trimesh
from manifold3d import CrossSection, Manifold

PITCH, PLAY = 8.0, 0.2
HEIGHT = {"plate": 3.2, "tile": 3.2, "brick": 9.6}
STUD_RADIUS, STUD_HEIGHT = 2.4, 1.7
EDGE = 0.18            # radius of the rounded edges
WALL, ROOF = 1.5, 1.2  # of the hollow underside
GROOVE_HEIGHT, GROOVE_DEPTH = 0.45, 0.25
SIZES = ["1x1", "1x2", "1x3", "1x4", "1x6", "1x8", "2x2", "2x3", "2x4", "2x6", "2x8"]


@dataclass(frozen=True)
class Kind:
    """What a piece is, apart from its colour."""
    form: str
    size: str

    @property
    def studs(self):
        """(long, short) in studs."""
        short, long = map(int, self.size.split("x"))
        return long, short

    @property
    def length(self):
        return PITCH * self.studs[0] - PLAY

    @property
    def width(self):
        return PITCH * self.studs[1] - PLAY

    @property
    def height(self):
        """Of the body, without studs."""
        return HEIGHT[self.form]

    @property
    def studded(self):
        return self.form != "tile"

    def stud_centres(self):
        long, short = self.studs
        return [(PITCH * (i - (long - 1) / 2), PITCH * (j - (short - 1) / 2))
                for i in range(long) for j in range(short)]


@cache
def solid(kind, hollow=False, segments=48):
    """The piece as one trimesh; `hollow` opens the underside, for pieces seen from below.
    `segments` of a round part: few where much is rendered and little of it seen."""
    if kind.form == "tile":
        foot = _block(kind.length - 2 * GROOVE_DEPTH, kind.width - 2 * GROOVE_DEPTH, 0, 1, 0.05)
        body = foot + _block(kind.length, kind.width, GROOVE_HEIGHT, kind.height, EDGE)
    else:
        body = _block(kind.length, kind.width, 0, kind.height, EDGE)
    if hollow:
        body = body - _cavity(kind, segments - 8)
    if kind.studded:
        stud = _stud(segments, steps=3 if segments > 24 else 2)
        body = body + Manifold.compose(
            [stud.translate((x, y, kind.height)) for x, y in kind.stud_centres()])
    mesh = body.to_mesh()
    return trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts, process=False)


def _block(length, width, bottom, top, radius, steps=3):
    """A box with rounded edges: the hull of eight eighths of a ball."""
    angles = np.linspace(0, np.pi / 2, steps + 1)
    eighth = np.array([(np.cos(up) * np.cos(turn), np.cos(up) * np.sin(turn), np.sin(up))
                       for up in angles for turn in angles]) * radius
    half = np.array([length, width, top - bottom]) / 2
    corners = [(eighth + half - radius) * (sx, sy, sz)
               for sx in (-1, 1) for sy in (-1, 1) for sz in (-1, 1)]
    return Manifold.hull_points(np.concatenate(corners)).translate((0, 0, (bottom + top) / 2))


def _stud(segments=48, radius=0.2, steps=3):
    """A cylinder with a rounded rim, sunk a little into the body so that it fuses."""
    arc = np.linspace(0, np.pi / 2, steps + 1)
    rim = [(STUD_RADIUS - radius + radius * np.cos(a), STUD_HEIGHT - radius + radius * np.sin(a))
           for a in arc]
    outline = [(0.0, -0.3), (STUD_RADIUS, -0.3), *rim, (0.0, STUD_HEIGHT)]
    return Manifold.revolve(CrossSection([np.array(outline)]), segments)


def _cavity(kind, segments):
    """What is scooped out below: walls and roof stay, and tubes (or pins) between studs."""
    room = Manifold.cube((kind.length - 2 * WALL, kind.width - 2 * WALL, 2 * (kind.height - ROOF)),
                         center=True)
    long, short = kind.studs
    if long == 1:
        return room
    outer, inner = (3.25, 2.4) if short > 1 else (1.6, 0.8)
    for i in range(long - 1):
        for j in range(max(short - 1, 1)):
            tube = Manifold.cylinder(2 * kind.height, outer, circular_segments=segments, center=True)
            bore = Manifold.cylinder(2 * kind.height, inner, circular_segments=segments, center=True)
            at = (PITCH * (i - (long - 2) / 2), PITCH * (j - (short - 2) / 2) if short > 1 else 0, 0)
            room = room - (tube - bore).translate(at)
    return room


def outline_points(kind):
    """Points whose convex hull is the piece's, up to its rounded edges."""
    x, y = kind.length / 2, kind.width / 2
    points = [(sx * x, sy * y, z) for sx in (-1, 1) for sy in (-1, 1) for z in (0, kind.height)]
    if kind.studded:
        turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        rim = np.stack([np.cos(turn), np.sin(turn)], axis=1) * STUD_RADIUS
        centres = np.array(kind.stud_centres())
        for corner in centres[np.abs(centres).sum(axis=1) >= np.abs(centres).sum(axis=1).max() - 1e-6]:
            points += [(*(corner + r), kind.height + STUD_HEIGHT) for r in rim]
    return np.array(points, float)
