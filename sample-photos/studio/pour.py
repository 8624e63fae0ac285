"""A cup poured out: rigid bodies that fall on the tray and come to rest (Bullet).

Bodies are boxes (two for a corner) or a cylinder, with a cylinder for each stud, so a stud never
enters another piece's underside; they rest a little higher than real ones might. Lengths are
millimetres.
The resting places are kept in `settled/`, because the last digits of such a fall differ
from one processor to the next, and a pile magnifies them."""

import json
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation
from shapely.geometry import Point, Polygon

from . import layout, piece as pieces_, shapes, solidity
from .parts import Disc, Hull

KEPT = Path(__file__).parent / "settled"
GRAVITY, STEP = 9810.0, 1 / 1000
ROUNDS = 60             # of picking up what lies wrong and dropping it again
SETTLES = 5
FLAT_DEG = 2.0          # a piece that leans more is not in one layer
CARD_MM, STATIC = 4.0, 0


def settle(wanted, area, piled, seed, tray=None):
    """Pieces at rest. `piled`: dumped on one spot, else spread in one layer. The rim of a `tray`
    given in mm holds them, and while they fall the card's edge does."""
    import pybullet

    rng = np.random.default_rng([seed, 4242])
    world = _World(pybullet)
    kerb = world.fence(tray, area.card) if tray else []
    bodies = [world.add(kind) for kind, _ in wanted]
    centre, spread = _heap_in(area, tray) if tray else _heap(area)
    for index, body in enumerate(bodies):
        spot = rng.normal(centre, spread if piled else 1.6 * spread)
        world.drop(body, spot, 30 + (7.0 if piled else 9.0) * (index if piled else index % 12), rng)
    world.run(3.0 if piled else 1.2)
    world.lift(kerb, bodies)
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
    for _ in range(SETTLES):
        world.wake(bodies)
        world.run(0.8)
        laid = world.read(wanted, bodies)
        try:
            solidity.settled(laid, floor=area.room and area.room.buffer(area.wall) if tray else None)
        except solidity.Wrong:
            continue        # one still rocks
        break
    return laid


def _lies_well(piece, area, piled):
    """Whole in the picture, off the card; alone on the tray unless piled."""
    outline = piece.outline()
    if not area.view.inside(area.view.project(outline), area.margin):
        return False
    if piece.silhouette(area.view).distance(area.card) < CARD_MM:
        return False
    if area.room is not None and area.wall < 1 and not area.room.buffer(area.wall).contains(piece.footprint().buffer(-0.3)):
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


def _heap_in(area, tray):
    """Likewise within a tray's rim, longer where the free part is."""
    free = tray.rounded(-6.0).difference(area.card.buffer(10))
    free = max(getattr(free, "geoms", [free]), key=lambda part: part.area)
    low, high = np.array(free.bounds[:2]), np.array(free.bounds[2:])
    return np.array(free.centroid.coords[0]), 0.24 * (high - low)


def _gap(laid, index, area, rng):
    """A spot with some room around, for a piece that is dropped again."""
    others = np.array([(p.x, p.y) for i, p in enumerate(laid) if i != index])
    close = area.room is not None and area.wall < 1
    spots = [area.on_floor(rng) if close else area.anywhere(rng) for _ in range(60)]
    room = [np.min(np.hypot(*(others - s).T)) for s in spots]
    return spots[int(np.argmax(np.array(room) * rng.uniform(0.6, 1, len(room))))]


class _World:
    def __init__(self, bullet):
        self.b = bullet
        if not bullet.isConnected():
            bullet.connect(bullet.DIRECT)
        bullet.resetSimulation()    # or what an earlier cup left would lie there unseen
        bullet.setGravity(0, 0, -GRAVITY)
        bullet.setPhysicsEngineParameter(fixedTimeStep=STEP, numSolverIterations=60,
                                         deterministicOverlappingPairs=1)
        shape = bullet.createCollisionShape(bullet.GEOM_BOX, halfExtents=(3000, 3000, 100))
        tray = bullet.createMultiBody(STATIC, shape, basePosition=(0, 0, -100))
        bullet.changeDynamics(tray, -1, lateralFriction=0.5, restitution=0.2)

    def fence(self, tray, card):
        """A tray's walls with its corners cut off. What keeps pieces in while they fall it gives
        back: walls as high as they fall from, and a kerb around the card."""
        b, high = self.b, 150.0
        self.walls(tray, tray.rim_mm / 2)
        tall = self.walls(tray, high)
        corners = np.array(card.exterior.coords)[:4]
        middle, (wide, deep) = corners.mean(axis=0), [np.linalg.norm(corners[k + 1] - corners[k]) / 2 + 5 for k in (0, 1)]
        along = corners[1] - corners[0]
        shape = b.createCollisionShape(b.GEOM_BOX, halfExtents=(wide, deep, high))
        return tall + [b.createMultiBody(STATIC, shape, basePosition=[*middle, high], baseOrientation=Rotation.from_euler(
            "z", np.arctan2(along[1], along[0])).as_quat().tolist())]

    def walls(self, tray, high):
        """Along a tray's floor, twice `high` in height."""
        b, turn, found = self.b, np.radians(tray.turn), []
        half, thick = np.array(tray.inside_mm) / 2, 20.0
        cut = tray.corner_mm * (np.sqrt(2) - 1)
        sides = [(half[0] + thick, 0, 0), (-half[0] - thick, 0, 0), (0, half[1] + thick, np.pi / 2),
                 (0, -half[1] - thick, np.pi / 2)]
        sides += [(sx * (half[0] - cut / np.sqrt(2)) + sx * thick / np.sqrt(2), sy * (half[1] - cut / np.sqrt(2)) + sy * thick / np.sqrt(2),
                   np.pi / 4 * sx * sy) for sx in (-1, 1) for sy in (-1, 1)]
        for x, y, way in sides:
            long = 2000.0 if abs(way) in (0, np.pi / 2) else 40.0
            shape = b.createCollisionShape(b.GEOM_BOX, halfExtents=(thick, long, high))
            c, s = np.cos(turn), np.sin(turn)
            spot = [c * x - s * y + tray.shift[0], s * x + c * y + tray.shift[1], high]
            wall = b.createMultiBody(STATIC, shape, basePosition=spot,
                                     baseOrientation=Rotation.from_euler("z", turn + way).as_quat().tolist())
            found.append(wall)
            b.changeDynamics(wall, -1, lateralFriction=0.3, restitution=0.1)
        return found

    def lift(self, kerb, bodies):
        """The kerb goes, and what leant on it comes to rest."""
        for body in kerb:
            self.b.removeBody(body)
        if kerb:
            self.wake(bodies)
            self.run(0.8)

    def add(self, kind):
        """A body whose origin is the middle of the piece's body; a corner's weight is not there."""
        b, ground = self.b, kind.ground()
        forms = [_solid(b, part, kind.height) for part in kind.plan]
        if kind.studded:
            forms += [(b.GEOM_CYLINDER, [0, 0, 0], shapes.STUD_RADIUS, shapes.STUD_HEIGHT,
                       [x, y, (kind.height + shapes.STUD_HEIGHT) / 2])
                      for x, y in kind.stud_centres()]
        types, halves, radii, lengths, places = map(list, zip(*forms))
        files = [_file(part) for part in kind.plan] + [""] * (len(forms) - len(kind.plan))
        shape = b.createCollisionShapeArray(shapeTypes=types, halfExtents=halves, radii=radii, fileNames=files,
                                            lengths=lengths, collisionFramePositions=places)
        body = b.createMultiBody(1e-6 * ground.area * kind.height, shape,
                                 baseInertialFramePosition=_weight(kind))
        b.changeDynamics(body, -1, lateralFriction=0.35, restitution=0.25, linearDamping=0.02,
                         angularDamping=0.05, activationState=b.ACTIVATION_STATE_ENABLE_SLEEPING)
        if kind.round:      # or it would roll on and on
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
    if isinstance(part, Hull):
        return bullet.GEOM_MESH, [0, 0, 0], 0, 0, [0.0, 0.0, -height / 2]
    if isinstance(part, Disc):
        return bullet.GEOM_CYLINDER, [0, 0, 0], part.radius, height, place
    return bullet.GEOM_BOX, [part.length / 2, part.width / 2, height / 2], 0, 0, place


@cache
def _file(part):
    """A part's corners as a file for the engine, which takes their hull; none for boxes and discs."""
    if not isinstance(part, Hull):
        return ""
    hull = ConvexHull(part.vertices())
    lines = [f"v {x:.6f} {y:.6f} {z:.6f}" for x, y, z in hull.points]
    lines += ["f " + " ".join(str(n + 1) for n in face) for face in hull.simplices]
    with tempfile.NamedTemporaryFile("w", suffix=".obj", delete=False) as file:
        file.write("\n".join(lines) + "\n")
    return file.name


@cache
def _weight(kind):
    """Where a piece's weight is, from the middle of its body."""
    if any(isinstance(part, Hull) for part in kind.plan):
        return np.round(shapes.solid(kind, segments=20).center_mass - (0, 0, kind.height / 2), 4)
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
