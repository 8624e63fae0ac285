"""One piece where it lies. Its own frame: the origin in the middle of the underside, x along
the long side, y along the short one, z towards the studs. The world: see the package."""

from dataclasses import dataclass

import numpy as np
from shapely.geometry import MultiPoint

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
        return shapes.solid(self.kind, self.hollow)

    def outline(self):
        return self.to_world(shapes.outline_points(self.kind))

    def middle(self):
        """Of the body, without studs, in the world."""
        return self.to_world([[0, 0, self.kind.height / 2]])[0]

    def footprint(self):
        """Straight down on the tray, a polygon."""
        points = self.body() if self.rotation is None else self.outline()
        return MultiPoint(points[:, :2]).convex_hull

    def body(self):
        """The eight corners of the body, in the world."""
        half = np.array([self.kind.length, self.kind.width, self.kind.height]) / 2
        signs = np.array([(i, j, k) for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)])
        return self.to_world(signs * half + (0, 0, half[UP]))

    def silhouette(self, view):
        """As seen by the camera, carried to the tray plane: a polygon in world mm."""
        return MultiPoint(view.shadow_on_tray(self.outline())).convex_hull


def settled(kind, colour, position, rotation):
    """A piece where the fall left it, with the face that looks up and its turn."""
    steep = np.abs(rotation[2])
    axis = int(np.argmax(steep))
    if axis == UP:
        face = "up" if rotation[2, UP] > 0 else "down"
    elif axis == SHORT or kind.studs[0] == kind.studs[1]:
        face = "side"
    else:
        face = "end"
    along = rotation[:, direction(kind, axis)[0]]
    return Piece(kind, colour, *map(float, position[:2]), float(np.degrees(np.arctan2(along[1], along[0]))),
                 face, float(position[2]), rotation, hollow=True)


def direction(kind, upright):
    """(the axis that gives the turn, whether a quarter turn looks the same), for a piece
    that stands along its axis `upright`: the longer of the two others."""
    size = (kind.length, kind.width, kind.height)
    one, two = [axis for axis in (LONG, SHORT, UP) if axis != upright]
    alike = upright == UP and abs(size[one] - size[two]) < 1e-9
    return (one if size[one] >= size[two] else two), alike


def lean_deg(piece):
    """How far its most upright axis is from the vertical."""
    return float(np.degrees(np.arccos(min(1.0, np.abs(piece.axes()[2]).max()))))
