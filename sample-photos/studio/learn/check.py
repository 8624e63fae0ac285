"""How well a state of training does: on scenes held out, and on the sample photos."""

from pathlib import Path

import numpy as np
import torch

from . import data, decode
from .photos import Photo
from .train import trained


def run(model, seen):
    with torch.no_grad():
        return model(torch.from_numpy(seen)[None])[0].numpy()


def check(folder, photos, scenes, only, kept=None):
    model, steps = trained(folder)
    torch.set_num_threads(1)
    print(f"{steps} steps")
    if scenes:
        _scenes(model, scenes)
    if photos:
        _photos(model, photos, only, kept)


def _add(sums, name, told):
    sums[name] = {key: sums.get(name, {}).get(key, 0) + value for key, value in told.items()}


def _scenes(model, folder):
    sums = {}
    for path in data.files(folder, held=True):
        scene = data.load(path)
        side = scene["image"].shape[0]
        scenes = data.Scenes()
        scenes.add(data.packed([path]))
        if not len(scenes):
            continue    # one that `packed` leaves out
        seen = data.whole(scenes.of([0]))[0][0].numpy()
        place = (np.arange(0, side, data.CELL) + 0.5 - side / 2) * data.PIXEL
        found = decode.gather(run(model, seen), *np.meshgrid(place, place))
        half = side * data.PIXEL / 2 - 8        # those at the border may be cut
        inner = [f for f in found if np.abs(f["at"]).max() < half]
        truth = decode.truth_of_scene(scene["table"])
        _add(sums, str(scene["kind"]), decode.compare(inner, truth[np.abs(truth[:, :2]).max(1) < half]))
    for kind in sorted(sums):
        print(f"{kind:10s}", decode.line(sums[kind]))


def _photos(model, folder, only, kept):
    sums = {}
    for path in sorted(Path(folder).glob("*.jpg")):
        if only not in path.name or not path.with_suffix(".json").exists():
            continue
        photo = Photo(path)
        if path.stem.startswith("failing") and not only:
            continue
        seen, x, y = photo.seen(Path(kept) / (path.stem + ".npz") if kept else None)
        found = decode.gather(run(model, seen), x, y)
        told = decode.compare(found, photo.pieces())
        print(f"{path.stem:38s}", decode.line(told), flush=True)
        _add(sums, photo.truth["kind"], told)
    for kind in sorted(sums):
        print(f"== {kind:10s}", decode.line(sums[kind]))
