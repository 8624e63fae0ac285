"""The file: JPEG with EXIF, stored turned if wished, with a profile for Display P3."""

import struct

import numpy as np
from PIL import Image

MAKER, MODEL, WHEN = "Harbour", "Pocket 1", "2025:03:09 10:00:00"
DISPLAY_P3 = {"r": (0.680, 0.320), "g": (0.265, 0.690), "b": (0.150, 0.060)}   # white: D65
SRGB_CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
D50 = np.array([0.9642, 1.0, 0.8249])      # of the profile connection space
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367],
                     [0.0389, -0.0685, 1.0296]])
TURNED_TO_STORE = {1: None, 6: Image.Transpose.ROTATE_90, 8: Image.Transpose.ROTATE_270,
                   3: Image.Transpose.ROTATE_180}


def save(picture, path, recipe):
    image = Image.fromarray(picture)
    turn = TURNED_TO_STORE[recipe.orientation]
    if turn is not None:
        image = image.transpose(turn)
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0132] = MAKER, MODEL, WHEN
    exif[0x0112] = recipe.orientation
    detail = exif.get_ifd(0x8769)
    detail[0x9003] = WHEN
    if recipe.tell_focal:
        detail[0xA405] = recipe.focal_35mm
    more = {"icc_profile": p3_profile()} if recipe.space == "p3" else {}
    image.save(path, quality=recipe.quality, subsampling="4:2:0", exif=exif, **more)


def p3_profile():
    """An ICC.1 v4.3 matrix profile from the published primaries, adapted to D50 by Bradford."""
    xyz = lambda x, y: np.array([x / y, 1.0, (1 - x - y) / y])  # noqa: E731
    white = xyz(0.3127, 0.3290)
    primaries = np.stack([xyz(*DISPLAY_P3[c]) for c in "rgb"], axis=1)
    matrix = primaries * np.linalg.solve(primaries, white)
    cones = (BRADFORD @ D50) / (BRADFORD @ white)
    adapt = np.linalg.inv(BRADFORD) @ np.diag(cones) @ BRADFORD
    columns = (adapt @ matrix).T
    curve = b"para" + bytes(4) + struct.pack(">HH", 3, 0) + _fixed(SRGB_CURVE)
    tags = {
        b"desc": _text("Display P3"),
        b"cprt": _text("Made from published primaries. No rights reserved."),
        b"wtpt": b"XYZ " + bytes(4) + _fixed(D50),
        b"chad": b"sf32" + bytes(4) + _fixed(adapt.ravel()),
        **{name: b"XYZ " + bytes(4) + _fixed(column)
           for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns)},
        b"rTRC": curve, b"gTRC": curve, b"bTRC": curve,
    }
    table, body, at = b"", b"", 128 + 4 + 12 * len(tags)
    seen = {}
    for name, data in tags.items():
        if data not in seen:
            seen[data] = at + len(body)
            body += data + bytes(-len(data) % 4)
        table += name + struct.pack(">II", seen[data], len(data))
    size = 128 + 4 + len(table) + len(body)
    header = struct.pack(">I4sI4s4s4s", size, bytes(4), 0x04300000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2025, 3, 9, 10, 0, 0) + b"acsp" + bytes(4 * 4 + 8 + 4) + _fixed(D50)
    header += bytes(128 - len(header))
    return header + struct.pack(">I", len(tags)) + table + body


def _fixed(values):
    """s15Fixed16 numbers."""
    return b"".join(struct.pack(">i", round(float(v) * 65536)) for v in values)


def _text(words):
    data = words.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(data), 28) + data
