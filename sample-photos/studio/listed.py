"""The shapes of own-shapes.json (docs/shapes-v2.schema.json) as convex parts: a second way from that file to solids, that
shares nothing with the program's. It knows what stands there, no more: outlines of corners, profiles without steps, studs
on the highest level.

A list's axes: x along the long side to the right, y away from the viewer, from 0 at the lower left
corner of the box, in studs. A piece's own: x along the long side, y to its left, the same way."""

import json
from functools import cache
from pathlib import Path

import numpy as np
from shapely.geometry import Point, Polygon
from shapely.ops import triangulate, unary_union

from . import solids
from .parts import PITCH, PLAY, Box, Hull

FILE = Path(__file__).resolve().parent.parent / "own-shapes.json"
LAP = 0.6               # by which parts that were cut from one body reach into each other, mm


@cache
def entries():
    """Every shape of the list: (form, size) to its entry."""
    listed = json.loads(FILE.read_text())["pieces"]
    return {(one["form"], size): one for one in listed for size in one["sizes"]}


def names():
    return list(entries())


@cache
def plan(form, size):
    """The parts of a listed shape, its long side along x."""
    one = entries()[form, size]
    short, long = map(int, size.split("x"))
    box = np.array([long, short])
    place = lambda at: tuple((np.array(at) - box / 2) * PITCH)  # noqa: E731
    if one["studs"] == "all":
        tops = Box((long, short)).stud_centres()
    else:
        tops = [] if one["studs"] == "none" else [tuple(map(float, place(at))) for at in one["studs"]]
    high, lines = one["height_mm"], one.get("profile")
    if lines:
        return _extruded(lines, (long, short), high, tops)
    corners = [place(at) for at in one["outline"]]
    return _upright(corners, (long, short), high, tops)


def falls(form, size):
    """Which way it is not its own mirror image, or None; see `solids.falls`."""
    lines = entries()[form, size].get("profile")
    if not lines:
        return (1.0, 1.0) if form == "bracket" else (1.0, 0.0)
    axis = lines.get("along", "long")
    studs = max(map(int, size.split("x"))) if axis == "long" else min(map(int, size.split("x")))
    turned = lambda line: [[round(studs - x, 6), z] for x, z in reversed(line)]  # noqa: E731
    same = all(turned(line) == line for line in (lines[k] for k in ("top", "bottom") if k in lines))
    return None if same else (1.0, 0.0) if axis == "long" else (0.0, 1.0)


def height(form, size):
    return entries()[form, size]["height_mm"]


def _extruded(lines, studs, high, tops):
    """Slabs between the corners where a line bends inwards."""
    axis = 0 if lines.get("along", "long") == "long" else 1
    half = (PITCH * studs[axis] - PLAY) / 2
    scaled = lambda line: np.array([((x / studs[axis] * 2 - 1) * half, z) for x, z in line])  # noqa: E731
    top = scaled(lines.get("top", [[0, high], [studs[axis], high]]))
    bottom = scaled(lines.get("bottom", [[0, 0], [studs[axis], 0]]))
    cuts = np.unique(np.concatenate([top[:, 0], bottom[:, 0]]).round(6))
    straight = _merged(cuts, top, bottom)
    way = np.eye(3)[axis]
    across = [one for one in solids.sides(studs) if one[axis] == 0]
    found = []
    for low, far in zip(straight, straight[1:]):
        a, b = max(low - LAP, -half), min(far + LAP, half)
        planes = [*across, (*way, b), (*-way, -a)]
        within = [at for at in cuts if low - 1e-6 <= at <= far + 1e-6]
        for left, right in zip(within, within[1:]):
            inner = np.array([left + 1e-4, right - 1e-4])
            for line, sign in ((top, 1.0), (bottom, -1.0)):
                z0, z1 = np.interp(inner, line[:, 0], line[:, 1])
                slope = (z1 - z0) / (inner[1] - inner[0])
                planes.append(solids.plane(way * inner[0] + (0, 0, z0), sign * (np.array([0, 0, 1.0]) - slope * way)))
        planes = list(dict.fromkeys(tuple(np.round(one, 6)) for one in planes))
        own = [at for at in tops if low <= at[axis] < far]
        found.append(solids.hull((1, 1) if len(straight) > 2 else studs, planes, own))
    return tuple(found)


def _merged(cuts, top, bottom):
    """The cuts between which no convex part is left out: a corner that bends inwards parts the body."""
    kept = [cuts[0]]
    for at in cuts[1:-1]:
        bend = lambda line: (np.interp(at - 0.01, *line.T) + np.interp(at + 0.01, *line.T)) / 2 - np.interp(at, *line.T)  # noqa: E731
        if bend(top) > 1e-7 or bend(bottom) < -1e-7:
            kept.append(at)
    return [*kept, cuts[-1]]


def _upright(corners, studs, high, tops):
    """A footprint, less its play all round, as few convex parts."""
    ground = Polygon(corners).buffer(-PLAY / 2, join_style="mitre")
    pieces = [part for part in triangulate(ground) if ground.buffer(1e-6).contains(part)]
    while True:     # neighbours that are convex together are one
        for i, one in enumerate(pieces):
            joined = next((k for k in range(i) if _convex(one, pieces[k])), None)
            if joined is not None:
                pieces[joined] = unary_union([one, pieces[joined]])
                del pieces[i]
                break
        else:
            break
    if abs(sum(part.area for part in pieces) - ground.area) > 1e-6:
        raise ValueError("the outline's triangles leave some of it out")
    found = []
    for part in pieces:
        ring = np.array(part.exterior.coords)[:-1]
        if part.exterior.is_ccw:
            ring = ring[::-1]
        planes = [(0, 0, -1, 0), (0, 0, 1, high)]
        for a, b in _sides(ground.convex_hull):     # what reaches into a neighbour stays within the whole
            planes.append(solids.plane((*a, 0), (a[1] - b[1], b[0] - a[0], 0)))
        for a, b in zip(ring, np.roll(ring, -1, axis=0)):
            run = b - a
            if np.linalg.norm(run) < 1e-6:
                continue
            outer = ground.exterior.distance(Point((a + b) / 2)) < 1e-6
            side = solids.plane((*a, 0), (-run[1], run[0], 0))
            planes.append((*side[:3], side[3] + (0 if outer else LAP)))
        own = [at for at in tops if Polygon(ring).buffer(1e-6).contains(Point(at))]
        found.append(solids.hull((1, 1), planes, own))
    return tuple(found)


def _sides(ground):
    """Sides of a convex polygon, clockwise."""
    ring = np.array(ground.exterior.coords)[:-1]
    ring = ring[::-1] if ground.exterior.is_ccw else ring
    return zip(ring, np.roll(ring, -1, axis=0))


def _convex(one, other):
    both = unary_union([one, other])
    return both.geom_type == "Polygon" and abs(both.convex_hull.area - both.area) < 1e-6
