"""Pieces that fell: a cup spread out, or dumped on one spot, by rigid bodies (Bullet).
Coarser steps than the studio's, and nothing that lies wrong is picked up again."""

from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from .. import piece as pieces_, pour
from ..tray import Tray
from . import arrange, poses

STEP = 1 / 400


def cup(piled, rng, rimmed=False):
    """A cup of pieces, fallen; `rimmed`: in a small tray that is given back with them."""
    if rimmed:
        tray = Tray("white", 0.5, inside_mm=tuple(np.round(rng.uniform(105, 190, 2), 1)), surface="plain",
                    rim_mm=round(rng.uniform(5, 20), 1), rim_width=round(rng.uniform(1.5, 9), 1),
                    rim_lean=round(rng.uniform(0, 5), 1), corner_mm=round(rng.uniform(2, 14), 1))
        room = np.prod(tray.inside_mm)
        # One layer covers half of the floor, a heap lies up to five deep.
        count = int(np.clip(room / 380 * (rng.uniform(1.2, 4.5) if piled else rng.uniform(0.3, 0.62)), 12, 150))
        return settle(arrange.draw_kinds(count, rng), np.array(tray.inside_mm) * (0.26 if piled else 0.4), piled, rng, tray), tray
    kinds = arrange.draw_kinds(int(rng.integers(40, 85) if piled else rng.integers(35, 90)), rng)
    return settle(kinds, rng.uniform(22, 42) if piled else rng.uniform(95, 180), piled, rng), None


def keep(path, count, seed):
    """Some falls as one file, heaps and layers by turns, every other pair in a small tray: for
    `make` where Bullet is not at hand."""
    path, rows, trays = Path(path), [], []
    for number in range(count):
        laid, tray = cup(number % 2 == 1, np.random.default_rng([seed, number, 7]), number % 4 > 1)
        trays.append([*tray.inside_mm, tray.rim_mm, tray.rim_width, tray.rim_lean, tray.corner_mm] if tray else [0] * 6)
        for one in laid:
            rows.append([number, poses.FORMS.index(one.kind.form), *one.kind.studs[::-1], one.x, one.y, one.z,
                         *Rotation.from_matrix(one.rotation).as_quat()])
        if number % 20 == 19 or number == count - 1:
            part = path.with_suffix(".part")
            with open(part, "wb") as file:
                np.savez_compressed(file, rows=np.array(rows, np.float32), trays=np.array(trays, np.float32))
            part.rename(path)


class Kept:
    """Falls of a file of `keep`."""

    def __init__(self, path):
        with np.load(path) as given:
            rows, trays = given["rows"], given["trays"]
        ways = rows[:, 0].astype(int)
        falls = [rows[ways == number, 1:] for number in range(ways.max() + 1)]
        self.falls = falls[::2], falls[1::2]
        self.trays = trays[::2], trays[1::2]

    def one(self, piled, rng, rimmed=None):
        """Pieces, and the tray with a rim that holds them or None; of either where not told."""
        falls, trays = self.falls[piled], self.trays[piled]
        fits = [n for n in range(len(falls)) if rimmed is None or rimmed == (trays[n][0] > 0)]
        number = fits[rng.integers(len(fits))]
        inside, rest = tuple(map(float, trays[number][:2])), map(float, trays[number][2:])
        tray = None if not inside[0] else Tray("white", 0.5, inside_mm=inside, surface="plain", **dict(
            zip(("rim_mm", "rim_width", "rim_lean", "corner_mm"), rest)))
        return [pieces_.settled(poses.kind(poses.FORMS[int(form)], (int(short), int(long))), "0",
                                (x, y, z), Rotation.from_quat(turn).as_matrix())
                for form, short, long, x, y, z, *turn in falls[number]], tray


def settle(kinds, spread, piled, rng, tray=None):
    """Where these kinds come to rest, as pieces; `spread` in mm about the origin. In a small tray
    what falls over its rim is left out."""
    import pybullet

    pybullet.resetSimulation() if pybullet.isConnected() else None
    world = _Coarse(pybullet)
    tall = world.walls(tray, 200.0) if tray else []
    if tray:
        world.walls(tray, tray.rim_mm / 2)
    bodies = [world.add(kind) for kind in kinds]
    for index, body in enumerate(bodies):
        spot = rng.normal(0, spread, 2) if piled else rng.uniform(-spread, spread, 2)
        world.drop(body, spot, 25 + (5.0 if piled else 9.0) * (index if piled else index % 8), rng)
    world.run(2.0 if piled else 0.9)
    world.lift(tall, bodies)
    laid = world.read([(kind, "0") for kind in kinds], bodies)
    pybullet.disconnect()
    if tray:
        floor = tray.rounded(0.2)
        laid = [one for one in laid if floor.contains(one.footprint())]
    return laid


class _Coarse(pour._World):
    def __init__(self, bullet):
        super().__init__(bullet)
        bullet.setPhysicsEngineParameter(fixedTimeStep=STEP, numSolverIterations=40)

    def run(self, seconds):
        for _ in range(int(seconds / STEP)):
            self.b.stepSimulation()
