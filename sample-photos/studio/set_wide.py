"""Photos of other worlds to tune on (see `worlds`), as those to check with are, of two other desks."""

from .set_first import TEACH_ORDER
from .worlds import MEDIUM, SMALL, World, again, light, open_, photo, small, teach

SLIP, YARD = World("slip", 21, metering="mean"), World("yard", 22)

HEAP = photo(YARD, 224, "dumped", "mixed", light("LED-B3", "room-lamp", 224), small("blue-grey", "plastic", 320, 240, 224), 100,
             name="dumped-yard-100-a", view="a", sizes=MEDIUM, distance=360, tilt=4, card_side="top")

PHOTOS = [
    # slip: black and dark trays that the phone lifts, lamps and a window.
    teach(SLIP, 201, "daylight", light("D65", "window", 201), open_("grey-felt", "felt", 201), "plate", "2x4", TEACH_ORDER, distance=440),
    teach(SLIP, 202, "lamp", light("LED-B1", "side-lamp", 202), open_("kraft", "kraft", 202), "brick", "2x3", TEACH_ORDER, distance=480),
    photo(SLIP, 203, "sorted", "plate", light("D65", "low-window", 203), small("black", "plastic", 400, 310, 203), 42, distance=430,
          card_side="top", tilt=10),
    photo(SLIP, 204, "poured", "mixed", light("LED-B1", "low-lamp", 204), open_("black-felt", "felt", 204), 70, sizes=MEDIUM, distance=500),
    photo(SLIP, 205, "poured", "brick", light("D65", "window", 205), small("black", "plastic", 320, 240, 205), 60, sizes=MEDIUM,
          distance=350, card_side="bottom"),
    photo(SLIP, 206, "dumped", "plate", light("LED-B1", "bench-lamp", 206), small("walnut", "wood", 300, 230, 206, "grey-top"), 120,
          sizes=SMALL, distance=340, card_side="top"),
    photo(SLIP, 207, "touching", "brick", light("D65+LED-B1", "window", 207, second=("room-lamp", 60)), open_("walnut", "wood", 207), 40,
          sizes=MEDIUM, distance=480),
    # yard: mat, cork and pine under spots and in the open.
    teach(YARD, 221, "daylight", light("D50", "overcast", 221), open_("sand", "plain", 221), "plate", "2x4", TEACH_ORDER, distance=450),
    teach(YARD, 222, "spots", light("LED-B3", "spots", 222), open_("cream-white", "plastic", 222), "brick", "2x3", TEACH_ORDER, distance=480),
    photo(YARD, 223, "poured", "plate", light("D50", "overcast", 223), open_("teal-mat", "mat", 223), 100, sizes=SMALL, distance=500),
    HEAP,
    again(HEAP, "b", light("LED-B3+D50", "room-lamp", 225, second=("window", 210)), tilt=20, azimuth=70.0, distance=430),
    photo(YARD, 226, "poured", "mixed", light("LED-B3", "spots", 226), open_("cork", "cork", 226), 76, sizes=MEDIUM, distance=480),
    photo(YARD, 227, "touching", "tile", light("D50", "behind", 227), open_("pine", "wood", 227), 44, sizes=SMALL, distance=420),
]
