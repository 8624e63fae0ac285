"""Photos that were made to check with, until photos of other worlds took their place: now to tune
on. In part of another mix of colours."""

from . import palette
from .lights import Lighting
from .recipe import Recipe
from .set_first import SMALL
from .set_tune import MEDIUM
from .tray import Tray

OTHER_TEACH = tuple(sorted(palette.OTHERS))

PHOTOS = [
    Recipe("plates-touching-d50-62", 501, "touching", "plate",
           Lighting("D50", "window", 320), Tray("white", 0.5), 62,
           distance=460, tilt=5, card_side="right", spp=96),
    Recipe("bricks-touching-a-40", 502, "touching", "brick",
           Lighting("A", "room-lamp", 150), Tray("light-grey", 0.5), 40, sizes=MEDIUM,
           distance=520, tilt=7, card_side="left", camera="first", cast_kept=0.3, noise=0.017,
           spp=96),
    Recipe("tiles-touching-led-b5-50", 503, "touching", "tile",
           Lighting("LED-B5", "room-lamp", 290), Tray("mid-grey", 0.5), 50, sizes=SMALL,
           mix="OTHERS", distance=430, tilt=3, card_side="bottom", spp=96),
    Recipe("plates-sorted-other-d65-46", 504, "sorted", "plate",
           Lighting("D65", "near-window", 20), Tray("light-grey", 0.5), 46, mix="OTHERS",
           distance=410, tilt=4, card_side="left", spp=96),
    Recipe("bricks-sorted-other-led-b1-34", 505, "sorted", "brick",
           Lighting("LED-B1", "room-lamp", 260), Tray("white", 0.5, "grey-top", 0.97), 34,
           mix="OTHERS", colour_count=7, distance=500, tilt=8, card_side="top", camera="second",
           noise=0.007, tell_focal=False, spp=96),
    Recipe("tiles-sorted-both-fl2-48", 506, "sorted", "tile",
           Lighting("FL2", "tubes", 190), Tray("grey-blue", 0.5), 48, sizes=SMALL, mix="EVERY",
           colour_count=12, distance=420, tilt=6, card_side="right", spp=96),
    Recipe("teach-other-d50-14", 507, "teach", "plate",
           Lighting("D50", "window", 110), Tray("light-grey", 0.4), sizes=("2x4",),
           colours=OTHER_TEACH, distance=460, tilt=3, card_side="top", spp=96),
    Recipe("poured-mixed-d65-100", 508, "poured", "mixed",
           Lighting("D65", "window", 210), Tray("white", 0.5), 100, sizes=MEDIUM,
           distance=540, tilt=6, card_side="right", spp=96),
    Recipe("poured-plates-fl2-140", 509, "poured", "plate",
           Lighting("FL2", "tubes", 10), Tray("light-grey", 0.5), 140, sizes=SMALL,
           distance=580, tilt=4, card_side="left", camera="first", spp=96),
    Recipe("poured-mixed-a-64", 511, "poured", "mixed",
           Lighting("A", "desk-lamp", 230), Tray("grey-blue", 0.5), 64, sizes=MEDIUM,
           distance=500, tilt=5, card_side="top", cast_kept=0.35, noise=0.018,
           spp=96),
    Recipe("hard-colours-plates-led-b1-46", 512, "touching", "plate",
           Lighting("LED-B1", "room-lamp", 350), Tray("grey-blue", 0.5), 46, sizes=MEDIUM,
           hard=True, distance=440, tilt=5, card_side="right", spp=96),
    Recipe("hard-colours-tiles-a-44", 513, "touching", "tile",
           Lighting("A", "side-lamp", 300), Tray("mid-grey", 0.5), 44, sizes=SMALL, hard=True,
           distance=430, tilt=3, card_side="left", camera="second", noise=0.007,
           spp=96),
    Recipe("dumped-mixed-d50-160", 514, "dumped", "mixed",
           Lighting("D50", "window", 190), Tray("white", 0.5), 160, sizes=MEDIUM,
           distance=580, tilt=5, card_side="right", spp=96),
    Recipe("dumped-bricks-led-b5-150", 515, "dumped", "brick",
           Lighting("LED-B5", "room-lamp", 80), Tray("light-grey", 0.5), 150, sizes=SMALL,
           distance=600, tilt=7, card_side="bottom", camera="first", quality=88,
           spp=96),
    Recipe("bricks-and-strays-d65-30", 516, "sorted", "brick",
           Lighting("D65", "near-window", 120), Tray("light-grey", 0.5), 30, sizes=MEDIUM,
           things=("curved", "disc", "wheel", "crumb", "disc"),
           distance=480, tilt=6, card_side="left", spp=96),
    Recipe("tiles-and-strays-led-b1-40", 517, "sorted", "tile",
           Lighting("LED-B1", "room-lamp", 200), Tray("white", 0.5), 40, sizes=SMALL,
           things=("disc", "wheel", "crumb", "curved"),
           distance=410, tilt=4, card_side="top", spp=96),
]
