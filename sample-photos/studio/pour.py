"""A cup poured out: rigid bodies that fall on the tray and come to rest (Bullet).

Bodies are boxes (two for a corner) or a cylinder, with a cylinder for each stud, so a stud never
enters another piece's underside; they rest a little higher than real ones might. Lengths are
millimetres.
The resting places are kept in `settled/`, because the last digits of such a fall differ
from one processor to the next, and a pile magnifies them."""

import json
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation
from shapely.geometry import Point, Polygon

from . import layout, piece as pieces_, shapes
from .parts import Disc

KEPT = Path(__file__).parent / "settled"
GRAVITY, STEP = 9810.0, 1 / 1000
ROUNDS = 60             # of picking up what lies wrong and dropping it again
FLAT_DEG = 2.0          # a piece that leans more is not in one layer
CARD_MM, STATIC = 4.0, 0


def settle(wanted, area, piled, seed):
    """Pieces at rest. `piled`: dumped on one spot, else spread in one layer."""
    import pybullet

    rng = np.random.default_rng([seed, 4242])
    world = _World(pybullet)
    bodies = [world.add(kind) for kind, _ in wanted]
    centre, spread = _heap(area)
    for index, body in enumerate(bodies):
        spot = rng.normal(centre, spread if piled else 1.6 * spread)
        world.drop(body, spot, 30 + (7.0 if piled else 9.0) * (index if piled else index % 12), rng)
    world.run(3.0 if piled else 1.2)
    for _ in range(ROUNDS):
        laid = world.read(wanted, bodies)
        wrong = [i for i, one in enumerate(laid) if not _lies_well(one, area, piled)]
        if not wrong:
            break
        for n, i in enumerate(wrong):
            spot = rng.normal(centre, 0.7 * spread) if piled else _gap(laid, i, area, rng)
            world.drop(bodies[i], spot, 60 + 25.0 * n if piled else 14.0, rng)
        if piled:
            world.wake(bodies)
        world.run(1.2 if piled else 0.7)
    else:
        raise layout.NoRoom(f"{len(wrong)} pieces find no place")
    world.wake(bodies)
    world.run(0.8)
    return world.read(wanted, bodies)


def _lies_well(piece, area, piled):
    """Whole in the picture, off the card; alone on the tray unless piled."""
    outline = piece.outline()
    if not area.view.inside(area.view.project(outline), area.margin):
        return False
    if piece.silhouette(area.view).distance(area.card) < CARD_MM:
        return False
    if piled:
        return True
    return pieces_.lean_deg(piece) < FLAT_DEG and abs(piece.to_world(
        piece.solid().vertices)[:, 2].min()) < 0.1


def _heap(area):
    """Middle and spread of where a cup is emptied: the largest free part beside the card."""
    view = area.view
    corners = view.on_tray(np.array([(0, 0), (view.width, 0), (view.width, view.height), (0, view.height)], float))
    frame = Polygon(corners)
    free = frame.difference(area.card.buffer(12)).buffer(-18)
    rng = np.random.default_rng(1)
    low, high = np.array(frame.bounds[:2]), np.array(frame.bounds[2:])
    spots = [p for p in (Point(*rng.uniform(low, high)) for _ in range(600)) if free.contains(p)]
    best = max(spots, key=free.boundary.distance)
    return np.array([best.x, best.y]), 0.30 * free.boundary.distance(best)


def _gap(laid, index, area, rng):
    """A spot with some room around, for a piece that is dropped again."""
    others = np.array([(p.x, p.y) for i, p in enumerate(laid) if i != index])
    spots = [area.anywhere(rng) for _ in range(60)]
    room = [np.min(np.hypot(*(others - s).T)) for s in spots]
    return spots[int(np.argmax(np.array(room) * rng.uniform(0.6, 1, len(room))))]


class _World:
    def __init__(self, bullet):
        self.b = bullet
        bullet.connect(bullet.DIRECT)
        bullet.setGravity(0, 0, -GRAVITY)
        bullet.setPhysicsEngineParameter(fixedTimeStep=STEP, numSolverIterations=60,
                                         deterministicOverlappingPairs=1)
        shape = bullet.createCollisionShape(bullet.GEOM_BOX, halfExtents=(3000, 3000, 100))
        tray = bullet.createMultiBody(STATIC, shape, basePosition=(0, 0, -100))
        bullet.changeDynamics(tray, -1, lateralFriction=0.5, restitution=0.2)

    def add(self, kind):
        """A body whose origin is the middle of the piece's body; a corner's weight is not there."""
        b, ground = self.b, kind.ground()
        forms = [_solid(b, part, kind.height) for part in kind.plan]
        if kind.studded:
            forms += [(b.GEOM_CYLINDER, [0, 0, 0], shapes.STUD_RADIUS, shapes.STUD_HEIGHT,
                       [x, y, (kind.height + shapes.STUD_HEIGHT) / 2])
                      for x, y in kind.stud_centres()]
        types, halves, radii, lengths, places = map(list, zip(*forms))
        shape = b.createCollisionShapeArray(shapeTypes=types, halfExtents=halves, radii=radii,
                                            lengths=lengths, collisionFramePositions=places)
        body = b.createMultiBody(1e-6 * ground.area * kind.height, shape,
                                 baseInertialFramePosition=_weight(kind))
        b.changeDynamics(body, -1, lateralFriction=0.35, restitution=0.25, linearDamping=0.02,
                         angularDamping=0.05, activationState=b.ACTIVATION_STATE_ENABLE_SLEEPING)
        if kind.form == "round":    # or it would roll on and on
            b.changeDynamics(body, -1, rollingFriction=0.3, spinningFriction=0.3)
        return body

    def drop(self, body, spot, height, rng):
        self.b.changeDynamics(body, -1, activationState=self.b.ACTIVATION_STATE_WAKE_UP)
        turn = Rotation.random(rng=rng).as_quat()
        self.b.resetBasePositionAndOrientation(body, [*map(float, spot), float(height)], turn.tolist())
        self.b.resetBaseVelocity(body, [*rng.normal(0, 120, 2), 0.0], rng.normal(0, 8, 3).tolist())

    def wake(self, bodies):
        """What a body slept on may be gone."""
        for body in bodies:
            self.b.changeDynamics(body, -1, activationState=self.b.ACTIVATION_STATE_WAKE_UP)

    def run(self, seconds):
        for _ in range(int(seconds / STEP)):
            self.b.stepSimulation()

    def read(self, wanted, bodies):
        laid = []
        for (kind, colour), body in zip(wanted, bodies):
            at, turn = self.b.getBasePositionAndOrientation(body)
            rotation = Rotation.from_quat(turn).as_matrix()
            origin = np.array(at) - rotation @ (_weight(kind) + (0, 0, kind.height / 2))
            laid.append(pieces_.settled(kind, colour, origin, rotation))
        return laid


def _solid(bullet, part, height):
    """(type, half sides, radius, length, place) of a part of a body."""
    place = [part.x, part.y, 0.0]
    if isinstance(part, Disc):
        return bullet.GEOM_CYLINDER, [0, 0, 0], part.radius, height, place
    return bullet.GEOM_BOX, [part.length / 2, part.width / 2, height / 2], 0, 0, place


def _weight(kind):
    """Where a piece's weight is, from the middle of its body."""
    middle = kind.ground().centroid
    return np.array([round(middle.x, 6), round(middle.y, 6), 0.0])


def keep(recipe, laid):
    """Write the resting places: x, y, z of the origin, then the turn as a quaternion."""
    KEPT.mkdir(exist_ok=True)
    lines = []
    for one in laid:
        turn = Rotation.from_matrix(one.rotation).as_quat()
        lines.append(json.dumps([round(float(v), 4) for v in (one.x, one.y, one.z)]
                                + [round(float(v), 7) for v in turn]))
    (KEPT / f"{recipe.name}.json").write_text("[\n" + ",\n".join(lines) + "\n]\n")


def kept(recipe, wanted):
    """The resting places in `settled/`, as pieces."""
    path = KEPT / f"{recipe.name}.json"
    if not path.exists():
        raise FileNotFoundError(f"{path} is missing: python -m studio pour {recipe.name}")
    rows = json.loads(path.read_text())
    if len(rows) != len(wanted):
        raise ValueError(f"{path} holds {len(rows)} places for {len(wanted)} pieces: pour again")
    return [pieces_.settled(kind, colour, row[:3], Rotation.from_quat(row[3:]).as_matrix())
            for (kind, colour), row in zip(wanted, rows)]
