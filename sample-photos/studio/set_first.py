"""The first photos: sorted trays, two teach photos, an empty tray. All for tuning."""

from . import palette
from .lights import Lighting
from .recipe import Recipe
from .tray import Tray

SMALL = ("1x1", "1x2", "1x3", "1x4", "2x2", "2x3", "2x4")
TEACH_ORDER = tuple(sorted(palette.PIECES))

PHOTOS = [
    Recipe("plates-sorted-d65-window-48", 101, "sorted", "plate",
           Lighting("D65", "window", 160), Tray("light-grey", 0.5), 48,
           distance=390, tilt=3, card_side="left"),
    Recipe("plates-sorted-d50-42", 102, "sorted", "plate",
           Lighting("D50", "near-window", 65), Tray("white", 0.35, "pale-wood", 0.97, (6, 4)), 42,
           colour_count=11, distance=430, tilt=8, card_side="top", card_turn=180, focal_35mm=27,
           camera="first"),
    Recipe("plates-sorted-led-b1-64", 103, "sorted", "plate",
           Lighting("LED-B1", "room-lamp", 120), Tray("grey-blue", 0.6), 64, sizes=SMALL,
           distance=440, tilt=5, card_side="right", tell_focal=False, noise=0.018),
    Recipe("bricks-sorted-a-30", 104, "sorted", "brick",
           Lighting("A", "desk-lamp", 35), Tray("light-grey", 0.7), 30,
           distance=470, tilt=6, card_side="bottom", cast_kept=0.30, noise=0.018),
    Recipe("bricks-sorted-fl2-36", 105, "sorted", "brick",
           Lighting("FL2", "tubes", 80), Tray("mid-grey", 0.4, "grey-top", 0.95, (-8, 0)), 36,
           distance=520, tilt=11, card_side="left", focal_35mm=28, camera="first"),
    Recipe("tiles-sorted-led-b3-55", 106, "sorted", "tile",
           Lighting("LED-B3", "room-lamp", 200), Tray("white", 0.6), 55, sizes=SMALL,
           distance=400, tilt=4, card_side="top", tell_focal=False, camera="second",
           noise=0.005, spp=64),
    Recipe("plates-sorted-d65-12mp-78", 107, "sorted", "plate",
           Lighting("D65", "window", 15), Tray("light-grey", 0.5, "dark-wood", 0.93), 78,
           colour_count=14, width=4032, height=3024, distance=520, tilt=5, card_side="left",
           quality=88, spp=24, noise=0.015),
    Recipe("teach-daylight-24", 108, "teach", "plate",
           Lighting("D65", "window", 140), Tray("light-grey", 0.4), sizes=("2x4",),
           colours=TEACH_ORDER, distance=460, tilt=3, card_side="top"),
    Recipe("teach-warm-led-24", 109, "teach", "brick",
           Lighting("LED-B1", "side-lamp", 60), Tray("light-grey", 0.4), sizes=("2x3",),
           colours=TEACH_ORDER, distance=480, tilt=4, card_side="bottom", tell_focal=False,
           noise=0.015),
    Recipe("empty-tray-0", 110, "empty", "none",
           Lighting("D50", "window", 100), Tray("grey-blue", 0.6, "pale-wood", 0.94),
           distance=430, tilt=5, card_side="right"),
    Recipe("plates-stored-turned-40", 111, "sorted", "plate",
           Lighting("D65", "near-window", 190), Tray("white", 0.5), 40, width=1536, height=2048,
           distance=430, tilt=6, card_side="bottom", orientation=6, focal_35mm=27),
    Recipe("bricks-display-p3-32", 112, "sorted", "brick",
           Lighting("D50", "window", 250), Tray("card-brown", 0.8), 32,
           distance=450, tilt=7, card_side="right", space="p3", camera="first", quality=92),
]
