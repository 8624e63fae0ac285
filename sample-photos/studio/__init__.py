"""The sample-photo studio: scenes by seed, spectral path tracing, a phone-like camera.

    recipe, recipes, set_*      what each photo shows, and its seed
    layout, touching, pour      where the card and the pieces lie: apart, in clumps, as they fell
    parts, shapes, piece, oddments      boxes and discs, the solids that they join to, one where it
                                lies, things of no shape
    palette, spectra, card, cardsheet, lights, tray, meshes     what they look like
    scene    all of it as one Mitsuba scene
    render   scene -> camera raw; rays at pixel centres -> which piece each pixel shows
    faults, camera, jpeg    raw -> a JPEG as a phone would write it
    truth, solidity, check  what is in the picture, and tests that it is so
    contact  all photos at a glance

World frame: millimetres, x right and y up in the picture, z up from the tray (z = 0).
Card frame: millimetres from the card's top left corner, x right, y down along the
print, z down into the table, so that it is right-handed.
Pixels: (0, 0) is the outer corner of the first pixel, y down.
"""
