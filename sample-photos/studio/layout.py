"""Where the card and the pieces lie: drawn from the scene's seed, checked for room.

All distances between pieces are kept between *silhouettes as the camera sees them*,
carried to the tray plane, so that the picture shows the tray between any two pieces.
"""

import numpy as np
from shapely.geometry import Point, Polygon

from . import card
from .oddments import Thing
from .piece import Piece

FRAME_MARGIN = 0.008      # of the picture's width, free at the border
GAP_MM = 3.2              # between silhouettes
CARD_GAP_MM = 5.0
WALL_GAP_MM = 7.0
CLOSE_MM = 0.3            # to the rim of a tray that is close around the pieces
TRIES = 3000


class NoRoom(Exception):
    """The pieces do not fit at this seed; the caller draws again from the next stream."""


SIDES = {   # where in the picture the card's middle may lie (fractions), and its turn there
    "left": ((0.08, 0.22), (0.35, 0.65), 90),
    "right": ((0.78, 0.92), (0.35, 0.65), -90),
    "top": ((0.35, 0.65), (0.08, 0.22), 0),
    "bottom": ((0.35, 0.65), (0.78, 0.92), 0),
}


def place_card(view, side, extra_turn_deg, rng):
    """The card whole in the picture, near one side, turned by about the side's turn; or
    (`half`) cut by the picture's left border."""
    if side == "half":
        middle = np.array([[rng.uniform(-0.02, 0.02) * view.width, rng.uniform(0.4, 0.6) * view.height]])
        return card.centred(view.on_tray(middle)[0], extra_turn_deg + rng.uniform(-8, 8))
    (u0, u1), (v0, v1), turn = SIDES[side]
    for _ in range(4000):
        pixel = np.array([[rng.uniform(u0, u1) * view.width, rng.uniform(v0, v1) * view.height]])
        placed = card.centred(view.on_tray(pixel)[0], turn + extra_turn_deg + rng.uniform(-6, 6))
        if view.inside(view.project(placed.corners()), 2 * FRAME_MARGIN * view.width):
            return placed
    raise NoRoom("the card does not fit")


def place_card_in(tray, view, side, extra_turn_deg, rng):
    """The card on the floor of a tray given in mm, along the wall at one side of it."""
    wide, high = np.array(tray.inside_mm)
    turn = SIDES[side][2]
    floor = tray.rounded(0.0)
    for _ in range(400):
        half_w, half_h = np.array([card.design()["width_mm"], card.design()["height_mm"]])[::-1 if turn else 1] / 2
        gap = rng.uniform(3, 9)
        along = rng.uniform(-1, 1)
        x, y = {"left": (-wide / 2 + half_w + gap, along * (high / 2 - half_h - 3)),
                "right": (wide / 2 - half_w - gap, along * (high / 2 - half_h - 3)),
                "top": (along * (wide / 2 - half_w - 3), high / 2 - half_h - gap),
                "bottom": (along * (wide / 2 - half_w - 3), -high / 2 + half_h + gap)}[side]
        c, s = np.cos(np.radians(tray.turn)), np.sin(np.radians(tray.turn))
        middle = np.array([c * x - s * y, s * x + c * y]) + tray.shift
        placed = card.centred(middle, turn + extra_turn_deg + tray.turn + rng.uniform(-4, 4))
        inside = view.inside(view.project(placed.corners()), FRAME_MARGIN * view.width)
        if inside and floor.buffer(-1).contains(Polygon(placed.corners()[:, :2])):
            return placed
    raise NoRoom("the card does not fit")


class Area:
    """Where pieces may lie: whole in the picture (or not, where `cut`), off the card, off
    the rim by `wall` mm. `floor` is the tray's inside as a polygon, or None without an edge in
    view."""

    def __init__(self, view, placed_card, floor, cut=False, wall=WALL_GAP_MM):
        self.view, self.cut, self.wall = view, cut, wall
        self.margin = -0.06 * view.width if cut else FRAME_MARGIN * view.width
        self.card = Polygon(placed_card.corners()[:, :2])
        self.room = floor.buffer(-wall) if floor is not None else None

    def anywhere(self, rng):
        """A spot on the tray, drawn evenly over the picture."""
        view, margin = self.view, self.margin
        pixel = rng.uniform((margin, margin), (view.width - margin, view.height - margin))
        return view.on_tray(pixel[None])[0]

    def on_floor(self, rng):
        """A spot within the rim and off the card."""
        low, high = np.array(self.room.bounds[:2]), np.array(self.room.bounds[2:])
        while True:
            spot = Point(*rng.uniform(low, high))
            if self.room.buffer(-4).contains(spot) and self.card.distance(spot) > CARD_GAP_MM + 4:
                return np.array([spot.x, spot.y])

    def holds(self, piece, shade):
        inside = self.view.inside(self.view.project(piece.outline()), self.margin)
        return ((self.cut or inside) and shade.distance(self.card) >= CARD_GAP_MM
                and (self.room is None or self.room.contains(shade)))


def scatter(wanted, area, rng, taken=()):
    """Places for (kind, colour) pairs at random, each apart from all others and from the
    silhouettes `taken`. A pair (name, variant) is a thing that fits no shape."""
    pieces, taken = [], list(taken)
    for kind, colour in wanted:
        for _ in range(TRIES):
            x, y = area.anywhere(rng)
            turn = rng.uniform(0, 360)
            piece = (Thing(kind, x, y, turn, colour) if isinstance(kind, str)
                     else Piece(kind, colour, x, y, turn))
            shade = piece.silhouette(area.view)
            if area.holds(piece, shade) and all(shade.distance(other) >= GAP_MM for other in taken):
                pieces.append(piece)
                taken.append(shade)
                break
        else:
            raise NoRoom(f"{len(pieces)} of {len(wanted)} pieces placed")
    order = rng.permutation(len(pieces))
    return [pieces[i] for i in order]


def large_first(wanted):
    return sorted(wanted, key=lambda w: -w[0].length * w[0].width)


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
