"""Trays whose pieces touch: clumps grown piece by piece, studs up, all on the tray.

A new piece joins one that is there: flush against a side (aligned at a corner, in step
with the studs, or anywhere; a round one slides up to it), or turned at random and pushed until
it touches."""

import numpy as np
from shapely.strtree import STRtree

from . import layout
from .parts import Disc
from .piece import Piece

FLUSH = 0.72                # how many of the joins are side against side
LEAST_OVERLAP_MM = 2.0      # of two sides that lie flush
PLAY_MM = (0.0, 0.12)       # between two pieces that touch
CLUMP = (1, 9)              # pieces in a clump, drawn evenly
APART_MM = 3.2              # between the silhouettes of two clumps
TRIES = 60


def clumps(kinds, colours, likely, area, rng):
    """Pieces of these kinds in clumps; `likely(colour, rng)` names a neighbour's colour.
    Gives the pieces and, for each, the number of its clump."""
    kinds = [kinds[i] for i in rng.permutation(len(kinds))]
    pieces, clump_of, shades = [], [], []
    while kinds:
        size = min(len(kinds), int(rng.integers(CLUMP[0], CLUMP[1] + 1)))
        clump = _grow(kinds[:size], colours, likely, area, shades, rng)
        kinds = kinds[len(clump):]
        number = clump_of[-1] + 1 if clump_of else 0
        pieces += clump
        clump_of += [number] * len(clump)
        shades += [piece.silhouette(area.view) for piece in clump]
    order = rng.permutation(len(pieces))
    return [pieces[i] for i in order], [clump_of[i] for i in order]


def _grow(kinds, colours, likely, area, shades, rng):
    """One clump; it may stay smaller than wished, but not empty."""
    tree = STRtree(shades) if shades else None

    def free(piece):
        shade = piece.silhouette(area.view)
        near = tree.query(shade.buffer(APART_MM)) if tree is not None else []
        return area.holds(piece, shade) and all(
            shade.distance(shades[n]) >= APART_MM for n in near)

    for _ in range(layout.TRIES):
        x, y = area.anywhere(rng)
        first = Piece(kinds[0], str(rng.choice(colours)), x, y, rng.uniform(0, 360))
        if free(first):
            break
    else:
        raise layout.NoRoom("no room for another clump")
    clump = [first]
    for kind in kinds[1:]:
        for _ in range(TRIES):
            parent = clump[rng.integers(len(clump))]
            join = _flush if rng.random() < FLUSH else _pushed
            piece = join(kind, parent, rng)
            if piece is not None and _clear(piece, clump) and free(piece):
                piece.colour = likely(parent.colour, rng)
                clump.append(piece)
                break
        else:
            break
    return clump


def _clear(piece, others):
    shape = piece.footprint()
    return all(shape.intersection(other.footprint()).area < 1e-6 for other in others)


def _flush(kind, parent, rng):
    """Side against side, in the parent's frame: of one part of the piece and one of its parent."""
    quarter = int(rng.integers(2))
    mine, theirs = _any(kind.plan, rng), _any(parent.kind.plan, rng)
    half = np.array([mine.length, mine.width])[::-1 if quarter else 1] / 2
    their = np.array([theirs.length, theirs.width]) / 2
    across, sign = int(rng.integers(2)), (-1, 1)[rng.integers(2)]
    along = 1 - across
    at = np.zeros(2)
    at[across] = sign * (their[across] + half[across] + rng.uniform(*PLAY_MM))
    way = rng.random()
    if way < 0.45:          # corners in line
        at[along] = (-1, 1)[rng.integers(2)] * (their[along] - half[along]) + rng.normal(0, 0.05)
    else:
        reach = their[along] + half[along] - LEAST_OVERLAP_MM
        at[along] = rng.uniform(-reach, reach)
        if way < 0.65:      # studs in line
            corner = their[along] - half[along]
            at[along] = corner - 8.0 * np.round((corner - at[along]) / 8.0)
    half_turn = int(rng.integers(2))
    from_part = _turned(mine, quarter + 2 * half_turn)

    def placed(at):
        place = parent.to_world([[*(at + (theirs.x, theirs.y) - from_part), 0.0]])[0]
        return Piece(kind, "", *map(float, place[:2]),
                     parent.turn_deg + 90 * quarter + 180 * half_turn)

    if isinstance(mine, Disc) or isinstance(theirs, Disc):      # touches at one point
        ahead = np.eye(2)[across] * sign
        return _against(parent, rng, lambda reach: placed(at * np.eye(2)[along] + reach * ahead))
    return placed(at)


def _any(plan, rng):
    """One of a piece's parts; nothing is drawn where there is one, as the first seeds had it."""
    return plan[rng.integers(len(plan))] if len(plan) > 1 else plan[0]


def _turned(part, quarters):
    """Where a part's middle comes to be when its piece turns by quarters."""
    x, y = part.x, part.y
    for _ in range(quarters):
        x, y = -y, x
    return np.array([x, y])


def _pushed(kind, parent, rng):
    """Turned at random, then pushed towards the parent until they touch."""
    turn, way = rng.uniform(0, 360), rng.uniform(0, 2 * np.pi)
    aim = np.array([parent.x, parent.y]) + rng.uniform(-0.3, 0.3, 2) * parent.kind.length
    return _against(parent, rng, lambda reach: Piece(
        kind, "", float(aim[0] + reach * np.cos(way)), float(aim[1] + reach * np.sin(way)), turn))


def _against(parent, rng, at):
    """`at(reach)` with the reach at which it touches the parent, or None if it does not even
    where the reach is nothing."""
    shape = parent.footprint()
    near, far = 0.0, 120.0
    if at(near).footprint().distance(shape) > 0:
        return None
    for _ in range(40):
        reach = (near + far) / 2
        if at(reach).footprint().distance(shape) > 0:
            far = reach
        else:
            near = reach
    return at(far + rng.uniform(0.005, PLAY_MM[1]))
