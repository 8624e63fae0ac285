"""The colours that the studio's pieces and trays come in: names of our own, CIELAB D65.

The first fourteen are seven pairs of hard neighbours, 3 to 8 ΔE00 apart. The values are
the body colour without gloss (45/0, against a perfect diffuser); gloss comes on top.
"""

PIECES = {
    # hard neighbours, in pairs
    "gull": (94.0, -0.6, 1.8),
    "cream": (90.5, 0.6, 9.5),
    "fog": (71.0, -0.8, -1.2),
    "mist": (64.5, -1.0, -2.6),
    "charcoal": (26.0, -0.4, -1.2),
    "tar": (18.5, 0.2, 0.3),
    "dune": (78.0, 4.0, 20.5),
    "wet-sand": (72.0, 4.6, 18.5),
    "deep-blue": (30.0, 8.5, -37.0),
    "mooring-blue": (36.0, 4.5, -40.0),
    "buoy-red": (41.0, 56.0, 36.0),
    "hull-red": (36.0, 50.0, 29.0),
    "kelp": (40.0, -33.0, 21.0),
    "eelgrass": (45.0, -38.0, 26.5),
    # the rest stand further apart
    "slate": (46.0, -2.2, -6.5),
    "rust": (46.0, 33.0, 38.0),
    "lantern": (66.0, 41.0, 62.0),
    "oilskin": (83.5, 5.0, 78.0),
    "lichen": (75.0, -25.0, 57.0),
    "lagoon": (58.0, -33.0, -13.0),
    "clear-sky": (68.0, -9.0, -28.0),
    "heather": (42.0, 31.0, -29.0),
    "shell-pink": (76.0, 25.0, 4.0),
    "driftwood": (38.0, 13.0, 21.0),
}

# Another mix, for photos that nothing is tuned on.
OTHERS = {
    "chalk": (92.0, 0.8, 5.0),
    "pewter": (57.0, 0.6, -1.5),
    "soot": (22.0, 0.8, -0.6),
    "beetroot": (32.0, 38.0, 6.0),
    "coral": (62.0, 44.0, 30.0),
    "marigold": (75.0, 24.0, 72.0),
    "gorse": (88.0, -6.0, 62.0),
    "pine": (30.0, -24.0, 10.0),
    "mint": (82.0, -24.0, 8.0),
    "teal": (44.0, -24.0, -14.0),
    "cobalt": (40.0, 12.0, -52.0),
    "iris": (56.0, 20.0, -34.0),
    "peat": (28.0, 8.0, 11.0),
    "clay": (56.0, 20.0, 27.0),
}
EVERY = PIECES | OTHERS

# The mix of the second renderer's desk to check with.
QUAY = {
    "tern": (93.0, 0.2, 0.6),
    "sailcloth": (88.0, 1.5, 12.0),
    "cormorant": (21.0, 0.0, -1.5),
    "flint": (38.0, -1.0, -4.0),
    "gannet-grey": (66.0, 0.0, 0.5),
    "rope": (70.0, 7.0, 28.0),
    "bollard-green": (34.0, -28.0, 18.0),
    "sea-glass": (79.0, -20.0, -2.0),
    "samphire": (62.0, -28.0, 48.0),
    "ferry-blue": (43.0, 2.0, -46.0),
    "estuary": (60.0, -14.0, -30.0),
    "crab": (50.0, 55.0, 44.0),
    "amber-lamp": (72.0, 30.0, 70.0),
    "whelk-yellow": (86.0, 0.0, 62.0),
    "thrift": (68.0, 34.0, -6.0),
    "tarred-oak": (32.0, 11.0, 15.0),
}
EVERY_NAME = EVERY | QUAY       # for looking one up; `EVERY` is a mix that photos draw from

HARD_NEIGHBOURS = list(zip(list(PIECES)[0:14:2], list(PIECES)[1:14:2]))

TRAYS = {
    "white": (91.5, -0.3, 1.2),
    "light-grey": (80.0, -0.5, 0.3),
    "mid-grey": (56.0, -0.3, -0.8),
    "grey-blue": (54.0, -4.0, -11.0),
    "card-brown": (62.0, 8.0, 23.0),
    "dark-grey": (33.0, -0.4, -1.0),
    "between-greys": (68.0, -0.9, -1.8),
    "oak": (62.0, 10.0, 27.0),
    # Of the wider worlds.
    "black": (17.0, 0.2, -0.4),
    "black-felt": (20.0, 0.5, -1.0),
    "green-felt": (34.0, -20.0, 8.0),
    "grey-felt": (47.0, 0.2, 0.8),
    "cork": (60.0, 11.0, 27.0),
    "kraft": (64.0, 8.5, 23.0),
    "pine": (76.0, 6.0, 28.0),
    "beech": (68.0, 10.0, 22.0),
    "walnut": (37.0, 10.0, 16.0),
    "teal-mat": (36.0, -20.0, -6.0),
    "blue-grey": (44.0, -3.0, -9.5),
    "pale-blue": (82.0, -3.0, -5.0),
    "sand": (81.0, 4.0, 9.0),
    "lilac": (83.0, 4.0, -6.0),
    "sage": (72.0, -7.0, 10.0),
    "cream-white": (92.0, 0.2, 4.5),
    "cutting-mat": (40.0, -24.0, -9.0),
    "pitch": (15.0, 0.2, 0.2),
}

TABLES = {
    "pale-wood": (70.0, 9.0, 24.0),
    "dark-wood": (38.0, 12.0, 20.0),
    "grey-top": (60.0, 0.0, 1.0),
}


def far_from(ground, least, among=None):
    """Names of pieces whose colour is at least `least` ΔE00 from a tray's."""
    from .spectra import de00

    return [name for name, lab in (among or PIECES).items() if de00(lab, TRAYS[ground]) >= least]
