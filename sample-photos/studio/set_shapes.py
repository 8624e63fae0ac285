"""Corners and round pieces, among the plates that are most like them: to tune on."""

from .lights import Lighting
from .recipe import Recipe
from .tray import Tray

# What might be taken for what: a round 1x1 for a plate 1x1, a round 2x2 for a plate 2x2, a
# corner for either, or for a 1x2 that touches a 1x1; the 2x3 is there to be none of these.
ALIKE = (("corner", "2x2"), ("round", "1x1"), ("round", "2x2"),
         ("plate", "1x1"), ("plate", "1x2"), ("plate", "2x2"), ("plate", "2x3"))

PHOTOS = [
    Recipe("shapes-sorted-d65-44", 151, "sorted", "mixed",
           Lighting("D65", "window", 120), Tray("light-grey", 0.5), 44, kinds=ALIKE,
           distance=400, tilt=4, card_side="left", spp=96),
    Recipe("shapes-touching-led-b3-40", 152, "touching", "mixed",
           Lighting("LED-B3", "room-lamp", 60), Tray("mid-grey", 0.5), 40, kinds=ALIKE,
           distance=420, tilt=5, card_side="top", quality=88, noise=0.014, spp=96),
    Recipe("shapes-touching-d65-44", 154, "touching", "mixed",
           Lighting("D65", "window", 75), Tray("light-grey", 0.5), 44, kinds=ALIKE,
           distance=410, tilt=6, card_side="right", spp=96),
    Recipe("poured-shapes-d50-60", 153, "poured", "mixed",
           Lighting("D50", "window", 20), Tray("white", 0.5), 60, kinds=ALIKE,
           distance=460, tilt=5, card_side="right", camera="first", spp=96),
    Recipe("shapes-sorted-a-40", 518, "sorted", "mixed",
           Lighting("A", "desk-lamp", 310), Tray("grey-blue", 0.5), 40, kinds=ALIKE, mix="OTHERS",
           distance=410, tilt=6, card_side="right", camera="first", cast_kept=0.3, noise=0.016,
           spp=96),
    Recipe("shapes-touching-d50-44", 519, "touching", "mixed",
           Lighting("D50", "window", 230), Tray("white", 0.5), 44, kinds=ALIKE,
           distance=430, tilt=4, card_side="bottom", spp=96),
    Recipe("poured-shapes-led-b1-60", 520, "poured", "mixed",
           Lighting("LED-B1", "room-lamp", 170), Tray("light-grey", 0.5), 60, kinds=ALIKE,
           mix="EVERY", colour_count=12, distance=470, tilt=7, card_side="left", noise=0.016,
           spp=96),
]
