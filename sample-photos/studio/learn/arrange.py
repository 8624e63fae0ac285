"""One layer of pieces, fast: on the tray by polygon tests alone."""

import numpy as np

from . import poses

LANES = 60      # tries of one placing


def draw_kinds(count, rng, forms=None):
    """Kinds of one cup: one form or mixed, one size or many, small ones more often. Half of the
    cups have corners and round pieces in them, a few hold little else."""
    if forms is None:
        forms = [str(rng.choice(poses.BLOCKS))] if rng.random() < 0.55 else poses.BLOCKS
    weight = np.array([np.prod(s) ** -0.35 * (1.0 if s in poses.STUDIO else 0.3) for s in poses.SIZES])
    if rng.random() < 0.3:      # a cup of few sizes
        weight = weight * (rng.random(len(weight)) < 0.25) + 1e-9
    way, share = rng.random(), 0.0
    if way < 0.38:
        share = rng.uniform(0.1, 0.4)
    elif way < 0.50:
        share = rng.uniform(0.6, 0.95)
        if rng.random() < 0.6:      # among what is most like them
            weight = weight * [np.prod(s) <= 4 for s in poses.SIZES] + 1e-9
    picks = rng.choice(len(poses.SIZES), count, p=weight / weight.sum())
    odd = rng.dirichlet([1.2] * len(poses.ODD))
    return [poses.kind(*poses.ODD[rng.choice(len(poses.ODD), p=odd)]) if rng.random() < share
            else poses.kind(str(rng.choice(forms)), poses.SIZES[i]) for i in picks]


def draw_face(kind, rng):
    """As cups fall: bricks on their sides as often as not, plates mostly flat."""
    if kind.form == "brick":
        share = (0.27, 0.27, 0.40, 0.06) if kind.studs[1] == 1 else (0.33, 0.30, 0.33, 0.04)
    elif kind.form in ("corner", "round"):
        share = (0.52, 0.43, 0.05, 0.0)
    else:
        share = (0.42, 0.38, 0.18, 0.02) if kind.studs[1] == 1 else (0.50, 0.44, 0.06, 0.0)
    return str(rng.choice(poses.FACES, p=share))


class Layer:
    """Pieces that do not overlap, within a square of half side `half` about the origin."""

    def __init__(self, half):
        self.half, self.pieces, self.shapes, self.reach = half, [], [], []

    def add(self, piece):
        shape = piece.footprint()
        low_x, low_y, high_x, high_y = shape.bounds
        self.pieces.append(piece)
        self.shapes.append(shape)
        self.reach.append(((low_x + high_x) / 2, (low_y + high_y) / 2,
                           np.hypot(high_x - low_x, high_y - low_y) / 2))

    def room(self, piece, gap=0.0):
        """Whether it overlaps none, and keeps `gap` mm."""
        shape = piece.footprint()
        low_x, low_y, high_x, high_y = shape.bounds
        x, y = (low_x + high_x) / 2, (low_y + high_y) / 2
        if max(abs(x), abs(y)) > self.half:
            return False
        if not self.pieces:
            return True
        at = np.array(self.reach)
        near = np.hypot(at[:, 0] - x, at[:, 1] - y) < at[:, 2] + np.hypot(high_x - low_x, high_y - low_y) / 2 + gap
        if gap:
            return all(self.shapes[i].distance(shape) >= gap for i in np.flatnonzero(near))
        return all(self.shapes[i].intersection(shape).area < 1e-6 for i in np.flatnonzero(near))


def scatter(layer, kinds, colour, rng, faces=None, gap=None):
    """Pieces at random, each with some tray around it (or none: gap 0)."""
    for kind in kinds:
        for _ in range(LANES):
            face = faces(kind, rng) if faces else "up"
            keep = rng.uniform(0.3, 6) if gap is None else gap
            piece = poses.laid(kind, colour(None), *rng.uniform(-layer.half, layer.half, 2),
                               rng.uniform(0, 360), face)
            if layer.room(piece, keep):
                layer.add(piece)
                break


def grow(layer, kinds, colour, rng, faces=None, flush=0.6, clump=9):
    """Clumps: each new piece is pushed against one that is there until they touch."""
    kinds = list(kinds)
    while kinds:
        start = len(layer.pieces)
        scatter(layer, [kinds.pop()], colour, rng, faces, gap=rng.uniform(0.5, 8))
        if len(layer.pieces) == start:
            continue
        for _ in range(int(rng.integers(0, clump))):
            if not kinds:
                return
            kind = kinds.pop()
            for _ in range(12):
                parent = int(rng.integers(start, len(layer.pieces)))
                piece = _pushed(layer, parent, kind, colour, rng, faces, rng.random() < flush)
                if piece is not None and layer.room(piece):
                    layer.add(piece)
                    break


def _pushed(layer, parent, kind, colour, rng, faces, aligned):
    """Slid along a ray towards the parent's middle (or beside it) until it touches."""
    other, shape = layer.pieces[parent], layer.shapes[parent]
    ring = np.array(shape.minimum_rotated_rectangle.exterior.coords)
    edge = ring[1] - ring[0]
    turn, way = rng.uniform(0, 360), rng.uniform(0, 2 * np.pi)
    nested = False
    if aligned:
        base = np.arctan2(edge[1], edge[0])
        if other.kind.form == "corner":
            base = np.radians(other.turn_deg)       # its box may be told any way
            nested = other.face != "side" and kind.studs[1] == 1 and rng.random() < 0.4
        turn = np.degrees(base) + 90 * rng.integers(4) + rng.normal(0, 0.3)
        way = base + np.pi / 2 * rng.integers(4)
        if nested:
            gone = poses.notch(other)
            way = np.arctan2(gone[1], gone[0])
    face = faces(kind, rng) if faces else other.face if rng.random() < 0.7 else "up"
    piece = poses.laid(kind, colour(other.colour), 0, 0, turn, face)
    bounds = piece.footprint()
    ahead = np.array([np.cos(way), np.sin(way)])
    beside = np.array([-ahead[1], ahead[0]])
    middle = np.array(shape.centroid.coords[0])
    if nested:      # into the cell that it lacks
        middle, shift = np.array([other.x, other.y]), 0.0
    elif aligned and rng.random() < 0.5:      # corners in line, or studs in step
        own = np.array(bounds.exterior.coords) @ beside
        theirs = (np.array(shape.exterior.coords) - middle) @ beside
        shift = theirs.max() - own.max() if rng.random() < 0.5 else theirs.min() - own.min()
        shift += rng.choice([0, 0, 0, 8, -8])
    else:
        shift = rng.uniform(-0.9, 0.9) * (layer.reach[parent][2])
    from shapely.affinity import translate

    aim = middle + beside * shift
    near, far = 0.0, 160.0
    for _ in range(22):
        reach = (near + far) / 2
        at = aim + ahead * reach
        if translate(bounds, *at).distance(shape) > 0:
            far = reach
        else:
            near = reach
    if near == 0.0:
        return None
    gap = abs(rng.normal(0, 0.12)) + 0.003
    at = aim + ahead * (far + gap)
    piece.x, piece.y = piece.x + at[0], piece.y + at[1]
    return piece


def lattice(layer, form, side, colour, rng, single=None, odd=()):
    """A block of pieces edge to edge in step with their studs, turned as a whole; a few
    places stay free. `single`: one size only, laid in rows. `odd`: kinds that are no
    rectangles, for some of the places."""
    columns, rows = (int(v) for v in rng.integers(2, side + 1, 2))
    taken = np.zeros((rows, columns), bool)
    turn = rng.uniform(0, 360)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    middle = rng.uniform(-layer.half, layer.half, 2)
    gap, own, face = rng.uniform(0, 0.25), colour(None), "up" if rng.random() < 0.75 else "down"
    sizes = [single] if single else [s for s in poses.SIZES if np.prod(s) <= 16]
    placed = []
    quarter_all = int(rng.integers(2))
    for row in range(rows):
        for column in range(columns):
            if taken[row, column] or rng.random() < 0.04:
                continue
            if odd and rng.random() < 0.3:
                other = odd[rng.integers(len(odd))]
                n, turns = other.studs[0], int(rng.integers(4))
                part = taken[row:row + n, column:column + n]
                # The cell that a corner lacks, by quarter turns, stays free for others.
                fills = np.ones((n, n), bool)
                if other.form == "corner":
                    fills[1 if turns < 2 else 0, 1 if turns in (0, 3) else 0] = False
                if part.shape == (n, n) and not (part & fills).any():
                    part |= fills
                    placed.append((other, column + n / 2 - columns / 2, row + n / 2 - rows / 2, turns))
                    if fills[0, 0]:
                        continue
            for _ in range(6):
                size = sizes[rng.integers(len(sizes))]
                wide, deep = size[::-1] if (quarter_all if single else rng.random() < 0.5) else size
                part = taken[row:row + deep, column:column + wide]
                if part.shape == (deep, wide) and not part.any():
                    part[:] = True
                    mixed = poses.kind(form or str(rng.choice(poses.BLOCKS)), size)
                    placed.append((mixed, column + wide / 2 - columns / 2, row + deep / 2 - rows / 2,
                                   0 if wide >= deep else 1))
                    break
    for kind, u, v, turns in placed:
        u, v = (8.0 + gap) * u + rng.normal(0, 0.05), (8.0 + gap) * v + rng.normal(0, 0.05)
        up = face if rng.random() < 0.93 else "up"
        if kind.form == "corner" and up == "down":      # which turns it over
            turns -= 1
        piece = poses.laid(kind, colour(own), middle[0] + c * u - s * v, middle[1] + s * u + c * v,
                           turn + 90 * turns + rng.normal(0, 0.15), up)
        if layer.room(piece):
            layer.add(piece)


def ranks(layer, kind, face, count, colour, rng):
    """A row of the same piece, side by side or end to end, as a hand lines them up."""
    turn, own = rng.uniform(0, 360), colour(None)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    first = poses.laid(kind, own, 0, 0, 0, face)
    low_x, low_y, high_x, high_y = first.footprint().bounds
    along = rng.random() < 0.3
    step = (high_x - low_x if along else high_y - low_y) + rng.uniform(0, 0.3)
    middle = rng.uniform(-layer.half, layer.half, 2)
    for n in range(count):
        u, v = ((n - count / 2) * step, rng.normal(0, 0.15))[::1 if along else -1]
        flip = 180 * int(rng.integers(2)) if face in ("up", "down") else 0
        piece = poses.laid(kind, colour(own), middle[0] + c * u - s * v, middle[1] + s * u + c * v,
                           turn + flip + rng.normal(0, 0.2), face)
        if layer.room(piece):
            layer.add(piece)
