"""Spectra on one grid: illuminants, observer, and reflectances made to a CIELAB value.

Plastics: the smoothest reflectance with the wanted colour, in the manner of S. A. Burns,
"Numerical methods for smoothest reflectance reconstruction" (2020): least squared slope
of z where R = (tanh z + 1) / 2, here times the violet edge of a white pigment.
Prints: paper seen through layers of four inks by Beer-Lambert, amounts solved for.
The two differ on purpose, as card and plastic do: same Lab under D65, not elsewhere.
"""

import warnings
from functools import cache

import numpy as np
from scipy.optimize import least_squares

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

NM = np.arange(380.0, 781.0, 5.0)
_SHAPE = colour.SpectralShape(380, 780, 5)


@cache
def illuminant(name):
    """A CIE illuminant's relative power on the grid, scaled to luminance 1. Names joined
    by + are a mixture in equal parts."""
    if "+" in name:
        return np.mean([illuminant(part) for part in name.split("+")], axis=0)
    sd = colour.SDS_ILLUMINANTS[name].copy().align(_SHAPE)
    power = np.maximum(np.nan_to_num(sd.values), 0.0)
    return power / (power @ observer()[:, 1])


@cache
def observer():
    """CIE 1931 2-degree colour matching functions, 81 x 3."""
    return colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(_SHAPE).values


@cache
def _weights_d65():
    return observer() * illuminant("D65")[:, None]


WHITE = np.array([0.95047, 1.0, 1.08883])


def xyz(reflectance):
    """XYZ under D65 of a reflectance on the grid; a perfect diffuser has Y = 1."""
    weights = _weights_d65()
    return reflectance @ weights / weights.sum(axis=0) * WHITE


def lab_of(reflectance):
    return lab_from_xyz(xyz(reflectance))


def lab_from_xyz(value):
    """CIELAB D65 (CIE 15)."""
    ratio = np.asarray(value) / WHITE
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def xyz_from_lab(lab):
    fy = (lab[0] + 16) / 116
    f = np.array([fy + lab[1] / 500, fy, fy - lab[2] / 200])
    return np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * WHITE


def de00(one, two):
    return float(colour.delta_E(np.asarray(one), np.asarray(two), method="CIE 2000"))


def plastic(lab, edge_nm=402.0):
    """The smoothest reflectance of this Lab (D65) with a white pigment's violet edge."""
    edge = 1 / (1 + np.exp(-(NM - edge_nm) / 9.0))
    weights = _weights_d65()
    sums = (weights / weights.sum(axis=0) * WHITE) * edge[:, None]
    goal = xyz_from_lab(np.asarray(lab, float))
    n = len(NM)
    slope = 2 * np.eye(n) - np.eye(n, k=1) - np.eye(n, k=-1)
    slope[0, 0] = slope[-1, -1] = 1.0
    z, multiplier = np.full(n, np.arctanh(np.clip(2 * goal[1] - 1, -0.9, 0.9))), np.zeros(3)
    for _ in range(200):
        sech2 = 1 / np.cosh(z) ** 2
        jacobian = sums * (sech2 / 2)[:, None]
        bend = np.diag(sums @ multiplier * (-sech2 * np.tanh(z)))
        matrix = np.block([[2 * slope + bend, jacobian], [jacobian.T, np.zeros((3, 3))]])
        short = np.concatenate([2 * slope @ z + jacobian @ multiplier,
                                sums.T @ ((np.tanh(z) + 1) / 2) - goal])
        step = np.linalg.solve(matrix, -short)
        step *= min(1.0, 1.0 / np.abs(step[:n]).max())
        z, multiplier = z + step[:n], multiplier + step[n:]
        if np.abs(short).max() < 1e-9:
            return edge * (np.tanh(z) + 1) / 2
    raise ValueError(f"no smooth reflectance found for Lab {lab}")


PAPER_L = 94.0          # about, of `paper`


def paper(lightness=PAPER_L):
    """Office paper, bluish by its brightener (taken as fixed, not fluorescent)."""
    plain = 0.86 / (1 + np.exp(-(NM - 395.0) / 10.0)) + 0.10 * np.exp(-(((NM - 445) / 25) ** 2))
    return plain * (xyz_from_lab((lightness, 0, 0))[1] / xyz_from_lab((PAPER_L, 0, 0))[1])


def _bell(centre, left, right):
    return np.exp(-0.5 * ((NM - centre) / np.where(NM < centre, left, right)) ** 2)


# Absorbance of a unit layer of each ink; side lobes as real inks have.
_INKS = np.stack([
    _bell(645, 46, 60) + 0.01 * _bell(430, 40, 50),    # cyan
    _bell(545, 34, 26) + 0.08 * _bell(400, 45, 40),    # magenta
    _bell(425, 60, 42),                                # yellow
    1.0 - 0.08 * (NM - 560) / 200,                     # black
])


def printed(lab, blacks=(0.0, 0.3, 0.6), sheet=None):
    """A print of this Lab (D65) on paper (or the reflectance `sheet`): of the given amounts of
    black ink the one that comes nearest, the other three inks solved for. Out of gamut, it
    falls short."""
    sheet = paper() if sheet is None else sheet
    return min((_inked(lab, black, sheet) for black in blacks), key=lambda r: de00(lab_of(r), lab))


def _inked(lab, black, sheet):
    surface = 0.012   # even a solid ink sends some light back

    def reflectance(amounts):
        layers = amounts @ _INKS[:3] + black * _INKS[3]
        return surface + (1 - surface) * sheet * np.exp(-layers)

    goal = np.asarray(lab, float)
    fit = least_squares(lambda amounts: lab_of(reflectance(amounts)) - goal,
                        x0=np.full(3, 0.3), bounds=(0.0, 6.0))
    return reflectance(fit.x)
