"""What the network says at each cell, gathered into pieces: votes in heaps, and the mean of
what the cells of a heap say. The program gathers in its own, more careful way; this is for
judging the training."""

import numpy as np
from scipy.ndimage import gaussian_filter, maximum_filter

from . import net as nets, poses

GRID = 1.0          # mm, of the votes
SPREAD = 1.3        # mm, of a vote
JOIN_MM = 3.0       # heaps nearer than this are one
REACH_MM = 6.0      # from a cell's vote to its heap
NEAR_TURN = 0.25    # radians off, of a corner that is turned right
LEAST = 2.5         # cells of evidence in a heap


def softmax(x, axis):
    e = np.exp(x - x.max(axis, keepdims=True))
    return e / e.sum(axis, keepdims=True)


def gather(out, x, y):
    """Pieces as dictionaries: place, face, form and size with their shares, sides, weight.
    `out`: channels x rows x columns; `x`, `y`: middles of the cells, mm."""
    what = softmax(out[nets.WHAT], 0)
    mass = 1 - what[0]
    keep = mass > 0.35
    if not keep.any():
        return []
    at = np.stack([x + nets.VOTE_MM * out[3], y + nets.VOTE_MM * out[4]], -1)[keep]
    mass, cells = mass[keep], out[:, keep]
    low = at.min(axis=0) - 5
    place = np.round((at - low) / GRID).astype(int)
    heap = np.zeros(place.max(axis=0) + 6)
    np.add.at(heap, tuple(place.T), mass)
    heap = gaussian_filter(heap, SPREAD / GRID)
    size = int(2 * JOIN_MM / GRID) + 1
    peak = (heap == maximum_filter(heap, size)) & (heap > 0.10)
    peaks = np.argwhere(peak) * GRID + low
    if not len(peaks):
        return []
    far = ((at[:, None] - peaks) ** 2).sum(2)
    owner = far.argmin(1)
    owner[far.min(1) > REACH_MM**2] = -1
    found = []
    stranger = what[2][keep]
    for n in range(len(peaks)):
        mine = owner == n
        weight = mass[mine].sum()
        if weight < LEAST:
            continue
        w = mass[mine] / weight
        mean = (cells[:, mine] * w).sum(1)
        found.append({
            "at": (at[mine] * w[:, None]).sum(0), "weight": float(weight),
            "stranger": float((stranger[mine] * w).sum()),
            "face": softmax(mean[nets.FACE], 0), "form": softmax(mean[nets.FORM], 0),
            "size": softmax(mean[nets.SIZE], 0), "sides": np.exp(mean[nets.SIDES]) * 16,
            "seen": 1 / (1 + np.exp(-mean[nets.SEEN][0])), "notch": np.arctan2(*mean[nets.NOTCH][::-1]),
            "turn": np.arctan2(mean[6], mean[5]) / 2, "turn_square": np.arctan2(mean[8], mean[7]) / 4})
    return found


def compare(found, truth, view_box=None, reach=5.0):
    """Matches nearest first. `truth`: rows of (x, y, face, form, size, share seen, stranger,
    a corner's notch or nan). Gives counts by name."""
    told = {"true": 0, "found": 0, "invented": 0, "size": 0, "face": 0, "form": 0, "all": 0, "true_seen": 0,
            "found_seen": 0, "sure": 0, "sure_wrong": 0, "odd": 0, "odd_right": 0, "corners": 0, "turned": 0}
    pieces = [f for f in found if f["stranger"] < 0.5]
    truth = np.asarray(truth, float).reshape(-1, 8)
    listed = truth[:, 6] == 0
    told["true"] = int((listed & (truth[:, 5] > 0.02)).sum())
    told["true_seen"] = int((listed & (truth[:, 5] >= 0.4)).sum())
    pairs = sorted((float(np.hypot(*(f["at"] - t[:2]))), i, j) for i, f in enumerate(pieces)
                   for j, t in enumerate(truth) if np.hypot(*(f["at"] - t[:2])) < reach)
    used, taken = set(), set()
    for _, i, j in pairs:
        if i in used or j in taken:
            continue
        used.add(i)
        taken.add(j)
        if not listed[j]:
            told["invented"] += 1       # a thing that is no listed piece, taken for one
            continue
        told["found"] += 1
        told["found_seen"] += truth[j, 5] >= 0.4
        one = pieces[i]
        right = [one["face"].argmax() == truth[j, 2], one["form"].argmax() == truth[j, 3],
                 one["size"].argmax() == truth[j, 4]]
        for name, ok in zip(("face", "form", "size"), right):
            told[name] += ok
        told["all"] += right[1] and right[2]
        sure = one["size"].max() * one["form"].max() > 0.95
        if truth[j, 3] >= len(poses.BLOCKS):
            told["odd"] += 1
            told["odd_right"] += right[1] and right[2]
        if right[1] and not np.isnan(truth[j, 7]):
            off = (one["notch"] - truth[j, 7] + np.pi) % (2 * np.pi) - np.pi
            told["corners"] += 1
            told["turned"] += abs(off) < NEAR_TURN
        told["sure"] += sure
        told["sure_wrong"] += sure and not (right[1] and right[2])
    told["invented"] += len(pieces) - len(used)
    return told


def line(told):
    part = lambda a, b: f"{100 * told[a] / max(told[b], 1):5.1f}"  # noqa: E731
    return (f"{told['true']:5d} true  found {part('found', 'true')} %  of those seen well {part('found_seen', 'true_seen')} %  "
            f"invented {told['invented']:4d}  of found: size {part('size', 'found')} face {part('face', 'found')} "
            f"form {part('form', 'found')} both {part('all', 'found')}  sure {part('sure', 'found')}, "
            f"of those wrong {part('sure_wrong', 'sure')}  no rectangles {told['odd']}, both {part('odd_right', 'odd')}, "
            f"corners turned {part('turned', 'corners')}")


def truth_of_scene(table):
    keep = table[:, 9] > 0
    rows = table[keep]
    notch = np.where(np.abs(rows[:, 11:]).sum(1) > 0, np.arctan2(rows[:, 12], rows[:, 11]), np.nan)
    return np.column_stack([rows[:, [0, 1, 6, 7, 8, 9, 10]], notch])


def index_of(one):
    """Face, form and size of a truth's piece as numbers."""
    short, long = map(int, one["size"].split("x"))
    face = "side" if one["face"] == "end" and short == long else one["face"]
    return poses.FACES.index(face), poses.FORMS.index(one["form"]), poses.SIZES.index((short, long))
