"""Where the card and the pieces lie: drawn from the scene's seed, checked for room.

All distances between pieces are kept between *silhouettes as the camera sees them*,
carried to the tray plane, so that the picture shows the tray between any two pieces.
"""

from dataclasses import dataclass

import numpy as np
from shapely.geometry import MultiPoint, Polygon

from . import card, shapes

FRAME_MARGIN = 0.008      # of the picture's width, free at the border
GAP_MM = 3.2              # between silhouettes
CARD_GAP_MM = 5.0
WALL_GAP_MM = 7.0
TRIES = 3000


class NoRoom(Exception):
    """The pieces do not fit at this seed; the caller draws again from the next stream."""


@dataclass
class Piece:
    kind: shapes.Kind
    colour: str
    x: float            # world mm, middle of the footprint
    y: float
    turn_deg: float     # world, counter-clockwise
    face: str = "up"

    def to_world(self, points):
        c, s = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        points = np.asarray(points, float)
        return np.stack([c * points[:, 0] - s * points[:, 1] + self.x,
                         s * points[:, 0] + c * points[:, 1] + self.y, points[:, 2]], axis=1)

    def outline(self):
        return self.to_world(shapes.outline_points(self.kind))

    def footprint(self):
        return MultiPoint(self.outline()[:, :2]).convex_hull

    def silhouette(self, view):
        """As seen by the camera, carried to the tray plane: a polygon in world mm."""
        return MultiPoint(view.shadow_on_tray(self.outline())).convex_hull


SIDES = {   # where in the picture the card's middle may lie (fractions), and its turn there
    "left": ((0.08, 0.22), (0.35, 0.65), 90),
    "right": ((0.78, 0.92), (0.35, 0.65), -90),
    "top": ((0.35, 0.65), (0.08, 0.22), 0),
    "bottom": ((0.35, 0.65), (0.78, 0.92), 0),
}


def place_card(view, side, extra_turn_deg, rng):
    """The card whole in the picture, near one side, turned by about the side's turn."""
    (u0, u1), (v0, v1), turn = SIDES[side]
    for _ in range(4000):
        pixel = np.array([[rng.uniform(u0, u1) * view.width, rng.uniform(v0, v1) * view.height]])
        placed = card.centred(view.on_tray(pixel)[0], turn + extra_turn_deg + rng.uniform(-6, 6))
        if view.inside(view.project(placed.corners()), 2 * FRAME_MARGIN * view.width):
            return placed
    raise NoRoom("the card does not fit")


def scatter(wanted, view, placed_card, floor, rng):
    """Places for (kind, colour) pairs at random, each apart from all others.

    `floor` is the tray's inside as a polygon, or None where it has no edge in view."""
    margin = FRAME_MARGIN * view.width
    card_area = Polygon(placed_card.corners()[:, :2])
    room = floor.buffer(-WALL_GAP_MM) if floor is not None else None
    pieces, taken = [], []
    for kind, colour in sorted(wanted, key=lambda w: -w[0].length * w[0].width):
        for _ in range(TRIES):
            pixel = rng.uniform((margin, margin), (view.width - margin, view.height - margin))
            x, y = view.on_tray(pixel[None])[0]
            piece = Piece(kind, colour, x, y, rng.uniform(0, 360))
            shade = piece.silhouette(view)
            if (view.inside(view.project(piece.outline()), margin)
                    and shade.distance(card_area) >= CARD_GAP_MM
                    and (room is None or room.contains(shade))
                    and all(shade.distance(other) >= GAP_MM for other in taken)):
                pieces.append(piece)
                taken.append(shade)
                break
        else:
            raise NoRoom(f"{len(pieces)} of {len(wanted)} pieces placed")
    order = rng.permutation(len(pieces))
    return [pieces[i] for i in order]


def rows(kind, colours, view, placed_card, side, columns, rng):
    """One piece of each colour in rows, a little out of line as a hand lays them."""
    count = -(-len(colours) // columns)
    card_pixels = view.project(placed_card.corners())
    top, bottom = 0.06 * view.height, 0.94 * view.height
    if side == "top":
        top = card_pixels[:, 1].max() + 0.05 * view.height
    else:
        bottom = card_pixels[:, 1].min() - 0.05 * view.height
    pieces = []
    for index, colour in enumerate(colours):
        row, column = divmod(index, columns)
        pixel = np.array([[view.width * (0.12 + 0.76 * column / (columns - 1)),
                           top + (bottom - top) * (row + 0.5) / count]])
        x, y = view.on_tray(pixel)[0] + rng.normal(0, 1.5, 2)
        pieces.append(Piece(kind, colour, x, y, rng.normal(0, 6)))
    return pieces
