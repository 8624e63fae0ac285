"""Makes the spectral test of the colour correction: tests/data/colour/spectral_*.csv.

    python -m venv .venv && .venv/bin/pip install -r tests/reference/requirements.txt
    .venv/bin/python tests/reference/colour_reference.py

A reflectance under a light is seen by a camera, white-balanced with an error, taken to
sRGB by the camera's 3x3, bent by a tone curve and rounded to 8 bits. The truth is CIELAB
of the same reflectance under D65. Beside the data stands what a plain root-polynomial
correction (colour-science's own, least squares) reaches when it is given the camera's
*linear* light, unrounded and without any tone curve: an easier job than ours.
Everything is deterministic.
"""

import csv
import json
import pathlib
import warnings

warnings.filterwarnings("ignore")

import colour
import numpy as np
from colour.characterisation import (
    apply_matrix_colour_correction_Finlayson2015,
    matrix_colour_correction_Finlayson2015,
)
from colour.quality.cfi2017 import load_TCS_CIE2017
from scipy.optimize import minimize

ROOT = pathlib.Path(__file__).resolve().parents[2]
SHAPE = colour.SpectralShape(400, 700, 5)
WAVELENGTHS = SHAPE.wavelengths
LIGHTS = ["A", "D50", "D65", "LED-B1", "LED-B3", "LED-B5", "LED-RGB1", "FL2", "FL11"]
# Error of the camera's own white balance, as a factor on red and blue.
WHITE_BALANCE = [(1.1, 0.9), (0.9, 1.1), (1.1, 1.1), (0.9, 0.9)]
# Linear value of a perfect white before the tone curve.
EXPOSURE = 0.85


def aligned(sd):
    return sd.copy().align(SHAPE, extrapolator_kwargs={"method": "Constant"}).values


CMFS = aligned(colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])
LIGHT = {name: aligned(colour.SDS_ILLUMINANTS[name]) for name in LIGHTS}
CAMERAS = {
    name.split()[0].lower(): aligned(msds)
    for name, msds in colour.MSDS_CAMERA_SENSITIVITIES.items()
}
# Only letters in the file: the cameras' makers have no part in this.
CAMERAS = dict(zip("ab", CAMERAS.values()))
D65_XYZ = LIGHT["D65"] @ CMFS
D65_XYZ = D65_XYZ / D65_XYZ[1]
SRGB_TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
SRGB_WHITE = SRGB_TO_XYZ.sum(axis=1)


def xyz_d65(reflectances):
    """XYZ under D65; scaled channel by channel so that white is exactly sRGB's white,
    which takes the cut of the wavelengths at 400 and 700 nm out of the comparison."""
    weights = LIGHT["D65"][:, None] * CMFS
    xyz = reflectances @ weights / weights[:, 1].sum()
    return xyz / D65_XYZ * SRGB_WHITE


def lab_of(xyz):
    return colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(SRGB_WHITE))


def linear_srgb_d65(reflectances):
    return xyz_d65(reflectances) @ np.linalg.inv(SRGB_TO_XYZ).T


def sigmoid_reflectances(labs):
    """Smooth reflectances (a sigmoid of a quadratic: Jakob and Hanika 2019)."""
    x = (WAVELENGTHS - 400) / 300

    def reflectance(c):
        u = c[0] * x * x + c[1] * x + c[2]
        return 0.5 + u / (2 * np.sqrt(1 + u * u))

    return solve(labs, reflectance, [np.zeros(3), np.array([8.0, -8, 0]), np.array([-8.0, 8, 0])])


def dye_reflectances(labs):
    """Three dyes on white paper: Gaussian absorptions of cyan, magenta and yellow."""

    def absorption(centre, width):
        return np.exp(-0.5 * ((WAVELENGTHS - centre) / width) ** 2)

    dyes = np.stack(
        [
            absorption(650, 55) + 0.12 * absorption(440, 60),
            absorption(545, 42) + 0.18 * absorption(430, 50),
            absorption(440, 38) + 0.04 * absorption(560, 60),
        ]
    )
    # No optical brightener; a slight fall towards the blue as in any paper.
    paper = 0.93 * (1 - 0.08 * np.exp(-(WAVELENGTHS - 400) / 25))

    def reflectance(c):
        return paper * 10 ** -(np.exp(c) @ dyes) * 0.985 + 0.008

    return solve(labs, reflectance, [np.full(3, -1.0), np.full(3, 0.0), np.full(3, -2.0)])


def solve(labs, reflectance, starts):
    found = []
    for lab in labs:
        def cost(c):
            return np.sum((lab_of(xyz_d65(reflectance(c))) - lab) ** 2)

        best = min(
            (
                minimize(cost, s, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 6000})
                for s in starts
            ),
            key=lambda r: r.fun,
        )
        found.append(reflectance(best.x))
    return np.array(found)


def training_reflectances():
    """Smooth spectra, drawn by seed, on which the maker fitted the camera's 3x3."""
    rng = np.random.default_rng(1)
    out = []
    for _ in range(200):
        logit = rng.normal(-0.3, 1.0)
        curve = np.full(WAVELENGTHS.size, logit)
        for _ in range(3):
            curve = curve + rng.normal(0, 1.5) * np.exp(
                -0.5 * ((WAVELENGTHS - rng.uniform(400, 700)) / rng.uniform(30, 90)) ** 2
            )
        out.append(1 / (1 + np.exp(-curve)))
    return np.array(out)


TRAINING = training_reflectances()


def camera_matrix(sensitivities):
    """White-balanced camera to linear sRGB under D65, white kept."""
    raw = TRAINING @ (LIGHT["D65"][:, None] * sensitivities)
    raw = raw / (LIGHT["D65"] @ sensitivities)
    target = linear_srgb_d65(TRAINING)
    # Rows sum to one: solve for the differences from the green channel.
    rows = []
    for k in range(3):
        difference = np.stack([raw[:, 0] - raw[:, 1], raw[:, 2] - raw[:, 1]], axis=1)
        c, *_ = np.linalg.lstsq(difference, target[:, k] - raw[:, 1], rcond=None)
        rows.append([c[0], 1 - c[0] - c[1], c[1]])
    return np.array(rows)


def linear_light(reflectances, light, sensitivities, balance):
    """What the camera has before its tone curve: (rendered sRGB, raw white-balanced)."""
    raw = reflectances @ (light[:, None] * sensitivities)
    raw = raw / (light @ sensitivities) * np.array([balance[0], 1, balance[1]]) * EXPOSURE
    return raw @ camera_matrix(sensitivities).T, raw


def srgb_encode(v):
    v = np.clip(v, 0, 1)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


def curve_none(v):
    return srgb_encode(v)


def curve_s(v):
    """A moderate S in the encoded domain."""
    e = srgb_encode(v)
    return 0.55 * e + 0.45 * (3 * e**2 - 2 * e**3)


def curve_film(v):
    """Lifted middle, long shoulder, short toe."""
    v = np.clip(v, 0, None)
    x = 1.9 * v
    shoulder = x * (1 + x / 3.2**2) / (1 + x) * (1 + 1.9) / (1.9 * (1 + 1.9 / 3.2**2))
    e = srgb_encode(np.minimum(shoulder, 1))
    return e**1.15


def curve_sigmoid(v):
    """Sigmoidal contrast in the encoded domain."""
    e = srgb_encode(v)
    k, m = 4.5, 0.45
    s = lambda t: 1 / (1 + np.exp(k * (m - t)))
    return (s(e) - s(0)) / (s(1) - s(0))


CURVES = {"none": curve_none, "s": curve_s, "film": curve_film, "sigmoid": curve_sigmoid}


def eight_bit(linear, curve):
    return np.round(255 * np.clip(CURVES[curve](linear), 0, 1)).astype(int)


def reference(patches_in, patches_target, tests_in, tests_lab):
    """Mean dE00 of colour-science's root-polynomial correction of degree 2."""
    # Roots need non-negative light; the camera's own rendering clips there too.
    patches_in, tests_in = np.maximum(patches_in, 0), np.maximum(tests_in, 0)
    matrix = matrix_colour_correction_Finlayson2015(
        patches_in, patches_target, degree=2, root_polynomial_expansion=True
    )
    got = apply_matrix_colour_correction_Finlayson2015(
        tests_in, matrix, degree=2, root_polynomial_expansion=True
    )
    de = colour.delta_E(lab_of(got @ SRGB_TO_XYZ.T), tests_lab, method="CIE 2000")
    return float(np.mean(de)), float(np.percentile(de, 95))


def load_card():
    card = json.loads((ROOT / "calibration/card-v1.json").read_text())
    return [p["name"] for p in card["patches"]], np.array([p["lab_d65"] for p in card["patches"]])


def load_tests():
    names, rows = [], []
    tcs = load_TCS_CIE2017(SHAPE)
    tcs = tcs.copy().align(SHAPE, extrapolator_kwargs={"method": "Constant"}) if hasattr(tcs, "copy") else tcs
    for i in range(99):
        names.append(f"CES{i + 1:02d}")
        rows.append(tcs.values[:, i])
    for name, sd in colour.quality.datasets.SDS_TCS["CIE 1995"].items():
        names.append(name)
        rows.append(aligned(sd))
    return names, np.array(rows)


FLAT = np.array([5, 10, 15, 30, 60, 85, 95, 97])


def luminance(lightness):
    return np.where(lightness > 8, ((lightness + 16) / 116) ** 3, lightness / 903.2963)


def write(path, header, columns, rows):
    with open(path, "w", newline="") as file:
        for line in header:
            file.write(f"# {line}\n")
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(rows)


def build():
    """All reflectances: dict kind -> (names, reflectances)."""
    names, labs = load_card()
    tests = load_tests()
    return {
        "sigmoid": (names, sigmoid_reflectances(labs)),
        "dye": (names, dye_reflectances(labs)),
        "test": tests,
        # Perfectly flat greys darker and lighter than any patch.
        "flat": ([f"L{v:02d}" for v in FLAT], np.outer(luminance(FLAT), np.ones(WAVELENGTHS.size))),
    }


def scenes(curves, balances):
    """Every scene: its name, light, camera, curve, white balance error."""
    for camera in CAMERAS:
        for curve in curves:
            for i, light in enumerate(LIGHTS):
                for balance in balances(i, camera, curve):
                    sign = lambda f: "+" if f > 1 else "-"
                    yield f"{light}/{camera}/{curve}/{sign(balance[0])}{sign(balance[1])}", light, camera, curve, balance


def one_balance(i, camera, curve):
    return [WHITE_BALANCE[(i + ord(camera) + list(CURVES).index(curve)) % 4]]


def make(folder, curves, balances):
    sets = build()
    columns = ["kind", "name", "L", "a", "b"]
    labs = {kind: lab_of(xyz_d65(r)) for kind, (_, r) in sets.items()}
    rows = [
        [kind, name, *(f"{v:.3f}" for v in lab)]
        for kind, (names, _) in sets.items()
        for name, lab in zip(names, labs[kind])
    ]
    references = []
    for scene, light, camera, curve, balance in scenes(curves, balances):
        columns.append(scene)
        linear = {k: linear_light(r, LIGHT[light], CAMERAS[camera], balance) for k, (_, r) in sets.items()}
        pixels = np.concatenate([eight_bit(linear[k][0], curve) for k in sets])
        for row, pixel in zip(rows, pixels):
            row.append("%02x%02x%02x" % tuple(pixel))
        for card in ("sigmoid", "dye"):
            target = linear_srgb_d65(sets[card][1])
            rendered = reference(linear[card][0], target, linear["test"][0], labs["test"])
            raw = reference(linear[card][1], target, linear["test"][1], labs["test"])
            references.append([scene, card, *(f"{v:.3f}" for v in (*rendered, *raw))])
    made = [
        "Made by tests/reference/colour_reference.py with colour-science 0.4.7 (BSD-3-Clause).",
        "Illuminants CIE 015:2018; cameras a, b: the two in MSDS_CAMERA_SENSITIVITIES, read 400-700 nm.",
    ]
    write(
        folder / "spectral_pixels.csv",
        made
        + [
            "kind sigmoid, dye: the card's patches by two models of their reflectance; kind test: the 99",
            "samples of CIE 224:2017 and the 14 of CIE 13.3; kind flat: ideal greys. L, a, b: the truth, CIELAB D65, 2 degree.",
            "Other columns light/camera/tone curve/white balance error on red and blue (10 %): 8-bit sRGB.",
        ],
        columns,
        rows,
    )
    write(
        folder / "spectral_reference.csv",
        made
        + [
            "Mean and 95th percentile dE00 over the test kind of matrix_colour_correction_Finlayson2015 (degree 2,",
            "root polynomial) fitted on the card in unrounded linear light without a tone curve:",
            "on the camera's rendered linear sRGB, and on its white-balanced raw signal.",
        ],
        ["scene", "card", "rendered_mean", "rendered_p95", "raw_mean", "raw_p95"],
        references,
    )


if __name__ == "__main__":
    make(ROOT / "tests/data/colour", ["s", "film"], one_balance)
