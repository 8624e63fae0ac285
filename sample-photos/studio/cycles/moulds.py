"""The second renderer's own pieces: flat chamfers where the first has rounded edges, walls and
studs drafted as a mould releases them, a fillet at each stud's foot, ribs inside the walls and
sinks under the studs. They share nothing with `shapes.solid` but the outer dimensions, which they
never exceed, because the bodies that fall have those. Millimetres."""

from dataclasses import dataclass
from functools import cache

import numpy as np
import trimesh
from manifold3d import CrossSection, Manifold

from ..parts import PITCH, Disc
from ..shapes import STUD_HEIGHT, STUD_RADIUS

ROUND = 48              # segments of a circle
LEAST_ROOF_MM = 0.7     # over a sink


@dataclass(frozen=True)
class Mould:
    """What one maker's moulds have in common."""
    chamfer: float      # of the edges above; half of it at the foot
    draft: float        # that the top is narrower than the foot, on each side
    play: float         # that the foot is narrower than the pitch allows, on each side
    stud_chamfer: float
    stud_fillet: float  # height of the cone at a stud's foot
    wall: float
    roof: float
    tube: tuple         # outer, inner radius
    pin: tuple          # the same between studs in one line; inner 0: not hollow
    ribs: bool          # inside the walls
    sink: float         # depth of the hollow under each stud; 0: none


def drawn(rng):
    """A maker drawn at random."""
    return Mould(chamfer=rng.uniform(0.10, 0.32), draft=rng.uniform(0.0, 0.04),
                 play=rng.uniform(0.0, 0.04), stud_chamfer=rng.uniform(0.10, 0.32),
                 stud_fillet=rng.uniform(0.06, 0.18), wall=rng.uniform(1.2, 1.7),
                 roof=rng.uniform(1.0, 1.4), tube=(rng.uniform(3.1, 3.28), rng.uniform(2.3, 2.5)),
                 pin=(rng.uniform(1.45, 1.7), float(rng.choice([0.0, 0.8]))),
                 ribs=bool(rng.random() < 0.6), sink=float(rng.choice([0.0, 0.4])))


@cache
def solid(kind, mould, hollow):
    """The piece as one closed mesh; `hollow` opens its underside."""
    if kind.form == "tile":     # a step all around the foot instead of a groove
        body = _body(kind, mould, 0.0, 0.9, 0.02, inset=0.32) + _body(kind, mould, 0.38, kind.height,
                                                                     mould.chamfer)
    else:
        body = _body(kind, mould, 0.0, kind.height, mould.chamfer)
    if hollow:
        body = body - _hollow(kind, mould)
    if kind.studded:
        stud = _stud(mould)
        studs = Manifold.compose([stud.translate((x, y, kind.height)) for x, y in kind.stud_centres()])
        if kind.form == "round":    # four would stand over the rim of a disc: cut there
            studs = studs ^ _body(kind, mould, 0.0, 2 * kind.height, 0.01)
        body = body + studs
    mesh = body.to_mesh()
    return trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts, process=False)


def _body(kind, mould, bottom, top, chamfer, inset=0.0):
    first, *rest = [_part(part, mould, bottom, top, chamfer, inset) for part in kind.plan]
    for other in rest:
        first = first + other
    return first


def _part(part, mould, bottom, top, chamfer, inset):
    """One convex part: the hull of four outlines, each on its height, narrower in the chamfers."""
    foot = chamfer / 2
    levels = [(bottom, mould.play + inset + foot), (bottom + foot, mould.play + inset),
              (top - chamfer, mould.play + inset + mould.draft),
              (top, mould.play + inset + mould.draft + chamfer)]
    points = [(*at, z) for z, narrower in levels for at in _outline(part, narrower, chamfer)]
    return Manifold.hull_points(np.array(points))


def _outline(part, narrower, cut):
    """A part's outline from above, narrower all around, its corners cut off."""
    if isinstance(part, Disc):
        turn = np.linspace(0, 2 * np.pi, 2 * ROUND, endpoint=False)
        return np.stack([np.cos(turn), np.sin(turn)], 1) * (part.radius - narrower) + (part.x, part.y)
    u, v = part.length / 2 - narrower, part.width / 2 - narrower
    corners = [(u - cut, v), (u, v - cut)]
    return [(part.x + sx * x, part.y + sy * y) for sx in (-1, 1) for sy in (-1, 1) for x, y in corners]


def _stud(mould):
    edge, narrow = mould.stud_chamfer, STUD_RADIUS - 0.03
    outline = [(0.0, -0.3), (STUD_RADIUS, -0.3), (STUD_RADIUS, 0.0),
               (narrow - 0.01, mould.stud_fillet), (narrow - 0.03, STUD_HEIGHT - edge),
               (narrow - 0.03 - edge, STUD_HEIGHT), (0.0, STUD_HEIGHT)]
    return Manifold.revolve(CrossSection([np.array(outline)]), ROUND)


def _hollow(kind, mould):
    """What is scooped out below, narrower towards the roof; ribs, tubes and pins stay."""
    deep = kind.height - mould.roof
    room = None
    for part in kind.plan:
        levels = ((-0.5, mould.wall - 0.08), (deep, mould.wall + 0.08))
        scoop = Manifold.hull_points(np.array(
            [(*at, z) for z, in_ in levels for at in _outline(part, in_, 0.25)]))
        room = scoop if room is None else room + scoop
    for part in kind.plan:
        if mould.ribs and not isinstance(part, Disc):
            for rib in _ribs(part, mould, kind.height):
                room = room - rib
        for x, y, outer, inner in _posts(part, mould):
            post = Manifold.cylinder(kind.height, outer, circular_segments=ROUND)
            if inner:
                post = post - Manifold.cylinder(3 * kind.height, inner, circular_segments=ROUND - 16,
                                                center=True)
            room = room - post.translate((x, y, 0.1))      # which end a little above the tray
    if mould.sink and mould.roof - mould.sink >= LEAST_ROOF_MM:
        sink = Manifold.cylinder(mould.sink + 0.2, 1.3, circular_segments=ROUND - 16)
        for x, y in kind.stud_centres():
            room = room + sink.translate((x, y, deep - 0.2))
    return room


def _ribs(part, mould, height):
    """A thin upright rib on the long walls' inside, before each stud."""
    for x, y in part.stud_centres():
        for side in (-1, 1):
            wall = part.y + side * (part.width / 2 - mould.wall)
            if abs(wall - y) < PITCH / 2:
                yield Manifold.cube((0.6, 0.7, height), center=True).translate((x, wall, height / 2 + 0.3))


def _posts(part, mould):
    columns, rows = part.studs
    if columns * rows == 1:
        return
    outer, inner = mould.tube if min(columns, rows) > 1 else mould.pin
    across, down = max(columns - 1, 1), max(rows - 1, 1)
    for i in range(across):
        for j in range(down):
            yield (part.x + PITCH * (i - (across - 1) / 2), part.y + PITCH * (j - (down - 1) / 2),
                   outer, inner)
