"""From camera raw to the picture a phone would save.

White balance that misses, a colour matrix fitted for daylight, exposure, a tone curve
unknown to the tool, local contrast, sensor noise partly smoothed away, sharpening.
"""

from functools import cache

import numpy as np
from scipy.ndimage import gaussian_filter

from . import faults, render, spectra
from .scene import stream

XYZ_TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415],
                        [0.0557, -0.2040, 1.0570]])
XYZ_TO_P3 = np.array([[2.4934969, -0.9313836, -0.4027108], [-0.8294890, 1.7626641, 0.0236247],
                      [0.0358458, -0.0761724, 0.9568845]])
CAMERAS = ("pocket", "first", "second")


@cache
def sensitivities(name):
    """Three spectral sensitivities on the grid, green's peak 1. `pocket` is our own, of
    bells as phone sensors have them; the others are measured ones of colour-science."""
    if name == "pocket":
        nm = spectra.NM
        bell = lambda centre, left, right: np.exp(  # noqa: E731
            -0.5 * ((nm - centre) / np.where(nm < centre, left, right)) ** 2)
        red = 0.80 * bell(600, 28, 36) + 0.06 * bell(530, 30, 30)
        green = bell(533, 36, 38) + 0.05 * bell(620, 30, 30)
        blue = 0.85 * bell(458, 26, 30) + 0.05 * bell(540, 25, 25)
        cut = 1 / (1 + np.exp((nm - 672) / 7)) / (1 + np.exp(-(nm - 405) / 6))
        return np.stack([red, green, blue], axis=1) * cut[:, None]
    measured = list(spectra.colour.MSDS_CAMERA_SENSITIVITIES.values())
    table = measured[CAMERAS.index(name) - 1]
    return np.stack([np.interp(spectra.NM, table.wavelengths, np.maximum(column, 0), 0, 0)
                     for column in np.nan_to_num(table.values).T], axis=1)


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


def cast(recipe, to_space, rng):
    """What white balance leaves, as gains of the finished linear picture: part of a warm
    light's colour, less of a cool one's, and a small error."""
    light = spectra.illuminant(recipe.lighting.illuminant) @ spectra.observer()
    seen = np.maximum(to_space @ light, 0.05)
    seen /= seen[1]
    kept = recipe.cast_kept if seen[0] > seen[2] else 0.3 * recipe.cast_kept
    return (np.exp(rng.normal(0, [0.02, 0.008, 0.025])) * seen**kept).astype(np.float32)


def develop(raw, scene):
    """The upright picture, 8 bit, encoded in the recipe's colour space."""
    recipe, view = scene.recipe, scene.view
    rng = stream(recipe.seed, "camera")
    white = render.white_raw(recipe.lighting.illuminant, sensitivities(recipe.camera))
    raw = faults.blurred(raw, recipe)
    raw = raw / white.astype(np.float32) * _vignette(view, rng.uniform(0.10, 0.22))
    raw *= _exposure(raw, rng) * 2.0**recipe.exposure_ev
    raw = np.minimum(_grain(raw, recipe.noise, rng), 1.3)
    to_space = XYZ_TO_P3 if recipe.space == "p3" else XYZ_TO_SRGB
    linear = raw @ (to_space @ daylight_matrix(recipe.camera)).T.astype(np.float32)
    linear *= cast(recipe, to_space, rng)
    picture = _encode(np.clip(linear, 0, 1))
    picture = _tone(picture, rng.uniform(0.22, 0.42), rng.uniform(0.94, 1.02), rng.uniform(0.4, 0.9))
    picture = _livelier(picture, rng.uniform(1.02, 1.10))
    picture = _crisp(picture, view.width, rng)
    return np.clip(np.round(picture * 255), 0, 255).astype(np.uint8)


def _vignette(view, strength):
    y, x = np.ogrid[0:view.height, 0:view.width]
    half = np.hypot(view.width, view.height) / 2
    r2 = ((x + 0.5 - view.cx) ** 2 + (y + 0.5 - view.cy) ** 2) / half**2
    return (1 - strength * r2).astype(np.float32)[:, :, None]


def _exposure(raw, rng):
    """The brightest large thing just below clipping, unless the whole is dark."""
    luma = raw[::4, ::4, 1]
    bright = np.percentile(gaussian_filter(luma, 2), 99.0)
    return min(0.70 * rng.uniform(0.93, 1.05) / bright, 0.45 / luma.mean())


def _grain(raw, noise, rng):
    """Shot and read noise, then smoothing: strong on colour, light on brightness."""
    shape = raw.shape
    sigma = noise * np.sqrt(np.maximum(raw, 0) * 0.9 + 0.004)
    grain = rng.standard_normal(shape, np.float32) * sigma.astype(np.float32)
    grain[:, :, [0, 2]] *= 1.5
    luma = gaussian_filter(grain.mean(axis=2), 0.6)[:, :, None]
    chroma = gaussian_filter(grain - grain.mean(axis=2, keepdims=True), (1.8, 1.8, 0))
    return raw + luma + chroma


def _encode(linear):
    """The sRGB curve (IEC 61966-2-1), which Display P3 shares."""
    return np.where(linear <= 0.0031308, 12.92 * linear,
                    1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055).astype(np.float32)


def _tone(picture, strength, gamma, by_channel):
    """An S-shaped curve; in part on each channel, in part on brightness alone."""
    curve = lambda v: (1 - strength) * v**gamma + strength * v * v * (3 - 2 * v)  # noqa: E731
    luma = picture @ np.array([0.25, 0.65, 0.10], np.float32)
    bright = picture * (curve(luma) / np.maximum(luma, 1e-3))[:, :, None]
    return by_channel * curve(picture) + (1 - by_channel) * bright


def _livelier(picture, amount):
    luma = (picture @ np.array([0.25, 0.65, 0.10], np.float32))[:, :, None]
    return luma + (picture - luma) * amount


def _crisp(picture, width, rng):
    """Local contrast over about 2 % of the width, then sharpening."""
    luma = picture @ np.array([0.25, 0.65, 0.10], np.float32)
    wide = gaussian_filter(luma, 0.02 * width, truncate=2.5)
    fine = gaussian_filter(luma, 1.0)
    change = rng.uniform(0.05, 0.12) * (luma - wide) + rng.uniform(0.45, 0.8) * (luma - fine)
    return np.clip(picture + change[:, :, None], 0, 1)
