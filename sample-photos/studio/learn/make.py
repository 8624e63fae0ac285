"""One training scene after the other, each as a compressed file."""

import time
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation
from shapely.geometry import MultiPoint
from shapely.ops import unary_union

from .. import oddments, shapes
from ..tray import Tray
from . import arrange, colours, fall, poses, shine

SIDE = 384              # pixels of 0.5 mm: 192 mm
SPP = 6                 # paths to a pixel, with what they leave of noise taken out
SPP_ALONE = 160         # where a graphics card makes so many cost less than taking it out
HALF = SIDE * shine.PIXEL / 2
BATCHES, MAKERS = 3, 6
KINDS = {"apart": 0.09, "clumps": 0.13, "blocks": 0.18, "layer": 0.13, "poured": 0.17, "dumped": 0.30}
COLUMNS = ["middle_x", "middle_y", "long", "short", "turn", "square", "face", "form", "size", "share", "stranger",
           "notch_x", "notch_y"]


def make(folder, count, seed, falls=None, narrow=False):
    """Scenes `seed`-00000 onwards; those that are there already are kept. `falls`: a file of
    `fall.keep` to take falls from, where Bullet is not at hand. `narrow`: of the first worlds."""
    import drjit

    shine.variant()
    drjit.set_thread_count(1)       # several makers run side by side
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    falls = fall.Kept(falls) if falls else None
    for number in range(count):
        path = folder / f"{seed:03d}-{number:05d}.npz"
        if path.exists():
            continue
        began = time.time()
        rng = np.random.default_rng([seed, number])
        kind = str(rng.choice(list(KINDS), p=list(KINDS.values())))
        lay = layouts(kind, rng, falls, not narrow)
        first = int(rng.integers(4)) if falls else 0        # kept falls serve more than once
        for again in range(2 if kind in ("poured", "dumped") else 1):    # a fall costs more than a picture
            scene = shoot(kind, lay, np.random.default_rng([seed, number, again]), mirrored=(first + again) % 4, wide=not narrow)
            part = path if not again else path.with_name(path.stem + "b.npz")
            hidden = part.with_suffix(".part")
            with open(hidden, "wb") as file:
                np.savez_compressed(file, **scene)
            hidden.rename(part)
        print(path.stem, kind, scene["table"].shape[0], f"{time.time() - began:.1f} s", flush=True)


def layouts(kind, rng, falls=None, wide=False):
    """Pieces that carry the number of a colour as their colour, how many colours there are, and
    the tray whose rim is close around them, or None."""
    tray = None
    layer = arrange.Layer(HALF + 14)
    mix = int(rng.integers(1, 11))
    own = rng.random() < 0.7        # neighbours mostly of one colour

    def colour(like):
        return like if like is not None and own and rng.random() < 0.8 else str(rng.integers(mix))

    cup = arrange.draw_kinds
    if kind == "apart":
        arrange.scatter(layer, cup(int(rng.integers(5, 50)), rng), colour, rng)
    elif kind == "clumps":
        arrange.grow(layer, cup(int(rng.integers(25, 75)), rng), colour, rng, None, 0.72)
    elif kind == "blocks":
        kinds = cup(60, rng)
        odd = [kind for kind in kinds if kind.form not in poses.BLOCKS]
        for _ in range(int(rng.integers(2, 9))):
            pick = kinds[rng.integers(len(kinds))]
            way = rng.random()
            if way < 0.45:
                form = pick.form if pick.form in poses.BLOCKS else str(rng.choice(poses.BLOCKS))
                arrange.lattice(layer, form if rng.random() < 0.8 else None, 11, colour, rng, odd=odd)
            elif way < 0.75 and pick.form in poses.BLOCKS:
                arrange.lattice(layer, pick.form, 12, colour, rng, pick.studs[::-1])
            else:
                face = arrange.draw_face(pick, rng)
                arrange.ranks(layer, pick, face, int(rng.integers(2, 9)), colour, rng)
        arrange.grow(layer, kinds[:int(rng.integers(0, 40))], colour, rng, None, 0.7, 5)
    elif kind == "layer":
        arrange.grow(layer, cup(int(rng.integers(30, 100)), rng), colour, rng, arrange.draw_face, 0.35, 12)
    else:
        piled = kind == "dumped"
        rimmed = wide and rng.random() < 0.5
        laid, tray = falls.one(piled, rng, rimmed) if falls else fall.cup(piled, rng, rimmed)
        for piece in laid:
            if np.hypot(piece.x, piece.y) < 400 and piece.z > -3:
                piece.colour = colour(None)
                layer.pieces.append(piece)
    if rng.random() < 0.17:
        _strangers(layer, kind, rng)
    if tray is None and wide and kind not in ("poured", "dumped") and rng.random() < 0.35:
        tray = _close_rim(layer, rng)
    return layer.pieces, mix, tray


def _close_rim(layer, rng):
    """A tray's rim through the middle of it all: what is not within it goes."""
    tray = Tray("white", 0.5, inside_mm=tuple(map(float, rng.uniform(110, 200, 2))), surface="plain", turn=float(rng.uniform(0, 90)),
                shift=tuple(map(float, rng.uniform(-25, 25, 2))), rim_mm=float(rng.uniform(5, 20)), rim_width=float(rng.uniform(1.5, 9)),
                rim_lean=float(rng.uniform(0, 5)), corner_mm=float(rng.uniform(2, 14)))
    floor = tray.rounded(-0.1)
    layer.pieces = [piece for piece in layer.pieces if floor.contains(piece.footprint())]
    return tray


def _strangers(layer, kind, rng):
    """A few things that fit no shape."""
    for _ in range(int(rng.integers(1, 7))):
        for _ in range(40):
            thing = oddments.Thing(str(rng.choice(oddments.KINDS)), *rng.uniform(-HALF, HALF, 2),
                                   rng.uniform(0, 360), int(rng.integers(40)))
            if kind in ("poured", "dumped"):
                shape = thing.footprint()
                free = all(shape.intersection(piece.footprint()).area < 0.01 for piece in layer.pieces)
            else:
                free = layer.room(thing, rng.choice([0.05, 3]))
            if free:
                thing.colour = ""
                layer.add(thing)
                break


def shoot(kind, lay, rng, mirrored=0, wide=False):
    """The picture of a layout from a random place in random light, and its truth: which piece
    each pixel shows (`ids`), which is next below (`below`), how high it is (`heights`), which
    hides how much of which (`over`), and how each lies (`table`, `poses`)."""
    from ..render import denoise

    mi = shine.variant()
    pieces, mix, tray_around = lay
    setting = shine.Setting(rng, SIDE, wide=wide)
    shift = rng.uniform(-30, 30, 2) if kind in ("poured", "dumped") else np.zeros(2)
    turned = [_moved(piece, shift, mirrored) for piece in pieces]
    bodies = colours.mix(mix, setting.tray_lab, rng)
    batches = BATCHES if wide else 1
    maker = int(rng.integers(MAKERS)) + 1 if wide else 0
    if wide:        # each colour from several batches
        bodies = np.repeat(bodies, batches, 0) + rng.normal(0, rng.uniform(0.2, 1.0), (mix * batches, 3))
    solids, tables, labs, metal, extra = [], [], [], [], []
    for piece in turned:
        solid = piece.solid() if isinstance(piece, oddments.Thing) else shapes.solid(
            piece.kind, True, 20, shapes.mould(maker, piece.kind))
        solids.append((piece.to_world(solid.vertices), solid.faces))
        stranger = isinstance(piece, oddments.Thing)
        labs.append(int(piece.colour) * batches + int(rng.integers(batches)) if not stranger else len(bodies) + len(extra))
        if stranger:
            extra.append(colours.body(rng))
        metal.append(stranger and piece.what == "disc")
        if stranger:
            tables.append([piece.x, piece.y, 16, 16, 0, 0, 0, 0, 0, 1, 1, 0, 0])
        else:
            tables.append([*poses.told(piece, setting.foot, setting.height), 1, 0, *poses.notch(piece)])
    lost = len(turned)      # all from here on is no piece
    if tray_around is not None:
        for body, lab in _around(tray_around, shift, mirrored, setting, rng):
            solids.append(body)
            labs.append(len(bodies) + len(extra))
            extra.append(lab)
            metal.append(False)
    starts = np.cumsum([0] + [len(v) for v, _ in solids])
    ends = np.cumsum([len(f) for _, f in solids])
    vertices = np.concatenate([v for v, _ in solids])
    faces = np.concatenate([f + start for (_, f), start in zip(solids, starts)])
    of = np.repeat(np.arange(len(solids)), [len(f) for _, f in solids])
    albedo = colours.linear(np.concatenate([bodies, *[lab[None] for lab in extra]]))
    number = np.repeat(labs, [len(v) for v, _ in solids])
    shiny = np.array(metal)[of]
    lamps, lit = shine.light(setting, mi)
    plastic = (vertices, faces[~shiny], albedo, number)
    coins = (vertices, faces[shiny]) if shiny.any() else None
    tray = shine.tray_picture(setting, rng)
    full = shine.world(setting, plastic, coins, mi, lamps, tray)
    face, x, y = shine.hits(vertices, faces, setting, mi)
    seed = int(rng.integers(2**31))
    if mi.variant().startswith("cuda"):
        light = shine.picture(full, setting, SPP_ALONE, seed, mi)
    else:
        corner = vertices[faces]
        normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        normal /= np.linalg.norm(normal, axis=1, keepdims=True) + 1e-12
        lookup = np.concatenate([albedo[np.array(labs)[of]], [[0, 0, 0]]]).astype(np.float32)
        flat = np.where(face[..., None] >= 0, lookup[face], shine.tray_at(tray, x, y))
        upright = np.where(face[..., None] >= 0, np.concatenate([normal, [[0, 0, 1.0]]])[face], (0, 0, 1.0))
        light = denoise(shine.picture(full, setting, SPP, seed, mi), _halved(flat), _halved(upright))
    at = (np.arange(24) + 0.5 - 12) * (SIDE * shine.PIXEL / 24)
    bare = lit(*np.meshgrid(at, at)) * colours.linear(setting.tray_lab)
    owner = np.append(np.where(of < lost, of + 1, 0), 0)
    ids = owner[face][::2, ::2].astype(np.uint16)
    table = np.array(tables, np.float32).reshape(-1, len(COLUMNS))
    whole = np.array([_covered(piece, setting) for piece in turned])
    seen = np.bincount(ids.ravel(), minlength=len(turned) + 1)[1:] * shine.PIXEL**2
    table[:, 9] = np.clip(seen / (0.97 * whole), 0, 1)
    exposure = rng.uniform(0.75, 1.05) / max(np.percentile(light.max(2), 97) if rng.random() < 0.3 else 1.0, 0.6)
    encode = lambda x: np.round(255 * colours.encode(x * exposure)).astype(np.uint8)  # noqa: E731
    return {"image": encode(light), "bare": (bare * exposure).astype(np.float32), "ids": ids, "table": table,
            "foot": setting.foot, "height": setting.height, "kind": kind,
            **_depths(vertices, faces, owner, setting, mi), "poses": _poses(turned), "wide": wide}


def _poses(pieces):
    """Position (mm) and axes (columns) of each, in a row of twelve; zeros for what fits no shape."""
    rows = [np.concatenate([[p.x, p.y, p.z], p.axes().ravel()]) if hasattr(p, "kind") else np.zeros(12) for p in pieces]
    return np.array(rows, np.float32).reshape(-1, 12)


def _depths(vertices, faces, owner, setting, mi):
    """What lies behind what each pixel shows, layer by layer: `below`, the next piece; `heights`,
    of the first surface, 0.25 mm a step; `over`, rows (piece, a piece that it hides, mm²)."""
    layers = shine.peeled(vertices, faces, owner, setting, mi)
    first, below, pairs = layers[0][0], np.zeros_like(layers[0][0]), []
    for owners, _ in layers[1:]:
        below = np.where((below == 0) & (owners != first), owners, below)
    for n, (front, _) in enumerate(layers):
        for back, _ in layers[n + 1:]:
            both = (front > 0) & (back > 0) & (front != back)
            pairs.append(front[both].astype(np.int64) * 1000 + back[both])
    pairs, count = np.unique(np.concatenate(pairs) if pairs else np.zeros(0, np.int64), return_counts=True)
    heights = np.clip(np.round(layers[0][1] * 4), 0, 255).astype(np.uint8)
    return {"heights": heights, "below": below.astype(np.uint8),
            "over": np.stack([pairs // 1000, pairs % 1000, count * shine.PIXEL**2], 1).astype(np.float32)}


def _around(tray, shift, quarters, setting, rng):
    """The rim and a table behind it, as (vertices, faces) and Lab."""
    near = setting.tray_lab + rng.normal(0, 1, 3) * (3, 0.7, 0.7) if rng.random() < 0.7 else colours.tray(rng)
    table = colours.tray(rng)
    angle = np.pi / 2 * quarters
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    def moved(points):
        return np.column_stack([points[:, :2] @ turn.T + shift, points[:, 2]])
    rim = tray.rim(None)
    outer = np.array(tray.rounded(tray.rim_width).exterior.coords)[:-1]
    far = outer * 0 + 700 * outer / np.linalg.norm(outer, axis=1, keepdims=True)
    n = len(outer)
    sheet = np.column_stack([np.concatenate([outer, far]), np.full(2 * n, 0.05)])
    k = np.arange(n)
    after = (k + 1) % n
    faces = np.concatenate([np.stack([k, k + n, after], 1), np.stack([after, k + n, after + n], 1)])
    return [((moved(rim.vertices), rim.faces), near), ((moved(sheet), faces), table)]


def _halved(fine):
    return (fine[::2, ::2] + fine[1::2, ::2] + fine[::2, 1::2] + fine[1::2, 1::2]).astype(np.float32) / 4


def _shadow(points, setting):
    scale = setting.height / (setting.height - points[:, 2:])
    return setting.foot + (points[:, :2] - setting.foot) * scale


def _covered(piece, setting):
    """What it covers of the view where nothing hides it, mm²."""
    if isinstance(piece, oddments.Thing):
        parts = [piece.outline()]
    else:
        parts = [piece.to_world(points) for points in shapes.outline_parts(piece.kind)]
    return unary_union([MultiPoint(_shadow(points, setting)).convex_hull for points in parts]).area


def _moved(piece, shift, quarters):
    """Shifted, and turned by quarters of a turn, so that a fall serves more than once."""
    import copy

    moved = copy.copy(piece)
    x, y = np.array([piece.x, piece.y])
    for _ in range(quarters):
        x, y = -y, x
    moved.x, moved.y = x + shift[0], y + shift[1]
    if quarters and getattr(piece, "rotation", None) is not None:
        moved.rotation = Rotation.from_euler("z", 90 * quarters, degrees=True).as_matrix() @ piece.rotation
    return moved
