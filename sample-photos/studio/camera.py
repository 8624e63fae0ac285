"""From camera raw to the picture a phone would save.

White balance that misses, a colour matrix fitted for daylight, exposure, a tone curve
unknown to the tool, local contrast, sensor noise partly smoothed away, sharpening.
"""

import numpy as np
from scipy.ndimage import gaussian_filter

from . import faults, phone as phones, render, spectra
from .scene import stream
from .sensors import daylight_matrix, sensitivities

XYZ_TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415],
                        [0.0557, -0.2040, 1.0570]])
XYZ_TO_P3 = np.array([[2.4934969, -0.9313836, -0.4027108], [-0.8294890, 1.7626641, 0.0236247],
                      [0.0358458, -0.0761724, 0.9568845]])


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
    if recipe.phone:
        return _by_phone(raw, scene)
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


def _by_phone(raw, scene):
    """As `develop`, by the recipe's phone."""
    recipe, view, phone = scene.recipe, scene.view, scene.recipe.phone
    rng = stream(recipe.seed, f"camera {recipe.view}")
    own = np.random.default_rng([*phone.sensor.encode(), 7])        # what is the phone's, not the photo's
    white = render.white_raw(recipe.lighting.illuminant, sensitivities(phone.sensor))
    raw = phones.flared(faults.blurred(raw, recipe) / white.astype(np.float32), phone.flare)
    raw *= _vignette(view, own.uniform(0.05, 0.30))
    raw *= phones.exposed(raw, phone, rng) * 2.0**recipe.exposure_ev
    raw = np.minimum(_grain(raw, recipe.noise, rng), 1.5 if phone.shoulder else 1.05)
    to_space = XYZ_TO_P3 if recipe.space == "p3" else XYZ_TO_SRGB
    matrix = phones.mixed_wrongly(to_space @ daylight_matrix(phone.sensor), phone.matrix_error, own)
    linear = np.maximum(raw @ matrix.T.astype(np.float32), 0) * cast(recipe, to_space, rng)
    linear = phones.rolled_off(phones.evened(linear, phone.local_tone), phone.shoulder)
    picture = _encode(np.clip(linear, 0, 1))
    picture = _tone(picture, own.uniform(0.05, 0.50), own.uniform(0.88, 1.06), own.uniform(0.2, 1.0))
    picture = _livelier(phones.wiped(picture, phone.smoothing), own.uniform(0.95, 1.18))
    picture = _crisp(picture, view.width, own)
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
