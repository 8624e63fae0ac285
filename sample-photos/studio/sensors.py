"""Spectral sensitivities of phones, and the colour matrix that each maker fitted for daylight."""

from functools import cache

import numpy as np

from . import render, spectra

CAMERAS = ("pocket", "first", "second")


@cache
def sensitivities(name):
    """Three spectral sensitivities on the grid, green's peak 1. `pocket` is our own, of
    bells as phone sensors have them, `drawn-N` one of its kind drawn from N; the others are
    measured ones of colour-science."""
    if name == "pocket":
        return _bells((600, 28, 36), (533, 36, 38), (458, 26, 30), (0.80, 0.06, 0.05, 0.85, 0.05), (672, 405))
    if name.startswith("drawn-"):
        rng = np.random.default_rng([int(name[6:]), 83])
        u = rng.uniform
        return _bells((u(588, 612), u(22, 34), u(28, 42)), (u(524, 542), u(28, 42), u(30, 44)),
                      (u(446, 468), u(20, 30), u(24, 36)),
                      (u(0.6, 0.95), u(0.02, 0.14), u(0.02, 0.12), u(0.65, 0.95), u(0.02, 0.12)),
                      (u(650, 690), u(398, 418)))
    measured = list(spectra.colour.MSDS_CAMERA_SENSITIVITIES.values())
    table = measured[CAMERAS.index(name) - 1]
    return np.stack([np.interp(spectra.NM, table.wavelengths, np.maximum(column, 0), 0, 0)
                     for column in np.nan_to_num(table.values).T], axis=1)


def _bells(red, green, blue, heights, cuts):
    """Each of red, green and blue as centre and widths to both sides; heights of red, of what
    red and green take of each other, of blue, and of what blue takes of green; the cuts of the
    infrared and the ultraviolet filter, nm."""
    nm = spectra.NM
    bell = lambda centre, left, right: np.exp(  # noqa: E731
        -0.5 * ((nm - centre) / np.where(nm < centre, left, right)) ** 2)
    r, rg, gr, b, bg = heights
    red = r * bell(*red) + rg * bell(530, 30, 30)
    green = bell(*green) + gr * bell(620, 30, 30)
    blue = b * bell(*blue) + bg * bell(540, 25, 25)
    cut = 1 / (1 + np.exp((nm - cuts[0]) / 7)) / (1 + np.exp(-(nm - cuts[1]) / 6))
    return np.stack([red, green, blue], axis=1) * cut[:, None]


def _training():
    """Reflectances the maker of this phone may have tuned on: smooth ones all over the gamut."""
    rng = np.random.default_rng(5)
    greys = [spectra.plastic((L, 0, 0)) for L in (20, 40, 60, 80, 93)]
    turns = rng.uniform(0, 2 * np.pi, 60)
    tints = []
    for turn, chroma, light in zip(turns, rng.uniform(8, 42, 60), rng.uniform(35, 78, 60)):
        tints.append(spectra.plastic((light, chroma * np.cos(turn), chroma * np.sin(turn)), 385.0))
    return np.array(greys + tints)


@cache
def daylight_matrix(name):
    """White-balanced raw -> XYZ of D65, least squares with white kept."""
    seen = sensitivities(name)
    white = render.white_raw("D65", seen)
    samples = _training()
    raw = samples @ (spectra.illuminant("D65")[:, None] * seen) / white
    goal = np.array([spectra.xyz(r) for r in samples])
    weight = 1 / (0.15 + goal[:, 1:2])
    fixed = np.concatenate([raw * weight, 50 * np.ones((1, 3))])
    return np.linalg.lstsq(fixed, np.concatenate([goal * weight, 50 * spectra.WHITE[None]]),
                           rcond=None)[0].T
