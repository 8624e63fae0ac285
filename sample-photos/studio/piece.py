"""One piece where it lies. Its own frame: the origin in the middle of the underside (of the box
around it, for a corner), x along the long side, y along the short one, z towards the studs. The
world: see the package."""

from dataclasses import dataclass

import numpy as np
from shapely.geometry import MultiPoint
from shapely.ops import unary_union

from . import shapes

LONG, SHORT, UP = 0, 1, 2


@dataclass
class Piece:
    kind: shapes.Kind
    colour: str
    x: float            # world mm, of the origin
    y: float
    turn_deg: float     # world, counter-clockwise; of a standing piece
    face: str = "up"
    z: float = 0.0
    rotation: np.ndarray | None = None      # its axes as columns; None stands on its underside
    hollow: bool = False                    # the underside is open: it may be seen
    mould: shapes.Mould = shapes.Mould()

    def axes(self):
        if self.rotation is not None:
            return self.rotation
        c, s = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])

    def to_world(self, points):
        return np.asarray(points, float) @ self.axes().T + (self.x, self.y, self.z)

    def from_world(self, points):
        return (np.asarray(points, float) - (self.x, self.y, self.z)) @ self.axes()

    def solid(self):
        return shapes.solid(self.kind, self.hollow, 48, self.mould)

    def outline(self):
        return self.to_world(shapes.outline_points(self.kind))

    def middle(self):
        """Of the body, without studs, in the world."""
        return self.to_world([[0, 0, self.kind.height / 2]])[0]

    def footprint(self):
        """Straight down on the tray, a polygon; of a standing piece, its body's."""
        parts = shapes.outline_parts(self.kind, studs=self.rotation is not None)
        return _hulls(self.to_world(points)[:, :2] for points in parts)

    def silhouette(self, view):
        """As seen by the camera, carried to the tray plane: a polygon in world mm."""
        parts = shapes.outline_parts(self.kind)
        return _hulls(view.shadow_on_tray(self.to_world(points)) for points in parts)


def _hulls(parts):
    """The union of each part's convex hull."""
    hulls = [MultiPoint(points).convex_hull for points in parts]
    return hulls[0] if len(hulls) == 1 else unary_union(hulls)


def settled(kind, colour, position, rotation):
    """A piece where the fall left it, with the face that looks up and its turn."""
    axis = upright(kind, rotation)
    if axis == UP:
        face = "up" if rotation[2, UP] > 0 else "down"
    elif axis == SHORT or kind.studs[0] == kind.studs[1]:
        face = "side"
    else:
        face = "end"
    along = rotation[:, direction(kind, axis)[0]]
    return Piece(kind, colour, *map(float, position[:2]), float(np.degrees(np.arctan2(along[1], along[0]))),
                 face, float(position[2]), rotation, hollow=True)


def upright(kind, rotation):
    """The axis that stands most upright. A round piece has no long and short side: it stands
    on its rim as soon as its own axis lies more than it stands."""
    steep = np.abs(rotation[2])
    if kind.round and steep[UP] >= np.sqrt(0.5):
        return UP
    return int(np.argmax(steep[:UP] if kind.round else steep))


def direction(kind, upright):
    """(the axis that gives the turn, after how many degrees it looks the same; 0 where no turn
    can be told), for a piece that stands along its axis `upright`: the longer of the two
    others."""
    size = (kind.length, kind.width, kind.height)
    one, two = [axis for axis in (LONG, SHORT, UP) if axis != upright]
    square = upright == UP and abs(size[one] - size[two]) < 1e-9
    if kind.falls and (upright == UP or kind.form == "corner"):
        period = 360.0
    elif kind.round and upright == UP:
        period = 90.0 if len(kind.stud_centres()) > 1 else 0.0
    else:
        period = 90.0 if square else 180.0
    return (one if size[one] >= size[two] else two), period


def lean_deg(piece):
    """How far its most upright axis is from the vertical."""
    steep = np.abs(piece.axes()[2])
    level = np.hypot(steep[LONG], steep[SHORT]) if piece.kind.round else steep[:UP].max()
    return float(np.degrees(np.arccos(min(1.0, max(steep[UP], level)))))
