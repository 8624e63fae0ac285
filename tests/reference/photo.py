"""Makes the small files in tests/data/photo that tests/photo.rs opens.

Run from the project's root, in an environment with requirements.txt:

    python tests/reference/photo.py

Besides Python it calls, from Debian 12, liblcms2-2 (2.14, through ctypes) for
ICC profiles and libheif-examples (1.15.1: heif-convert) to decode HEIC, which
the newer libheif (1.23.6) inside pillow-heif has encoded. The results are
committed, so the tests need none of this; run it again only to change a file.
Encoders other than those named give other bytes.
"""

import csv
import ctypes
import struct
import subprocess
import tempfile
from pathlib import Path

import colour
import numpy as np
import pillow_heif
from PIL import Image, ImageFilter, ImageOps

OUT = Path("tests/data/photo")

# Six flat blocks of 8 x 8 pixels, three across and two down: no turn or mirror
# leaves them where they are, and JPEG codes flat blocks almost without loss.
FLAG = [
    [(220, 40, 40), (240, 200, 30), (30, 60, 160)],
    [(250, 250, 250), (20, 20, 20), (30, 150, 90)],
]

# EXIF orientation: what was done to the upright picture to get the stored one,
# that is the inverse of what a reader has to do (CIPA DC-008, tag 274).
STORED = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}

P3 = colour.RGB_COLOURSPACES["Display P3"]
SRGB = colour.RGB_COLOURSPACES["sRGB"]


def flag() -> Image.Image:
    blocks = np.array(FLAG, dtype=np.uint8)
    return Image.fromarray(blocks.repeat(8, axis=0).repeat(8, axis=1))


def turned_flags() -> None:
    upright = flag()
    for orientation, stored in STORED.items():
        picture = upright if stored is None else upright.transpose(stored)
        exif = Image.Exif()
        exif[274] = orientation
        if orientation == 6:
            exif.get_ifd(0x8769)[0xA405] = 26  # FocalLengthIn35mmFilm
        for kind, options in {
            "jpg": {"quality": 98, "subsampling": 0},
            "png": {"optimize": True},
        }.items():
            path = OUT / f"flag-24x16-turn-{orientation}.{kind}"
            picture.save(path, exif=exif, **options)
            # Another reader agrees that the file, once turned, is upright.
            with Image.open(path) as again:
                assert ImageOps.exif_transpose(again).size == upright.size, path
                if kind == "png":
                    seen = np.asarray(ImageOps.exif_transpose(again).convert("RGB"))
                    assert (seen == np.asarray(upright)).all(), path


def variants() -> None:
    """The flag in the other ways of coding that must read the same, or be refused."""
    upright = flag()
    upright.save(OUT / "flag-24x16-progressive.jpg", quality=98, subsampling=0, progressive=True)
    upright.save(OUT / "flag-24x16-restarts.jpg", quality=98, subsampling=0, restart_marker_blocks=1)
    upright.quantize(6).save(OUT / "flag-24x16-palette.png", optimize=True)
    upright.convert("CMYK").save(OUT / "flag-24x16-cmyk.jpg", quality=98)
    upright.convert("L").save(OUT / "flag-24x16-grey.jpg", quality=98)
    upright.convert("L").save(OUT / "flag-24x16-grey.png", optimize=True)
    for kind, options in {"baseline": {}, "progressive": {"progressive": True}}.items():
        harbour().save(OUT / f"harbour-192x128-{kind}.jpg", quality=85, **options)
    restarts = {"quality": 90, "restart_marker_blocks": 7}
    harbour().save(OUT / "harbour-192x128-restarts.jpg", **restarts)
    restarts |= {"progressive": True, "optimize": True}
    harbour().save(OUT / "harbour-192x128-progressive-restarts.jpg", **restarts)
    harbour().save(OUT / "harbour-192x128.png", optimize=True)
    # Large enough to be counted: for changing at random through the program.
    tray = Image.open("sample-photos/tune/plates-sorted-close-a-18.jpg").resize((320, 240))
    tray.save(OUT / "tray-320x240-progressive.jpg", quality=80, progressive=True, optimize=True)
    tray.save(OUT / "tray-320x240-restarts.jpg", quality=80, restart_marker_rows=2)


def lcms() -> ctypes.CDLL:
    library = ctypes.CDLL("liblcms2.so.2")
    for name in ("cmsBuildParametricToneCurve", "cmsBuildTabulatedToneCurve16", "cmsCreateRGBProfile"):
        getattr(library, name).restype = ctypes.c_void_p
    return library


class XyY(ctypes.Structure):
    _fields_ = [("x", ctypes.c_double), ("y", ctypes.c_double), ("Y", ctypes.c_double)]


class Primaries(ctypes.Structure):
    _fields_ = [("red", XyY), ("green", XyY), ("blue", XyY)]


def p3_by_lcms(tabulated: bool) -> bytes:
    """Display P3 (SMPTE EG 432-1 primaries, D65, sRGB curve) as Little CMS writes it."""
    library = lcms()
    white = XyY(0.3127, 0.3290, 1.0)
    primaries = Primaries(XyY(0.680, 0.320, 1), XyY(0.265, 0.690, 1), XyY(0.150, 0.060, 1))
    if tabulated:
        steps = colour.models.eotf_sRGB(np.linspace(0, 1, 1024))
        table = (ctypes.c_uint16 * 1024)(*[round(v * 65535) for v in steps])
        curve = library.cmsBuildTabulatedToneCurve16(None, 1024, table)
    else:
        numbers = (ctypes.c_double * 5)(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
        curve = library.cmsBuildParametricToneCurve(None, 4, numbers)
    curves = (ctypes.c_void_p * 3)(curve, curve, curve)
    profile = ctypes.c_void_p(
        library.cmsCreateRGBProfile(ctypes.byref(white), ctypes.byref(primaries), curves)
    )
    if tabulated:
        library.cmsSetProfileVersion.argtypes = [ctypes.c_void_p, ctypes.c_double]
        library.cmsSetProfileVersion(profile, 2.1)
    size = ctypes.c_uint32(0)
    assert library.cmsSaveProfileToMem(profile, None, ctypes.byref(size))
    data = ctypes.create_string_buffer(size.value)
    assert library.cmsSaveProfileToMem(profile, data, ctypes.byref(size))
    # Little CMS stamps the time of making; a fixed one keeps the file the same.
    raw = bytearray(data.raw)
    raw[24:36] = struct.pack(">6H", 2024, 1, 1, 0, 0, 0)
    raw[84:100] = bytes(16)
    return bytes(raw)


def bradford(white: np.ndarray) -> np.ndarray:
    """From a white to ICC's D50."""
    return colour.adaptation.matrix_chromatic_adaptation_VonKries(
        white, np.array([0.9642, 1.0, 0.8249]), transform="Bradford"
    )


def a2b_corners() -> np.ndarray:
    """XYZ (D50) of the eight corners in 1/32768, shape (2, 2, 2, 3).

    The format holds nothing below 0, so the Z of -0.001 of red is lost.
    """
    white = colour.xy_to_XYZ(P3.whitepoint)
    to_d50 = bradford(white) @ colour.normalised_primary_matrix(P3.primaries, P3.whitepoint)
    rgb = np.stack(np.meshgrid([0, 1], [0, 1], [0, 1], indexing="ij"), axis=-1)
    return np.clip(np.round(rgb @ to_d50.T * 32768), 0, None).astype(int)


def through_a2b(linear: np.ndarray) -> np.ndarray:
    """What p3_by_table says of linear light: trilinear between its corners."""
    corners = a2b_corners() / 32768
    weights = np.ones((2, 2, 2))
    for axis, value in enumerate(linear):
        shape = [1, 1, 1]
        shape[axis] = 2
        weights = weights * np.array([1 - value, value]).reshape(shape)
    xyz = np.einsum("rgb,rgbx->x", weights, corners)
    white = colour.xy_to_XYZ(SRGB.whitepoint)
    to_d50 = bradford(white) @ colour.normalised_primary_matrix(SRGB.primaries, SRGB.whitepoint)
    return np.linalg.inv(to_d50) @ xyz


def p3_by_table() -> bytes:
    """Display P3 as an A2B0 table (lut16Type, PCS XYZ) and no matrix, laid out by hand.

    The input tables hold the sRGB curve and the 2 x 2 x 2 grid the XYZ (D50) of
    the eight corners: between them light adds up, so the table is exact.
    """
    corners = a2b_corners()
    curve = np.round(colour.models.eotf_sRGB(np.linspace(0, 1, 1024)) * 65535).astype(int)
    lut = b"mft2" + bytes(4) + bytes([3, 3, 2, 0])
    lut += struct.pack(">9i", *(65536 if i % 4 == 0 else 0 for i in range(9)))
    lut += struct.pack(">2H", 1024, 2)
    lut += b"".join(struct.pack(">1024H", *curve) for _ in range(3))
    for red in (0, 1):
        for green in (0, 1):
            for blue in (0, 1):
                lut += struct.pack(">3H", *corners[red, green, blue])
    lut += struct.pack(">2H", 0, 65535) * 3
    text = b"A2B-only P3\0"
    desc = b"desc" + bytes(4) + struct.pack(">I", len(text)) + text + bytes(4 + 4 + 2 + 1 + 67)
    white = b"XYZ " + bytes(4) + struct.pack(">3i", *(round(v * 65536) for v in (0.9642, 1, 0.8249)))
    copy = b"text" + bytes(4) + b"CC0\0"
    body, table, offset = b"", b"", 128 + 4 + 12 * 4
    for tag, data in ((b"desc", desc), (b"wtpt", white), (b"cprt", copy), (b"A2B0", lut)):
        data += bytes(-len(data) % 4)
        table += tag + struct.pack(">2I", offset + len(body), len(data))
        body += data
    header = struct.pack(">I4sI4s4s4s", offset + len(body), bytes(4), 0x02400000, b"scnr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2024, 1, 1, 0, 0, 0) + b"acsp"
    header = header.ljust(68, b"\0") + struct.pack(">3i", 63190, 65536, 54061)
    return header.ljust(128, b"\0") + struct.pack(">I", 4) + table + body


def p3_samples() -> list[tuple[int, int, int]]:
    corners = [(r, g, b) for r in (0, 255) for g in (0, 255) for b in (0, 255)]
    rng = np.random.default_rng(20240501)
    return corners + [tuple(int(v) for v in row) for row in rng.integers(0, 256, (24, 3))]


def display_p3(profiles: dict[str, bytes]) -> None:
    samples = p3_samples()
    with open(OUT / "display-p3-to-linear-srgb.csv", "w", newline="") as file:
        file.write(
            "# Display P3 8-bit values in linear light with sRGB primaries, unclipped, D65.\n"
            f"# colour-science {colour.__version__}: RGB_COLOURSPACES, matrices derived from the\n"
            "# primaries, no chromatic adaptation as both whites are D65. The a2b columns: the\n"
            "# same through the rounded corners that p3-samples-a2b.png's profile can hold.\n"
        )
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["r8", "g8", "b8", "r", "g", "b", "a2b_r", "a2b_g", "a2b_b"])
        to_xyz = colour.normalised_primary_matrix(P3.primaries, P3.whitepoint)
        to_srgb = np.linalg.inv(colour.normalised_primary_matrix(SRGB.primaries, SRGB.whitepoint))
        for sample in samples:
            light = colour.models.eotf_sRGB(np.array(sample) / 255)
            linear = to_srgb @ to_xyz @ light
            rows.writerow([*sample, *(f"{v:.7f}" for v in (*linear, *through_a2b(light)))])
    row = Image.fromarray(np.array([samples], dtype=np.uint8))
    for name, profile in profiles.items():
        row.save(OUT / f"p3-samples-{name}.png", icc_profile=profile, optimize=True)


def harbour() -> Image.Image:
    """A smooth sky over water, a buoy and a flag: what a video coder is good and bad at."""
    height, width = 128, 192
    y, x = np.mgrid[0:height, 0:width]
    red = 90 + 0.5 * x + 20 * np.sin(y / 9)
    green = 120 + 0.6 * y + 15 * np.cos(x / 11)
    blue = 200 - 0.4 * x + 0.2 * y
    picture = np.clip(np.stack([red, green, blue], axis=-1), 0, 255).astype(np.uint8)
    picture[(x - 40) ** 2 + (y - 90) ** 2 < 400] = (230, 60, 30)
    picture[16:64, 108:180] = np.asarray(flag()).repeat(3, axis=0).repeat(3, axis=1)
    # No lens gives edges of one pixel.
    return Image.fromarray(picture).filter(ImageFilter.GaussianBlur(1.2))


def heic(p3: bytes) -> None:
    picture = harbour()
    # H.273 code points: matrix 6 is BT.601, whose weights HEIC writers use.
    nclx = {"matrix_coefficients": 6, "full_range_flag": 1, "save_nclx_profile": True}
    srgb = {"color_primaries": 1, "transfer_characteristics": 13, **nclx}
    kinds = {
        "srgb": (picture, srgb),
        # As phones do: a grid of tiles, each with the profile.
        "p3-icc-tiles": (picture, {"icc_profile": p3, "save_nclx_profile": False, "tile_size": 64}),
        "p3-nclx": (picture, {**srgb, "color_primaries": 12}),
        # Every pixel with its own chroma: no choice of how to enlarge it is left.
        "chroma-444": (picture, {**srgb, "chroma": "444"}),
        "pq": (picture, {**srgb, "color_primaries": 9, "transfer_characteristics": 16}),
    }
    for orientation in (6, 7):
        # The turn is in `irot` and `imir`, and once more in EXIF as many phones
        # write it, where it is for information only (ISO/IEC 23008-12).
        exif = Image.Exif()
        exif[274] = orientation
        exif.get_ifd(0x8769)[0xA405] = 26
        kinds[f"turn-{orientation}"] = (
            picture.transpose(STORED[orientation]),
            {**srgb, "image_orientation": orientation, "exif": exif.tobytes()},
        )
    with tempfile.TemporaryDirectory() as folder:
        for name, (source, options) in kinds.items():
            target = OUT / f"harbour-192x128-{name}.heic"
            orientation = options.pop("image_orientation", 1)
            write_heic(source, target, orientation, options)
            if name == "pq":
                continue
            decoded = Path(folder) / f"{name}.png"
            subprocess.run(["heif-convert", target, decoded], check=True)
            with Image.open(decoded) as seen:
                assert seen.size == picture.size, (name, seen.size)
                # The converter's values are as coded; say what they mean.
                seen.convert("RGB").save(
                    OUT / f"harbour-192x128-{name}.libheif.png",
                    icc_profile=p3 if name.startswith("p3") else None,
                    optimize=True,
                )


def write_heic(picture: Image.Image, target: Path, orientation: int, options: dict) -> None:
    """One still through the libheif that pillow-heif carries, its turn in `irot`/`imir`."""
    encoder = pillow_heif.misc.CtxEncode(
        pillow_heif.constants.HeifCompressionFormat.HEVC,
        quality=80,
        chroma=options.pop("chroma", "420"),
    )
    encoder.add_image(
        picture.size,
        "RGB",
        picture.tobytes(),
        primary=True,
        image_orientation=orientation,
        **options,
    )
    encoder.save(target)


def main() -> None:
    OUT.mkdir(parents=True, exist_ok=True)
    p3 = p3_by_lcms(tabulated=False)
    turned_flags()
    variants()
    display_p3({"curve": p3, "table-curve": p3_by_lcms(tabulated=True), "a2b": p3_by_table()})
    heic(p3)


if __name__ == "__main__":
    main()
