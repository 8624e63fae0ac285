"""Photos that nothing is set or tuned on: worlds of their own, fresh seeds (see `worlds`; the
second renderer's are in `set_cycles`)."""

from . import palette
from .set_first import TEACH_ORDER
from .set_shapes import ALIKE
from .worlds import MEDIUM, SMALL, World, again, light, open_, photo, small, teach

OTHER_ORDER = tuple(sorted(palette.OTHERS))
GALLEY, LOFT = World("galley", 11), World("loft", 12, metering="mean")
SHED, PIER = World("shed", 13, "OTHERS"), World("pier", 14)


def _(world, seed, kind, form, lighting, tray, count=0, phone=0, **given):
    return photo(world, seed, kind, form, lighting, tray, count, phone, folder="check", **given)


def _teach(world, seed, named, lighting, tray, form, size, colours=TEACH_ORDER, **given):
    return teach(world, seed, named, lighting, tray, form, size, colours, folder="check", **given)


SPILL = _(LOFT, 625, "poured", "mixed", light("LED-B3", "room-lamp", 625), small("blue-grey", "plastic", 300, 230, 625), 58,
          name="poured-loft-58-a", view="a", sizes=MEDIUM, distance=330, tilt=4, card_side="top")
MOUND = _(PIER, 645, "dumped", "mixed", light("D50", "window", 645), small("pine", "wood", 330, 250, 645, "grey-top"), 110,
          name="dumped-pier-110-a", view="a", sizes=MEDIUM, distance=370, tilt=5, card_side="bottom")
BOWL = _(GALLEY, 606, "poured", "mixed", light("LED-B2", "spots", 606), small("cream-white", "plastic", 320, 240, 606), 62, 1,
         name="poured-galley-62-a", view="a", sizes=MEDIUM, distance=350, card_side="top")
BARROW = _(SHED, 639, "dumped", "mixed", light("D65", "sun", 639), small("green-felt", "felt", 290, 240, 639), 130,
           name="dumped-shed-130-a", view="a", sizes=MEDIUM, distance=350, card_side="top")
CATCH = _(PIER, 648, "poured", "brick", light("FL11+D50", "tubes", 648, second=("window", 100)), small("pale-blue", "plastic", 400, 300, 648),
          86, name="poured-bricks-pier-86-a", view="a", sizes=MEDIUM, distance=440, card_side="bottom")
CLUMPS = _(SHED, 635, "touching", "mixed", light("LED-B1", "bench-lamp", 635), open_("teal-mat", "mat", 635), 44,
           name="touching-shed-44-a", view="a", kinds=tuple(("brick", s) for s in SMALL) + tuple(("plate", s) for s in SMALL),
           distance=410, tilt=6, card_side="left")

PHOTOS = [
    # galley: wood and white, a kitchen's window and its spots.
    _teach(GALLEY, 601, "daylight", light("D65", "window", 601), open_("cream-white", "plain", 601), "plate", "2x4", distance=450),
    _teach(GALLEY, 602, "spots", light("LED-B2", "spots", 602), open_("pine", "wood", 602), "brick", "2x3", distance=470, phone=1),
    _(GALLEY, 603, "sorted", "plate", light("D65", "overcast", 603), open_("pine", "wood", 603), 46, distance=430),
    _(GALLEY, 604, "sorted", "tile", light("LED-B2", "spots", 604), open_("cream-white", "plastic", 604), 40, 1, sizes=SMALL),
    _(GALLEY, 605, "touching", "brick", light("D65", "low-window", 605), open_("beech", "wood", 605), 42, sizes=MEDIUM, distance=520),
    BOWL,
    again(BOWL, "b", light("D65", "window", 610), tilt=17, azimuth=150.0, distance=420),
    _(GALLEY, 607, "poured", "plate", light("D65+LED-B2", "window", 607, second=("spots", 40)), small("beech", "wood", 340, 260, 607), 90,
      sizes=SMALL, distance=380, card_side="bottom"),
    _(GALLEY, 608, "dumped", "mixed", light("D65", "window", 608), open_("pine", "wood", 608), 170, sizes=MEDIUM, distance=560, tilt=11),
    _(GALLEY, 609, "touching", "plate", light("D65", "behind", 609), open_("cream-white", "plain", 609), 48, 1, hard=True,
      name="hard-colours-plates-galley-48", sizes=MEDIUM),
    # loft: black, felt and cork under lamps.
    _teach(LOFT, 621, "daylight", light("D50", "near-window", 621), open_("grey-felt", "felt", 621), "plate", "2x4", distance=440),
    _teach(LOFT, 622, "lamp", light("LED-B3", "side-lamp", 622), open_("sand", "plain", 622), "brick", "2x3", distance=480),
    _(LOFT, 623, "sorted", "plate", light("LED-B3", "room-lamp", 623), small("black", "plastic", 420, 330, 623), 44, distance=430,
      card_side="top", tilt=14),
    _(LOFT, 624, "sorted", "brick", light("D50", "window", 624), open_("black-felt", "felt", 624), 34, sizes=MEDIUM, distance=480),
    SPILL,
    again(SPILL, "b", tilt=21, azimuth=300.0, distance=400),
    again(SPILL, "c", light("LED-B3+D50", "room-lamp", 626, second=("window", 250)), tilt=16, azimuth=110.0, distance=390),
    _(LOFT, 627, "poured", "brick", light("LED-B3", "low-lamp", 627), open_("cork", "cork", 627), 72, sizes=MEDIUM, distance=540),
    _(LOFT, 628, "poured", "mixed", light("D50", "overcast", 628), small("black", "felt", 290, 230, 628), 60, sizes=SMALL, distance=320,
      card_side="bottom"),
    _(LOFT, 629, "dumped", "brick", light("LED-B3+LED-B3", "room-lamp", 629, second=("desk-lamp", 200)),
      small("black", "plastic", 300, 230, 629), 120, sizes=SMALL, distance=340, card_side="top"),
    # shed: cutting mat, kraft paper, another mix of colours, hard light.
    _teach(SHED, 631, "daylight", light("D65", "window", 631), open_("kraft", "kraft", 631), "plate", "2x4", OTHER_ORDER, distance=440),
    _teach(SHED, 632, "lamp", light("LED-B1", "side-lamp", 632), open_("sage", "plain", 632), "brick", "2x3", OTHER_ORDER, distance=440),
    _(SHED, 633, "sorted", "tile", light("LED-B1", "bench-lamp", 633), open_("kraft", "kraft", 633), 38, sizes=SMALL, distance=400),
    _(SHED, 634, "sorted", "mixed", light("D65", "sun", 634), open_("teal-mat", "mat", 634), 40, kinds=ALIKE, distance=400, what="shapes-sorted"),
    CLUMPS,
    again(CLUMPS, "b", light("LED-B1+D65", "bench-lamp", 636, second=("window", 30)), tilt=18, azimuth=200.0, distance=470),
    _(SHED, 637, "poured", "plate", light("D65", "low-window", 637), open_("teal-mat", "mat", 637), 110, sizes=SMALL, distance=520),
    _(SHED, 638, "poured", "mixed", light("LED-B1", "low-lamp", 651), small("kraft", "kraft", 310, 240, 638, "dark-wood"), 60, kinds=ALIKE,
      distance=340, card_side="top", what="poured-shapes"),
    BARROW,
    again(BARROW, "b", tilt=19, azimuth=330.0, distance=420),
    again(BARROW, "c", light("D65+LED-B1", "low-window", 640, second=("room-lamp", 300)), tilt=14, azimuth=100.0, distance=400),
    # pier: a far phone, grey and blue plastic, tubes and lamps.
    _teach(PIER, 641, "daylight", light("D50", "window", 641), open_("pale-blue", "plastic", 641), "brick", "2x3", distance=500),
    _teach(PIER, 642, "tubes", light("FL11", "tubes", 642), open_("lilac", "plain", 642), "plate", "2x4", distance=470),
    _(PIER, 643, "sorted", "plate", light("FL11", "tubes", 643), open_("blue-grey", "plastic", 643), 60, distance=720, tilt=9, width=4032,
      height=3024, spp=64, card_side="left"),
    _(PIER, 644, "sorted", "brick", light("D50", "overcast", 644), open_("walnut", "wood", 644), 30, things=("wheel", "disc", "crumb", "curved"),
      what="bricks-and-strays", sizes=MEDIUM, distance=470),
    MOUND,
    again(MOUND, "b", tilt=20, azimuth=60.0, distance=440),
    _(PIER, 647, "touching", "tile", light("FL11", "tubes", 647), open_("lilac", "plain", 647), 46, sizes=SMALL, distance=410),
    CATCH,
    again(CATCH, "b", light("FL11", "tubes", 650), tilt=18, azimuth=240.0, distance=510),
    _(PIER, 649, "poured", "tile", light("D50", "behind", 649), open_("blue-grey", "plastic", 649), 84, sizes=SMALL, distance=480, tilt=20),
]
