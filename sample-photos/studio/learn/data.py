"""Training scenes into crops: what a phone does to a picture, the channels that the network
sees, and what it is to say at each cell."""

import io
from pathlib import Path

import numpy as np
import torch
from PIL import Image
from scipy.ndimage import gaussian_filter, map_coordinates

from . import colours, poses
from .net import VOTE_MM

PIXEL, CELL = 0.5, 4        # mm; pixels from one cell to the next
GROUND = 12                 # places of the bare tray along a crop
SIDES_MM = 16.0


def channels(lab, ground, x, y, foot, height, known=None):
    """The six channels of the contract; `known` is False outside the photo and on the card."""
    difference = np.clip((lab - ground) / 25, -4, 4)
    light = (ground[..., :1] - 60) / 30
    lean = np.stack([(x - foot[0]) / height, (y - foot[1]) / height], -1)
    seen = np.concatenate([difference, light], -1)
    if known is not None:
        seen = np.where(known[..., None], seen, 0)
    return np.ascontiguousarray(np.concatenate([seen, lean], -1).transpose(2, 0, 1).astype(np.float32))


class Scenes(torch.utils.data.IterableDataset):
    """Crops without end; scenes that were added meanwhile are taken in. `held` keeps only the
    scenes that are held out for checking (each `every`-th), else all others."""

    def __init__(self, folder, crop, seed, every=25):
        self.folder, self.crop, self.seed, self.every = Path(folder), crop, seed, every

    def __iter__(self):
        worker = torch.utils.data.get_worker_info()
        rng = np.random.default_rng([self.seed, worker.id if worker else 0])
        kept, drawn = {}, 0
        while True:
            if drawn % 400 == 0:
                for path in files(self.folder, self.every):
                    if path not in kept:
                        kept[path] = load(path)
                names = sorted(kept)
                # Where forms are mixed, they cannot be guessed from the scene.
                chance = np.array([len(set(kept[n]["table"][:, 7])) for n in names], float)
                chance /= chance.sum()
            drawn += 1
            yield crop(kept[names[rng.choice(len(names), p=chance)]], self.crop, rng)


def files(folder, every=25, held=False):
    """Scenes to learn from, or those held out. Both pictures of one fall go the same way."""
    number = lambda path: int(path.stem[4:9])  # noqa: E731
    return [p for p in sorted(Path(folder).glob("*.npz")) if (number(p) % every == every - 1) == held]


def load(path):
    with np.load(path) as given:
        return {name: given[name] for name in given.files}


def crop(scene, side, rng, plain=False):
    """Input, target classes, target numbers and weights of one random crop (`plain`: of the
    whole scene as it is)."""
    image, ids = scene["image"], scene["ids"].astype(np.int64)
    full = image.shape[0]
    table = scene["table"].astype(np.float64).copy()
    whole = np.bincount(ids.ravel(), minlength=len(table) + 1)
    top, left = (0, 0) if plain else rng.integers(0, full - side + 1, 2)
    part = (slice(top, top + side), slice(left, left + side))
    image, ids = image[part], ids[part]
    bare = _bare(scene["bare"], full, left, top, side)
    shift = np.array([left + side / 2 - full / 2, top + side / 2 - full / 2]) * PIXEL
    foot, height = scene["foot"] - shift, float(scene["height"])
    at, way = table[:, :2] - shift, np.stack([np.cos(table[:, 4]), np.sin(table[:, 4])], 1)
    if not plain:
        for axis in (0, 1):         # mirrored: a piece is its own mirror image
            if rng.random() < 0.5:
                image, ids, bare = (np.flip(a, 1 - axis) for a in (image, ids, bare))
                foot = foot * np.where(np.arange(2) == axis, -1, 1)
                at[:, axis], way[:, axis] = -at[:, axis], -way[:, axis]
        if rng.random() < 0.5:
            image, ids, bare = (np.swapaxes(a, 0, 1) for a in (image, ids, bare))
            foot, at, way = foot[::-1], at[:, ::-1], way[:, ::-1]
    known = np.ones(ids.shape, bool)
    if not plain and rng.random() < 0.15:
        known = _cut(side, rng)
        ids = np.where(known, ids, 0)
    place = (np.arange(side) + 0.5 - side / 2) * PIXEL
    x, y = np.meshgrid(place, place)
    lab, ground = photographed(image, bare, rng, plain)
    seen = channels(lab, ground, x, y, foot, height, known)
    return seen, *_targets(ids[::CELL, ::CELL], x[::CELL, ::CELL], y[::CELL, ::CELL], table, at, way,
                           np.bincount(ids.ravel(), minlength=len(whole)) / np.maximum(whole, 1), foot, height)


def _bare(coarse, full, left, top, side):
    """The bare tray at GROUND x GROUND places of a crop, even in it."""
    step = full / len(coarse)
    at = (np.arange(GROUND) + 0.5) * side / GROUND
    rows, columns = np.meshgrid((top + at) / step - 0.5, (left + at) / step - 0.5, indexing="ij")
    return np.stack([map_coordinates(coarse[..., c], [rows, columns], order=1, mode="nearest")
                     for c in range(3)], -1).astype(np.float32)


def _cut(side, rng):
    """A straight border behind which nothing is known: the photo's edge, or the card's."""
    y, x = np.mgrid[0:side, 0:side] / side - 0.5
    turn = rng.uniform(0, 2 * np.pi)
    return x * np.cos(turn) + y * np.sin(turn) < rng.uniform(0.1, 0.45)


_DECODED = colours.decode(np.arange(256) / 255).astype(np.float32)


def _enlarged(coarse, side):
    """Linear between the places, by a matrix for each axis."""
    at = np.clip((np.arange(side) + 0.5) * len(coarse) / side - 0.5, 0, len(coarse) - 1)
    reach = np.maximum(0, 1 - np.abs(at[:, None] - np.arange(len(coarse)))).astype(np.float32)
    return np.einsum("ia,abc,jb->ijc", reach, coarse, reach, optimize=True)


def _soft(value, sigma):
    return gaussian_filter(value, (sigma, sigma, 0), truncate=2.5)


def photographed(image, bare, rng, plain=False):
    """CIELAB of the picture and of the bare tray, after what a phone may do to both."""
    wide = lambda lab: _enlarged(lab.astype(np.float32), len(image))  # noqa: E731
    light = _DECODED[image]
    if plain:
        return (colours.lab_of(image.astype(np.float32) / 255),
                wide(colours.lab_of(colours.encode(bare).astype(np.float32))))
    cast = (np.exp(rng.normal(0, 0.07, 3)) * np.exp(rng.normal(0, 0.10))).astype(np.float32)
    mixing = np.eye(3) + rng.normal(0, 0.06, (3, 3)) * (1 - np.eye(3))      # other primaries, other sensors
    mixing = (mixing / mixing.sum(axis=1, keepdims=True)).T.astype(np.float32)
    bend, foot = np.exp(rng.normal(0, 0.16)), rng.uniform(0, 0.02)

    def tone(given):
        value = np.clip(given @ mixing * cast, 0, None)
        value = colours.encode(np.where(value < 0.8, value, 0.8 + 0.2 * np.tanh((value - 0.8) / 0.2)))
        return np.clip(foot + (1 - foot) * value**bend, 0, 1).astype(np.float32)

    # Blur and halo in the 0.5 mm grid; sharpening there is a phone's, carried over.
    value = tone(light)
    if rng.random() < 0.85:
        value = _soft(value, rng.uniform(0.15, 0.8))
    if rng.random() < 0.6:
        value = value + np.float32(rng.uniform(0.1, 0.9)) * (value - _soft(value, rng.uniform(0.6, 1.6)))
    if rng.random() < 0.8:
        noise = rng.standard_normal(value.shape, np.float32)
        if rng.random() < 0.5:
            noise = 2 * _soft(noise, 0.7)
        value = value + noise * np.float32(np.exp(rng.uniform(np.log(0.001), np.log(0.018))))
    value = np.clip(value, 0, 1)
    if rng.random() < 0.35:
        file = io.BytesIO()
        Image.fromarray((255 * value).round().astype(np.uint8)).save(file, "JPEG", quality=int(rng.integers(55, 96)))
        value = np.asarray(Image.open(file)).astype(np.float32) / 255
    ground = colours.lab_of(tone(bare))
    place = np.linspace(-1, 1, len(ground))
    slope = rng.normal(0, 0.5, (2, 3))
    ground = ground + rng.normal(0, 1, 3) * (1.2, 0.8, 0.8) + place[:, None, None] * slope[0] + place[None, :, None] * slope[1]
    return colours.lab_of(value), wide(ground)


def _studs(x, y, table, at, way, foot, height, piece):
    """Whether a cell lies on a stud that looks up: what tells forms apart can be learnt much
    sooner where it is pointed out. Of pieces that lean the place is a little off."""
    tall = np.where(table[:, 7] == 0, 9.6, 3.2)
    top = at + (at - foot) / height * (tall / 2 + 1.0)[:, None]
    scale = 1 + (tall + 1.0) / height
    dx, dy = x - top[piece, 0], y - top[piece, 1]
    cos, sin = way[piece, 0], way[piece, 1]
    on = (table[piece, 6] == 0) & (table[piece, 7] < 2)
    for along, side in ((dx * cos + dy * sin, 1), (dy * cos - dx * sin, 0)):
        count = np.array(poses.SIZES)[table[:, 8].astype(int), side][piece]
        step = along / (8.0 * scale[piece]) - (count - 1) / 2
        near = np.clip(np.round(step), -(count - 1), 0)
        off = (step - near) * 8.0
        on = on & (np.abs(off) < 2.3)
    return on


def _targets(ids, x, y, table, at, way, inside, foot, height):
    """Classes (what, face, form, size), numbers (vote 2, turns 4, seen, sides 2, stud) and
    weights (vote, classes, square) per cell."""
    piece = np.maximum(ids - 1, 0)
    stranger = table[piece, 10] > 0
    there = ids > 0
    what = np.where(there, np.where(stranger, 2, 1), 0)
    listed = there & ~stranger
    classes = np.stack([what, *(np.where(listed, table[piece, c], 0) for c in (6, 7, 8))]).astype(np.int64)
    turn = np.arctan2(way[:, 1], way[:, 0])[piece]
    numbers = np.stack([
        (at[piece, 0] - x) / VOTE_MM, (at[piece, 1] - y) / VOTE_MM,
        np.cos(2 * turn), np.sin(2 * turn), np.cos(4 * turn), np.sin(4 * turn),
        table[piece, 9] * inside[ids], np.log(table[piece, 2] / SIDES_MM), np.log(table[piece, 3] / SIDES_MM),
        _studs(x, y, table, at, way, foot, height, piece) & listed])
    count = np.bincount(ids.ravel(), minlength=len(table) + 1)
    even = np.clip(np.sqrt(24 / np.maximum(count, 1)), 0.5, 2)[ids]     # small pieces count too
    clear = np.where(inside[ids] > 0.7, 1.0, 0.2)       # of one cut by the crop little can be said
    square = table[piece, 5] > 0
    weights = np.stack([there * even * clear, listed * even * clear, square])
    return classes, numbers.astype(np.float32), weights.astype(np.float32)
