"""Shapes of a user's own (own-shapes.json): alone, and among bricks and plates."""

from . import listed
from .worlds import World, light, open_, photo

SLIP, YARD = World("slip", 21, metering="mean"), World("yard", 22)
GALLEY, PIER = World("galley", 11), World("pier", 14)
OWN = tuple(listed.names())
AMONG = OWN + (("brick", "2x2"), ("brick", "2x3"), ("plate", "2x2"), ("plate", "2x4"), ("plate", "1x4"))
SIZE = {"width": 1792, "height": 1344, "spp": 64}

PHOTOS = [
    photo(YARD, 237, "sorted", "mixed", light("D50", "overcast", 237), open_("pine", "wood", 237), 34, name="own-sorted-yard-34",
          kinds=AMONG, distance=410, **SIZE),
    photo(SLIP, 238, "touching", "mixed", light("LED-B1", "room-lamp", 238), open_("kraft", "kraft", 238), 36,
          name="own-touching-slip-36", kinds=OWN, distance=420, card_side="top", **SIZE),
    photo(GALLEY, 661, "sorted", "mixed", light("D65", "window", 661), open_("cream-white", "plain", 661), 34, name="own-sorted-galley-34",
          kinds=OWN, distance=420, folder="check", **SIZE),
    photo(PIER, 662, "touching", "mixed", light("D50", "window", 662), open_("pale-blue", "plastic", 662), 38,
          name="own-touching-pier-38", kinds=AMONG, distance=430, card_side="bottom", folder="check", **SIZE),
]
