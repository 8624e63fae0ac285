"""Pieces that fell: a cup spread out, or dumped on one spot, by rigid bodies (Bullet).
Coarser steps than the studio's, and nothing that lies wrong is picked up again."""

import numpy as np

from .. import pour

STEP = 1 / 400


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
