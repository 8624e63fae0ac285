"""Scenes drawn by their number: many desks, several views of each tray. Photos of them are no sample photos and are
not kept: what they told is, in `calibration/doubt.json`.

    python -m studio draw FOLDER --desks 301-312

A desk is a world (`worlds`) with a lamp and a daylight, two photos to teach from, and trays in its own light or another.
A tray is seen straight down or leaning, and again from the other side."""

import dataclasses

import numpy as np

from . import palette
from .worlds import MEDIUM, SMALL, World, again, light, open_, photo, small, teach

TRAYS_OF_A_DESK = 6
DAYLIGHTS = [("D65", "window"), ("D65", "near-window"), ("D50", "overcast"), ("D65", "sun"), ("D50", "behind"),
             ("D65", "low-window"), ("D50", "window")]
LAMPS = [("LED-B1", "room-lamp"), ("LED-B3", "spots"), ("LED-B2", "bench-lamp"), ("LED-B3", "room-lamp"),
         ("FL11", "tubes"), ("FL2", "tubes"), ("LED-B1", "desk-lamp"), ("LED-B5", "low-lamp"), ("LED-B2", "side-lamp")]
SURFACES = [("cream-white", "plain"), ("cream-white", "plastic"), ("pine", "wood"), ("beech", "wood"), ("walnut", "wood"),
            ("black", "plastic"), ("black-felt", "felt"), ("grey-felt", "felt"), ("green-felt", "felt"), ("cork", "cork"),
            ("kraft", "kraft"), ("teal-mat", "mat"), ("blue-grey", "plastic"), ("pale-blue", "plastic"), ("sand", "plain"),
            ("lilac", "plain"), ("sage", "plain"), ("white", "plastic"), ("mid-grey", "plastic"), ("light-grey", "plain")]
TABLES = ["pale-wood", "dark-wood", "grey-top"]
KINDS = {"sorted": 0.22, "touching": 0.23, "poured": 0.38, "dumped": 0.17}


def desk(number):
    """All recipes of a desk: first its two lessons, then each tray with its views in order."""
    rng = np.random.default_rng([number, *b"desk"])
    pick = lambda among: among[int(rng.integers(len(among)))]  # noqa: E731
    world = World(f"w{number}", number, str(rng.choice(["PIECES", "OTHERS", "QUAY"], p=[0.4, 0.3, 0.3])))
    colours = tuple(sorted(getattr(palette, world.mix)))
    day, lamp = pick(DAYLIGHTS), pick(LAMPS)
    seed = number * 100
    tray = lambda n: open_(*pick(SURFACES), n)  # noqa: E731
    found = [
        teach(world, seed + 1, "day", light(day[0], "window", seed + 1), tray(seed + 1), "plate", "2x4", colours, distance=450),
        teach(world, seed + 2, "lamp", light(lamp[0], "side-lamp", seed + 2), tray(seed + 2), "brick", "2x3", colours, distance=480),
    ]
    for n in range(TRAYS_OF_A_DESK):
        found += _tray(world, seed + 10 * (n + 1), (day, lamp), rng)
    return found


def _tray(world, seed, lights, rng):
    """A tray in two or three views."""
    pick = lambda among: among[int(rng.integers(len(among)))]  # noqa: E731
    u = rng.uniform
    kind = str(rng.choice(list(KINDS), p=list(KINDS.values())))
    form = pick(["plate", "brick", "tile"] if kind == "sorted" else ["plate", "brick", "tile", "mixed", "mixed", "mixed"])
    sizes = pick([SMALL, MEDIUM])
    name, key = pick([lights[0], lights[1], pick(DAYLIGHTS + LAMPS)])
    if rng.random() < 0.15:
        other, second = pick(LAMPS)
        lit = light(f"{name}+{other}", key, seed, second=(second, round(u(0, 360))))
    else:
        lit = light(name, key, seed)
    close = kind in ("poured", "dumped") and rng.random() < 0.55
    count = {"sorted": (26, 50), "touching": (30, 52), "poured": (40, 60) if close else (50, 84),
             "dumped": (90, 140) if close else (100, 170)}[kind]
    count = int(rng.integers(*count))
    colour, surface = pick(SURFACES)
    side = str(rng.choice(["top", "bottom"] if close else ["left", "right", "top", "bottom"]))
    wide = {"poured": 300, "dumped": 290}
    tray = (small(colour, surface, wide[kind] + round(u(0, 60)), 232 + round(u(0, 24)), seed, pick(TABLES)) if close
            else open_(colour, surface, seed))
    far = (335, 385) if close else {"sorted": (400, 520), "touching": (400, 520), "poured": (460, 560), "dumped": (460, 580)}[kind]
    far = round(u(*far))
    width = pick([1792, 2048, 2048, 2304])
    leaning, to = rng.random() < 0.5, round(u(0, 360))
    first = photo(world, seed, kind, form, lit, tray, count, int(rng.integers(2)), name=f"{kind}-{world.name}-{seed}-a", view="a",
                  sizes=sizes, distance=far, card_side=side, colour_count=int(rng.integers(6, 10)),
                  width=width, height=width * 3 // 4, tilt=round(u(13, 20) if leaning else u(1, 7), 1), azimuth=float(to),
                  quality=int(u(64, 82)))
    apart = dict(tilt=round(u(13, 20) if leaning else u(20, 30), 1), azimuth=float(to + u(145, 215)), distance=round(far * 1.36))
    views = [first, again(first, "b", **apart)]
    if rng.random() < 0.35:
        turned = lit if rng.random() < 0.5 else dataclasses.replace(lit, azimuth_deg=float(lit.azimuth_deg + u(60, 300)))
        views.append(again(first, "c", turned, tilt=round(u(14, 24), 1), azimuth=float(to + u(60, 120)), distance=round(far * 1.27)))
    return views
