"""python -m studio make NAME... | --all     photos and truths into ../<folder>
python -m studio list                      names and seeds
python -m studio look NAME                 a quick small picture into the given --out
python -m studio pour NAME... | --all      cups fall anew into settled/ (needs pybullet)
python -m studio tell NAME... | --all      the truths alone, photos as they are
python -m studio contact                   ../contact.jpg of all photos
python -m studio verify NAME... | --all    the committed truths and photos against their seeds
python -m studio draw FOLDER --desks A-B   photos of desks drawn by their number (see `drawn`)"""

import argparse
import collections
import dataclasses
import json
import multiprocessing
import signal
import time
from pathlib import Path

from . import camera, check, contact, cycles, drawn, jpeg, layout, pour, render, scene, solidity, truth
from .recipes import RECIPES

HOME = Path(__file__).resolve().parent.parent


def main(arguments=None):
    parser = argparse.ArgumentParser(prog="studio", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["make", "list", "look", "pour", "tell", "verify", "contact", "draw"])
    parser.add_argument("names", nargs="*")
    parser.add_argument("--all", action="store_true", help="every recipe")
    parser.add_argument("--out", type=Path, help="folder instead of the recipe's own")
    parser.add_argument("--desks", help="of drawn scenes: 301-312")
    parser.add_argument("--makers", type=int, default=1, help="of drawn scenes: processes side by side")
    parser.add_argument("--minutes", type=float, default=1e9, help="of drawn scenes: none is begun later")
    parser.add_argument("--spp", type=int, help="samples a pixel, instead of the recipe's")
    options = parser.parse_args(arguments)
    if options.what == "list":
        for recipe in RECIPES.values():
            print(f"{recipe.seed}  {recipe.folder}/{recipe.name}")
        return 0
    if options.what == "contact":
        contact.sheet(HOME, RECIPES.values())
        return 0
    if options.what == "draw":
        draw(Path(options.names[0]), options)
        return 0
    names = list(RECIPES) if options.all else options.names
    unknown = [name for name in names if name not in RECIPES]
    if unknown or not names:
        parser.error(f"no such photo: {', '.join(unknown)}" if unknown else "name a photo, or --all")
    for name in names:
        recipe = RECIPES[name]
        if options.what == "pour":
            if recipe.kind in ("poured", "dumped") and recipe.rests is None:
                fall(recipe)
            continue
        if options.what == "tell":
            tell(recipe, options.out or HOME / recipe.folder)
            continue
        if options.what == "verify":
            verify(recipe, options.out or HOME / recipe.folder)
            continue
        if options.what == "look":
            recipe = dataclasses.replace(recipe, width=recipe.width // 3, height=recipe.height // 3,
                                         spp=24)
        make(recipe, options.out or HOME / recipe.folder, options.spp or recipe.spp)
    return 0


def make(recipe, folder, spp, laid=None):
    """One photo and its truth, checked before and after."""
    started = time.monotonic()
    laid = laid or lay(recipe)
    told, ids = truth.tell(laid)
    check.scene_and_truth(laid, told, ids)
    finished = picture(laid, ids, spp)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / told["photo"]
    jpeg.save(finished, path, recipe)
    check.photo(path, told)
    truth.write(told, path.with_suffix(".json"))
    print(f"{recipe.name}: {len(told['pieces'])} pieces, {path.stat().st_size >> 10} KiB, "
          f"{time.monotonic() - started:.0f} s", flush=True)


def draw(folder, options):
    """All photos of some desks. A tray that finds no room, or shows a piece cut in one of its views, is left out of that
    view and told."""
    first, last = map(int, options.desks.split("-"))
    trays = []
    for number in range(first, last + 1):
        of_desk = collections.defaultdict(list)
        for recipe in drawn.desk(number):
            of_desk[recipe.seed].append(recipe)
        trays += of_desk.values()
    until = time.monotonic() + 60 * options.minutes
    with multiprocessing.get_context("spawn").Pool(options.makers) as pool:
        jobs = [(views, folder, options.spp, until) for views in trays]
        for _ in pool.imap(_draw_tray, jobs, chunksize=1):
            pass


FALL_SECONDS = 150      # a cup that has not come to rest by then has too little room


def _too_long(*_):
    # Not `NoRoom`, after which the tray would be laid out again.
    raise TimeoutError("the cup does not come to rest")


def _draw_tray(job):
    views, folder, spp, until = job
    if time.monotonic() > until:
        return
    signal.signal(signal.SIGALRM, _too_long)
    laid = None
    for recipe in views:
        try:
            if laid is None:
                signal.alarm(FALL_SECONDS)
                try:
                    laid = scene.lay_out(recipe, fresh=True)
                finally:
                    signal.alarm(0)
            seen = laid if recipe.rests is None else scene.seen_again(recipe, laid)
            if not seen.view.inside(seen.view.project(seen.card.corners()), 4):
                raise check.Wrong("the card leaves the picture")
            make(recipe, folder, spp or recipe.spp, seen)
        except Exception as error:      # one tray's fault is not the others'
            print(f"{recipe.name}: left out, {error!r}", flush=True)
            if laid is None:
                return


def lay(recipe):
    """The scene, with the pieces of the recipe's renderer."""
    laid = scene.lay_out(recipe)
    return cycles.moulded(laid) if recipe.renderer == "cycles" else laid


def picture(laid, ids, spp):
    """The finished picture, by the recipe's renderer and its phone."""
    if laid.recipe.renderer == "cycles":
        return cycles.picture(laid, ids, spp)
    raw = render.raw_picture(laid, camera.sensitivities(laid.recipe.sensor), spp)
    return camera.develop(raw, laid)


def fall(recipe):
    """A cup emptied anew, its resting places kept."""
    started = time.monotonic()
    laid = scene.lay_out(recipe, fresh=True)
    deepest = solidity.settled(laid.pieces, floor=laid.rimmed())
    pour.keep(recipe, laid.pieces)
    faces = collections.Counter(piece.face for piece in laid.pieces)
    print(f"{recipe.name}: {dict(faces)}, deepest {deepest:.3f} mm, "
          f"{time.monotonic() - started:.0f} s", flush=True)


def tell(recipe, folder):
    """The truth of a photo that is there."""
    told, ids = truth.tell(laid := lay(recipe))
    check.scene_and_truth(laid, told, ids)
    check.photo(folder / told["photo"], told)
    truth.write(told, folder / f"{recipe.name}.json")
    print(f"{recipe.name}: {len(told['pieces'])} pieces", flush=True)


def verify(recipe, folder):
    """The committed truth is what the seed gives, and the photo shows the card there."""
    laid = lay(recipe)
    told, ids = truth.tell(laid)
    check.scene_and_truth(laid, told, ids)
    path = folder / told["photo"]
    if not same(json.loads(path.with_suffix(".json").read_text()), told):
        raise check.Wrong(f"{recipe.name}: the truth differs from what its seed gives")
    check.photo(path, told)
    print(f"{recipe.name}: as its seed says", flush=True)


PIXELS = 3          # by which ray tracers that round differently may disagree on a piece's pixels
MIDDLE_PX = 0.1     # by which the mean of these may move


def same(one, other, key=""):
    """Two truths say the same. On what pixels show they may differ a little: another processor's
    rays, or a graphics card's, meet the rim of a piece otherwise."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(same(one[k], other[k], k) for k in one)
    if key == "hidden_by":      # pairs of a piece and its pixels
        one, other = dict(one), dict(other)
        return all(abs(one.get(n, 0) - other.get(n, 0)) <= PIXELS for n in one | other)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(same(a, b) for a, b in zip(one, other))
    if key in ("visible_px", "whole_px"):
        return abs(one - other) <= PIXELS
    if key in ("x_px", "y_px"):
        return (one is None) == (other is None) and (one is None or abs(one - other) <= MIDDLE_PX)
    return one == other
