"""Bodies that are no upright boxes and discs, as convex parts: slopes, wedges, arches. Dimensions
are the trade's common practice, from memory and not from a source. Own frame as in `shapes`."""

import numpy as np

from .parts import PITCH, PLAY, Box, Hull

BRICK, PLATE, LOW = 9.6, 3.2, 6.4
LIP = 1.6               # what a slope keeps of its height at its foot
LOW_LIP = 1.2           # the same of a low one
PIER = 8.0              # an arch's, along it
LINTEL = 2.6            # of an arch, where it is thinnest
LAP = 0.6               # by which its parts reach into each other, so that no seam shows
# Slopes fall towards +x, or towards -y where they are wider than deep.
ACROSS = {("slope", "2x3"), ("slope", "2x4"), ("flat slope", "1x2")}


def sides(studs):
    """The planes around a body of that many studs."""
    half = (PITCH * np.array(studs) - PLAY) / 2
    return [(1, 0, 0, half[0]), (-1, 0, 0, half[0]), (0, 1, 0, half[1]), (0, -1, 0, half[1])]


def plane(through, normal):
    normal = np.array(normal, float) / np.linalg.norm(normal)
    return (*normal, float(normal @ through))


def hull(studs, planes, tops=()):
    fixed = tuple(tuple(round(float(v), 9) for v in one) for one in planes)
    return Hull(tuple(studs), planes=fixed, tops=tuple(tops))


def lattice(studs, keep=lambda x, y: True):
    return [at for at in Box(tuple(studs)).stud_centres() if keep(*at)]


def falls(form, size):
    """Which way a body is not its own mirror image, seen from above, in its own axes: where a slope
    falls, what an inverted one lacks below, a corner's or a wedge's missing part; or None."""
    if form in ("slope", "flat slope"):
        return (0.0, -1.0) if (form, size) in ACROSS else (1.0, 0.0)
    return {"inverted slope": (1.0, 0.0), "corner": (1.0, 1.0),
            "left wedge": (1.0, 1.0), "right wedge": (1.0, -1.0)}.get(form)


def slope(studs, height, ridge, lip, across=False):
    """Falls from `ridge` studs of full height to its lip; studs stand on the ridge."""
    axis = 1 if across else 0
    way = np.zeros(3)
    way[axis] = -1.0 if across else 1.0
    half = (PITCH * studs[axis] - PLAY) / 2
    start, end = -half + ridge * PITCH - (PLAY / 2 if ridge else 0), half
    normal = way * (height - lip) + np.array([0, 0, end - start])
    cut = plane(way * start + (0, 0, height), normal)
    tops = lattice(studs, lambda x, y: np.dot(way[:2], (x, y)) < start)
    return hull(studs, [*sides(studs), (0, 0, -1, 0), (0, 0, 1, height), cut], tops)


def plan(form, size, studs):
    """The parts of a body, or None where `shapes` knows better."""
    if form == "slope":
        if size == "1x1":
            return (slope(studs, LOW, 0, LOW_LIP),)
        return (slope(studs, BRICK, 1, LIP, (form, size) in ACROSS),)
    if form == "flat slope":
        return (slope(studs, LOW, 0, LOW_LIP, (form, size) in ACROSS),)
    if form == "inverted slope":
        half = (PITCH * studs[0] - PLAY) / 2
        low, high = np.array([0.0, 0, 0]), np.array([half, 0, BRICK - LIP])
        run = high - low
        under = plane(low, (run[2], 0, -run[0]))
        return (hull(studs, [*sides(studs), (0, 0, -1, 0), (0, 0, 1, BRICK), under], lattice(studs)),)
    if form == "one-stud plate":
        return (hull(studs, [*sides(studs), (0, 0, -1, 0), (0, 0, 1, PLATE)], [(0.0, 0.0)]),)
    if form in ("left wedge", "right wedge"):
        side = 1.0 if form == "left wedge" else -1.0
        half = (PITCH * np.array(studs) - PLAY) / 2
        start = np.array([-half[0] + PITCH if studs[0] > 2 else 0.0, side * half[1], 0])
        end = np.array([half[0], side * (half[1] - PITCH * (studs[1] - 1)), 0])
        run = end - start
        cut = plane(start, (abs(run[1]), side * run[0], 0))
        planes = [*sides(studs), (0, 0, -1, 0), (0, 0, 1, PLATE), cut]
        tops = lattice(studs, lambda x, y: np.dot(cut[:2], (x, y)) < cut[3] - 2.3)
        return (hull(studs, planes, tops),)
    if form == "arch":
        half = (PITCH * studs[0] - PLAY) / 2
        own, found = sides(studs), []
        for side in (-1, 1):
            inner = half - PIER
            found.append(hull((1, studs[1]), [*own[2:], (side, 0, 0, half), (-side, 0, 0, -inner), (0, 0, -1, 0), (0, 0, 1, BRICK)],
                              lattice(studs, lambda x, y: side * x > inner)))
            # The vault, by two chords of its round.
            crown, knee = BRICK - LINTEL, (0.72 * inner, 0.66 * (BRICK - LINTEL))
            for (a, low), (b, top) in (((inner, 0.0), knee), (knee, (0.25 * inner, crown))):
                chord = plane((side * a, 0, low), (-side * (top - low), 0, -(a - b)))
                found.append(hull((1, studs[1]), [*own[2:], (side, 0, 0, a + LAP), (-side, 0, 0, LAP - b), chord,
                                                  (0, 0, -1, 0), (0, 0, 1, BRICK)]))
        found.append(hull(studs, [*own, (0, 0, -1, -(BRICK - LINTEL)), (0, 0, 1, BRICK)],
                          lattice(studs)))
        return tuple(found)
    return None


def height(form, size):
    if form in ("brick", "round brick", "inverted slope", "arch"):
        return BRICK
    if form == "slope":
        return LOW if size == "1x1" else BRICK
    return LOW if form == "flat slope" else PLATE
