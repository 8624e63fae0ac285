"""The sample-photo studio: scenes by seed, spectral path tracing, a phone-like camera.

    recipes  what each photo shows, and its seed
    layout   where the card and the pieces lie
    shapes   the pieces as solids
    palette, spectra, card, lights, tray    what they look like
    scene    all of it as one Mitsuba scene
    render   scene -> camera raw; rays at pixel centres -> which piece each pixel shows
    camera, jpeg    raw -> a JPEG as a phone would write it
    truth, check    what is in the picture, and a test that it is so

World frame: millimetres, x right and y up in the picture, z up from the tray (z = 0).
Card frame: millimetres from the card's top left corner, x right, y down along the
print, z down into the table, so that it is right-handed.
Pixels: (0, 0) is the outer corner of the first pixel, y down.
"""
