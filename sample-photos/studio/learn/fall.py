"""Pieces that fell: a cup spread out, or dumped on one spot, by rigid bodies (Bullet).
Coarser steps than the studio's, and nothing that lies wrong is picked up again."""

from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from .. import piece as pieces_, pour
from . import arrange, poses

STEP = 1 / 400


def cup(piled, rng):
    """A cup of pieces, fallen."""
    kinds = arrange.draw_kinds(int(rng.integers(40, 85) if piled else rng.integers(35, 90)), rng)
    return settle(kinds, rng.uniform(22, 42) if piled else rng.uniform(95, 180), piled, rng)


def keep(path, count, seed):
    """Some falls as one file, heaps and layers by turns: for `make` where Bullet is not at hand."""
    path, rows = Path(path), []
    for number in range(count):
        for one in cup(number % 2 == 1, np.random.default_rng([seed, number, 7])):
            rows.append([number, poses.FORMS.index(one.kind.form), *one.kind.studs[::-1], one.x, one.y, one.z,
                         *Rotation.from_matrix(one.rotation).as_quat()])
        if number % 20 == 19 or number == count - 1:
            part = path.with_suffix(".part")
            with open(part, "wb") as file:
                np.savez_compressed(file, rows=np.array(rows, np.float32))
            part.rename(path)


class Kept:
    """Falls of a file of `keep`."""

    def __init__(self, path):
        with np.load(path) as given:
            rows = given["rows"]
        ways = rows[:, 0].astype(int)
        falls = [rows[ways == number, 1:] for number in range(ways.max() + 1)]
        self.falls = falls[::2], falls[1::2]

    def one(self, piled, rng):
        falls = self.falls[piled]
        return [pieces_.settled(poses.kind(poses.FORMS[int(form)], (int(short), int(long))), "0",
                                (x, y, z), Rotation.from_quat(turn).as_matrix())
                for form, short, long, x, y, z, *turn in falls[rng.integers(len(falls))]]


def settle(kinds, spread, piled, rng):
    """Where these kinds come to rest, as pieces; `spread` in mm about the origin."""
    import pybullet

    pybullet.resetSimulation() if pybullet.isConnected() else None
    world = _Coarse(pybullet)
    bodies = [world.add(kind) for kind in kinds]
    for index, body in enumerate(bodies):
        spot = rng.normal(0, spread, 2) if piled else rng.uniform(-spread, spread, 2)
        world.drop(body, spot, 25 + (5.0 if piled else 9.0) * (index if piled else index % 8), rng)
    world.run(2.0 if piled else 0.9)
    laid = world.read([(kind, "0") for kind in kinds], bodies)
    pybullet.disconnect()
    return laid


class _Coarse(pour._World):
    def __init__(self, bullet):
        super().__init__(bullet)
        bullet.setPhysicsEngineParameter(fixedTimeStep=STEP, numSolverIterations=40)

    def run(self, seconds):
        for _ in range(int(seconds / STEP)):
            self.b.stepSimulation()
