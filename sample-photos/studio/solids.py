"""What half-spaces leave, for bodies that are no upright boxes and discs; and what differs from form to form. Dimensions
are the trade's common practice, from memory and not from a source. Own frame as in `shapes`."""

import numpy as np

from .parts import PITCH, PLAY, Hull

HEIGHT = {"plate": 3.2, "tile": 3.2, "brick": 9.6, "corner": 3.2, "round": 3.2}


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


def falls(form):
    """Which way a body is not its own mirror image, seen from above, in its own axes: to what a corner lacks; or None."""
    return (1.0, 1.0) if form == "corner" else None
