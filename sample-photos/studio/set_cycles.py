"""Photos of the second renderer: two desks that the first never saw, one to tune on, one to check
with. Numbered in order, as all are: 701 and on to tune, 801 and on to check. Of a scene in several
views the first is laid out, the others see it again from elsewhere; one of them under lamps that
were turned."""

from dataclasses import replace

from . import palette
from .card import Print
from .lights import Lighting
from .phone import Phone
from .recipe import Recipe
from .set_first import SMALL
from .set_tune import MEDIUM
from .tray import Tray

SPP = 48        # and a denoiser

# The attic: an elder phone, a matt print.
ATTIC_PHONE = Phone("attic", matrix_error=0.015, metering="highlights", flare=0.006, local_tone=0.2,
                    shoulder=0.3, pupil_mm=2.6, focus_mm=3.0, smoothing=0.15)
ATTIC = dict(world="attic", renderer="cycles", phone=ATTIC_PHONE, card_print=Print(41, 24.0, 90.5, 1.0),
             mix="OTHERS", colour_count=10, noise=0.016, quality=84, spread=0.5, wear=0.3, spp=SPP)
# The quay: a phone that does much to a picture, a print with a darker black and some sheen.
QUAY_PHONE = Phone("quay", matrix_error=0.02, metering="mean", flare=0.014, local_tone=0.5, shoulder=0.6,
                   pupil_mm=3.8, focus_mm=6.0, smoothing=0.35)
QUAY = dict(world="quay", renderer="cycles", phone=QUAY_PHONE, card_print=Print(43, 20.0, 93.5, 0.7, 0.45),
            mix="QUAY", colour_count=10, noise=0.012, quality=84, spread=0.6, wear=0.5, spp=SPP,
            folder="check")


def _views(first, *others):
    """The first view and the others: each a dictionary of what differs."""
    named = replace(first, name=f"{first.name}-a", view="a")
    return [named, *(replace(named, name=f"{first.name}-{letter}", view=letter, rests=named, **more)
                     for letter, more in zip("bcd", others))]


_FELT = Recipe("poured-mixed-attic-felt-60", 704, "poured", "mixed", Lighting("D65", "overcast", 60),
               Tray("dark-grey", 0.5, surface="felt"), 60, sizes=MEDIUM, distance=520, tilt=4,
               card_side="left", **ATTIC)
_TOUCHING = Recipe("plates-touching-quay-tray-40", 806, "touching", "plate",
                   Lighting("LED-B3", "bench-lamp", 140),
                   Tray("grey-blue", 0.4, "pale-wood", surface="plastic", inside_mm=(400, 290), rim_mm=14.0,
                        rim_width=4.0, rim_lean=3.0, corner_mm=18.0, gloss=0.3),
                   40, sizes=MEDIUM, distance=430, tilt=3, card_side="bottom", **QUAY)
_CORK = Recipe("poured-mixed-quay-cork-64", 808, "poured", "mixed", Lighting("D50", "window", 150),
               Tray("card-brown", 0.5, surface="cork"), 64, sizes=MEDIUM, distance=520, tilt=3,
               card_side="right", **QUAY)

PHOTOS = [
    Recipe("teach-attic-window-14", 701, "teach", "plate", Lighting("D65", "window", 200),
           Tray("light-grey", 0.5), sizes=("2x4",), colours=tuple(sorted(palette.OTHERS)),
           distance=430, tilt=4, card_side="top", **ATTIC),
    Recipe("bricks-sorted-attic-kraft-30", 702, "sorted", "brick", Lighting("LED-B3", "room-lamp", 130),
           Tray("card-brown", 0.5, surface="kraft", turn=12.0), 30, sizes=MEDIUM, distance=460, tilt=7,
           card_side="right", **ATTIC),
    Recipe("plates-touching-attic-cork-44", 703, "touching", "plate",
           Lighting("D50", "near-window", 330), Tray("card-brown", 0.5, surface="cork"), 44,
           sizes=MEDIUM, distance=430, tilt=5, card_side="bottom", **ATTIC),
    *_views(_FELT, dict(tilt=21.0, azimuth=170.0, roll=3.0, distance=590.0, aim=(-50.0, -35.0))),
    Recipe("dumped-mixed-attic-tray-100", 705, "dumped", "mixed", Lighting("LED-B1", "spots", 40),
           Tray("light-grey", 0.5, "dark-wood", surface="plastic", inside_mm=(330, 250), rim_mm=18.0,
                rim_width=3.0, rim_lean=4.0, corner_mm=25.0, gloss=0.4),
           100, sizes=MEDIUM, distance=350, tilt=5, card_side="top", **ATTIC),
    Recipe("teach-quay-daylight-16", 801, "teach", "plate", Lighting("D65", "window", 20),
           Tray("white", 0.5), sizes=("2x4",), colours=tuple(sorted(palette.QUAY)), distance=440,
           tilt=3, card_side="bottom", **QUAY),
    Recipe("teach-quay-warm-led-16", 802, "teach", "plate", Lighting("LED-B1", "side-lamp", 250),
           Tray("oak", 0.5, surface="wood", turn=95.0), sizes=("2x4",),
           colours=tuple(sorted(palette.QUAY)), distance=450, tilt=5, card_side="top", **QUAY),
    Recipe("plates-sorted-quay-mat-44", 803, "sorted", "plate", Lighting("D50", "window", 100),
           Tray("cutting-mat", 0.5, surface="mat", turn=4.0), 44, distance=420, tilt=6,
           card_side="left", **QUAY),
    Recipe("bricks-sorted-quay-black-34", 804, "sorted", "brick", Lighting("LED-B1", "low-lamp", 215),
           Tray("pitch", 0.4), 34, sizes=MEDIUM, distance=500, tilt=8, card_side="top", **QUAY),
    Recipe("tiles-touching-quay-wood-46", 805, "touching", "tile", Lighting("D65", "near-window", 280),
           Tray("oak", 0.5, surface="wood", turn=20.0), 46, sizes=SMALL, distance=430, tilt=5,
           card_side="right", **QUAY),
    *_views(_TOUCHING, dict(tilt=17.0, azimuth=15.0, roll=-4.0, distance=490.0)),
    Recipe("poured-plates-quay-felt-80", 807, "poured", "plate", Lighting("LED-B3", "behind", 60),
           Tray("grey-blue", 0.5, surface="felt"), 80, sizes=SMALL, distance=500, tilt=5,
           card_side="left", **QUAY),
    *_views(_CORK, dict(tilt=20.0, azimuth=185.0, roll=2.0, distance=600.0, aim=(-55.0, -42.0)),
            dict(tilt=9.0, azimuth=80.0, roll=-3.0, distance=560.0, aim=(25.0, 0.0),
                 lighting=Lighting("D50", "window", 265))),
    Recipe("dumped-mixed-quay-tray-120", 809, "dumped", "mixed", Lighting("D65", "low-window", 320),
           Tray("white", 0.4, "grey-top", surface="plastic", inside_mm=(340, 260), rim_mm=10.0,
                rim_width=6.0, rim_lean=1.5, corner_mm=10.0, gloss=0.35),
           120, sizes=MEDIUM, distance=355, tilt=4, card_side="bottom", **QUAY),
]
