"""Pieces as closed solids, by boolean operations; middle of the footprint at the origin,
long side along x, standing on z = 0. Millimetres.

Dimensions are the trade's common practice, from memory and not from a source:
pitch 8, n studs measure 8 n - 0.2, plate, tile, corner and round 3.2 high, brick 9.6,
stud 4.8 x 1.7.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import trimesh
from manifold3d import CrossSection, Manifold
from shapely.ops import unary_union

from . import listed, solids
from .parts import PITCH, PLAY, Box, Disc

STUD_RADIUS, STUD_HEIGHT = 2.4, 1.7
EDGE = 0.18            # radius of the rounded edges
WALL, ROOF = 1.5, 1.2  # of the hollow underside
GROOVE_HEIGHT, GROOVE_DEPTH = 0.45, 0.25
SIZES = ["1x1", "1x2", "1x3", "1x4", "1x6", "1x8", "2x2", "2x3", "2x4", "2x6", "2x8"]


@dataclass(frozen=True)
class Mould:
    """What differs from one maker's pieces to another's, all within the same outline."""
    edge: float = EDGE
    stud_edge: float = 0.2
    wall: float = WALL
    roof: float = ROOF
    post: float = 0.0       # mm that tubes and pins are thicker


def mould(number, kind):
    """The mould that pieces of this kind come from, where moulds are drawn; 0: the standard one."""
    if not number:
        return Mould()
    rng = np.random.default_rng([number, *f"{kind.form} {kind.size}".encode()])
    own = np.random.default_rng([number, 31])      # one maker: alike from kind to kind
    edge, wall, roof = own.uniform(0.08, 0.32), own.uniform(1.15, 1.6), own.uniform(0.9, 1.5)
    return Mould(round(edge * rng.uniform(0.9, 1.1), 3), round(own.uniform(0.10, 0.38), 3),
                 round(wall * rng.uniform(0.95, 1.05), 3), round(roof * rng.uniform(0.92, 1.08), 3),
                 round(own.uniform(-0.15, 0.12), 3))


@dataclass(frozen=True)
class Kind:
    """What a piece is, apart from its colour."""
    form: str
    size: str

    @property
    def studs(self):
        """(long, short) in studs, of the box around it."""
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
        if (self.form, self.size) in listed.entries():
            return listed.height(self.form, self.size)
        return solids.HEIGHT[self.form]

    @property
    def studded(self):
        return self.form != "tile" and bool(self.stud_centres())

    @property
    def round(self):
        return self.form == "round"

    @property
    def falls(self):
        """Which way it is not its own mirror image, in its own axes, or None."""
        if (self.form, self.size) in listed.entries():
            return listed.falls(self.form, self.size)
        return solids.falls(self.form)

    @property
    def plan(self):
        """The convex parts whose union is the body. A corner is two arms along -y and -x: its
        origin is the middle of the box around it, and what lacks is the cell at +x, +y."""
        long, short = self.studs
        if self.round:
            return (Disc((long, short)),)
        if self.form == "corner":
            return (Box((long, 1), 0.0, -PITCH * (short - 1) / 2),
                    Box((1, short), -PITCH * (long - 1) / 2, 0.0))
        if (self.form, self.size) in listed.entries():
            return listed.plan(self.form, self.size)
        return (Box((long, short)),)

    def ground(self):
        """What the body covers as it stands, a polygon."""
        return unary_union([part.polygon() for part in self.plan])

    def stud_centres(self):
        """Each once, though parts may share it."""
        return list(dict.fromkeys(at for part in self.plan for at in part.stud_centres()))


@cache
def solid(kind, hollow=False, segments=48, mould=Mould()):
    """The piece as one trimesh; `hollow` opens the underside, for pieces seen from below.
    `segments` of a round part: few where much is rendered and little of it seen."""
    if kind.form == "tile":
        body = (_body(kind, 0, 1, 0.05, GROOVE_DEPTH)
                + _body(kind, GROOVE_HEIGHT, kind.height, mould.edge))
    else:
        body = _body(kind, 0, kind.height, mould.edge)
    if hollow:
        body = body - _cavity(kind, segments - 8, mould)
    if kind.studded:
        stud = _stud(segments, mould.stud_edge, steps=3 if segments > 24 else 2)
        studs = Manifold.compose(
            [stud.translate((x, y, kind.height)) for x, y in kind.stud_centres()])
        if kind.round:      # four studs would stand 0.16 mm over the edge: cut there
            studs = studs ^ _body(kind, 0, 2 * kind.height, 0.01)
        body = body + studs
    mesh = body.to_mesh()
    return trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts, process=False)


def _body(kind, bottom, top, radius, inset=0.0):
    return _united([part.block(bottom, top, radius, inset) for part in kind.plan])


def _united(solids):
    first, *rest = solids
    for other in rest:
        first = first + other
    return first


def _stud(segments=48, radius=0.2, steps=3):
    """A cylinder with a rounded rim, sunk a little into the body so that it fuses."""
    arc = np.linspace(0, np.pi / 2, steps + 1)
    rim = [(STUD_RADIUS - radius + radius * np.cos(a), STUD_HEIGHT - radius + radius * np.sin(a))
           for a in arc]
    outline = [(0.0, -0.3), (STUD_RADIUS, -0.3), *rim, (0.0, STUD_HEIGHT)]
    return Manifold.revolve(CrossSection([np.array(outline)]), segments)


def _cavity(kind, segments, mould):
    """What is scooped out below: walls and roof stay, and tubes (or pins) between studs."""
    room = _united([part.room(mould.wall, kind.height - mould.roof, segments) for part in kind.plan])
    for x, y, outer, inner in (post for part in kind.plan for post in part.posts()):
        outer, inner = outer + mould.post, inner - mould.post / 2
        tube = Manifold.cylinder(2 * kind.height, outer, circular_segments=segments, center=True)
        bore = Manifold.cylinder(2 * kind.height, inner, circular_segments=segments, center=True)
        room = room - (tube - bore).translate((x, y, 0))
    return room


@cache
def outline_parts(kind, studs=True):
    """For each part, points whose convex hull is that of the part and its studs (or without
    them), up to its rounded edges. The piece lies within the union of these hulls."""
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    rim = np.stack([np.cos(turn), np.sin(turn)], axis=1) * STUD_RADIUS
    found = []
    for part in kind.plan:
        points = part.corners(kind.height)
        centres = np.array(part.stud_centres())
        if studs and kind.studded and len(centres):
            for corner in centres[_outermost(centres)]:
                points += [(*(corner + r), kind.height + STUD_HEIGHT) for r in rim]
        found.append(np.array(points, float))
    return found


def _outermost(centres):
    """Which of these lie on the border of their lattice's box."""
    low, high = centres.min(axis=0), centres.max(axis=0)
    return ((centres < low + 1e-6) | (centres > high - 1e-6)).any(axis=1)


def outline_points(kind):
    """Points whose convex hull is the piece's, up to its rounded edges."""
    return np.concatenate(outline_parts(kind))
