"""Photos that a count cannot be trusted from: the tool should say so, and why."""

from .lights import Lighting
from .recipe import Recipe
from .set_first import SMALL
from .tray import Tray

WINDOW = Lighting("D65", "window", 150)
GREY = Tray("light-grey", 0.5)

PHOTOS = [
    Recipe("failing-pieces-cut-by-frame-40", 141, "sorted", "plate", WINDOW, GREY, 40,
           distance=400, card_side="left", cut=True, spp=96,
           failure="pieces cut by the picture's border"),
    Recipe("failing-half-a-card-36", 142, "sorted", "plate", WINDOW, GREY, 36,
           distance=430, card_side="half", spp=96, failure="half of the card is outside the picture"),
    Recipe("failing-moved-40", 143, "sorted", "plate", Lighting("LED-B3", "room-lamp", 50), GREY, 40,
           distance=420, card_side="right", motion_px=16.0, noise=0.02, spp=96,
           failure="the camera moved"),
    Recipe("failing-out-of-focus-40", 144, "sorted", "brick", WINDOW, GREY, 40, sizes=SMALL,
           distance=430, card_side="top", defocus_px=6.5, spp=96, failure="out of focus"),
    Recipe("failing-glare-on-card-36", 145, "sorted", "plate",
           Lighting("LED-B1", "desk-lamp", 0, glare=True), GREY, 36, distance=430,
           card_side="left", card_glossy=True, spp=96, failure="a lamp mirrors in the card"),
    Recipe("failing-too-bright-38", 146, "sorted", "plate", WINDOW, Tray("white", 0.5), 38,
           distance=420, card_side="bottom", exposure_ev=1.9, spp=96, failure="far too bright"),
    Recipe("failing-too-dark-38", 147, "sorted", "plate", Lighting("LED-B1", "room-lamp", 10),
           Tray("mid-grey", 0.5), 38, distance=420, card_side="right", exposure_ev=-3.2,
           noise=0.04, spp=96, failure="far too dark"),
    Recipe("failing-curled-card-40", 148, "sorted", "plate", Lighting("D50", "near-window", 240),
           GREY, 40, distance=430, card_side="left", card_curl=3.0, spp=96,
           failure="one end of the card stands up by 3 mm"),
    Recipe("failing-wooden-table-44", 149, "sorted", "plate", WINDOW,
           Tray("oak", 0.5, wooden=True), 44, sizes=SMALL, distance=430, card_side="top", spp=96,
           failure="a busy wooden table"),
    Recipe("failing-tray-like-pieces-36", 150, "sorted", "plate", Lighting("D50", "window", 60),
           Tray("between-greys", 0.5), 36, colours=("fog", "mist", "slate", "gull"), distance=430,
           card_side="right", spp=96, failure="pieces of nearly the tray's colour"),
]
