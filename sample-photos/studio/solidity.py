"""No two pieces share room, and each is held by the tray or by another piece.

Stands on points of one piece's surface put into the parts and studs of the other; the
physics engine is not asked."""

import numpy as np
from scipy.spatial import cKDTree
from shapely.geometry import MultiPoint

from . import shapes

DEEPEST_MM = 0.15       # that a point may be inside another piece, or below the tray
HELD_MM = 0.5           # of something below, or it floats
STEP_MM = 0.6           # between points along edges and faces


class Wrong(Exception):
    """The photo or its truth breaks a promise."""


def settled(pieces, touching=None, floor=None):
    """Deepest penetration found, mm. Raises `Wrong` beyond `DEEPEST_MM`, or for a piece
    that nothing holds: another piece, the tray, or the rim about its `floor`. Pairs that touch go
    into the set `touching`."""
    points = [piece.to_world(surface(piece.kind)) for piece in pieces]
    middles = np.array([piece.middle() for piece in pieces])
    reach = np.array([np.linalg.norm(p - m, axis=1).max() for p, m in zip(points, middles)])
    near = cKDTree(middles).query_pairs(2 * reach.max()) if len(pieces) > 1 else set()
    held = [p[:, 2].min() < HELD_MM for p in points]
    deepest = max(max(0.0, -p[:, 2].min()) for p in points)
    if floor is not None:
        held = [h or MultiPoint(p[:, :2]).convex_hull.distance(floor.exterior) < HELD_MM
                for h, p in zip(held, points)]
    for one, two in near:
        if np.linalg.norm(middles[one] - middles[two]) > reach[one] + reach[two] + HELD_MM:
            continue
        depth = max(depth_in(pieces[two], points[one]), depth_in(pieces[one], points[two]))
        deepest = max(deepest, depth)
        if depth > -HELD_MM:
            if touching is not None:
                touching.add((int(one), int(two)))
            held[one] |= middles[two][2] < middles[one][2] + 6
            held[two] |= middles[one][2] < middles[two][2] + 6
    if deepest > DEEPEST_MM:
        raise Wrong(f"two pieces share {deepest:.2f} mm of room")
    if not all(held):
        raise Wrong(f"piece {held.index(False)} floats")
    return deepest


def depth_in(piece, points):
    """How deep the deepest of the points lies in the piece's body or a stud; negative is
    the distance that the nearest keeps (at least)."""
    local = piece.from_world(points)
    deepest = max(part.deep(local, piece.kind.height).max() for part in piece.kind.plan)
    if piece.kind.studded:
        above = local[:, 2] - piece.kind.height
        centres = np.array(piece.kind.stud_centres())
        out = np.linalg.norm(local[:, None, :2] - centres, axis=2).min(axis=1)
        inside = np.minimum(shapes.STUD_RADIUS - out, shapes.STUD_HEIGHT - above)
        # Just above the body a stud's foot is no surface: depth counts to its side and top.
        inside = np.where(above > 0, inside, -np.inf)
        deepest = max(deepest, inside.max())
    return float(deepest)


_POINTS = {}


def surface(kind):
    """Points all over the sides of the body's parts and the studs' rims."""
    if kind not in _POINTS:
        found = [part.surface(kind.height, STEP_MM) for part in kind.plan]
        if kind.studded:
            turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
            rim = np.stack([np.cos(turn), np.sin(turn)], axis=1) * shapes.STUD_RADIUS
            for centre in kind.stud_centres():
                for share in (0.35, 1.0):
                    height = np.full(24, kind.height + share * shapes.STUD_HEIGHT)
                    found.append(np.column_stack([rim + centre, height]))
        _POINTS[kind] = np.concatenate(found)
    return _POINTS[kind]
