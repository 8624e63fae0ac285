"""The second renderer's phone: a mosaic of single-colour pixels, their noise, its reconstruction,
white balance, a colour matrix, local tone, a curve with a shoulder, sharpening. It reads the same
`Phone` as `camera` and shares no step with it, so that one is no copy of the other."""

import numpy as np
from scipy.ndimage import convolve, gaussian_filter, maximum_filter, minimum_filter, uniform_filter

from ..phone import Phone
from ..scene import stream
from . import inks

LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)   # Rec. ITU-R BT.709
# How much each kind of pixel sees of linear BT.2020 red, green, blue: near a phone's overlap.
CROSSTALK = np.array([[0.74, 0.24, 0.02], [0.16, 0.75, 0.09], [0.02, 0.21, 0.77]])
# XYZ to linear sRGB (IEC 61966-2-1) and to Display P3.
TO_SPACE = {"srgb": np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415],
                              [0.0557, -0.2040, 1.0570]]),
            "p3": np.array([[2.4934969, -0.9313836, -0.4027108], [-0.8294890, 1.7626641, 0.0236247],
                            [0.0358458, -0.0761724, 0.9568845]])}
MEAN_GREY = 0.19        # where averaging exposure puts the picture's mean
BRIGHT = 0.74           # where the other kind puts its brightest large thing
LIFTED = 1.6            # how far the first kind may go beyond the second
PIVOT = 0.35            # brightness that local tone leaves alone


def developed(light, scene):
    """The upright picture, 8 bit, of linear light (BT.2020, a white diffuser under the key is 1)."""
    recipe, phone = scene.recipe, scene.recipe.phone or Phone()
    own = np.random.default_rng([len(phone.sensor), *phone.sensor.encode()])
    rng = stream(recipe.seed, "developing" + recipe.view)
    seen = CROSSTALK + own.normal(0, 0.02, (3, 3))
    seen /= seen.sum(axis=1, keepdims=True)
    raw = veiled(light, phone.flare) @ seen.T.astype(np.float32)
    raw *= vignette(scene.view, own.uniform(0.25, 0.5))
    gains = _gains(recipe, seen, rng)
    raw *= _exposure(raw * gains, phone.metering, rng) * 2.0**recipe.exposure_ev
    raw = demosaiced(mosaic(raw, recipe.noise, rng)) * gains
    raw = _calmed(np.clip(raw, 0, gains.min()) / gains.min(), phone.smoothing)
    linear = raw @ _matrix(seen, recipe.space, phone.matrix_error, own).T.astype(np.float32)
    linear = evened(np.maximum(linear, 0), phone.local_tone, scene.view.width)
    picture = _encoded(shouldered(linear, phone.shoulder))
    bent = picture + rng.uniform(0.5, 1.1) * picture * (1 - picture) * (2 * picture - 1) * 0.5
    grey = (bent @ LUMA)[:, :, None]
    picture = grey + (bent - grey) * rng.uniform(1.02, 1.12)
    picture = sharpened(np.clip(picture, 0, 1), rng.uniform(0.8, 1.2), rng.uniform(0.35, 0.75))
    return np.clip(np.round(picture * 255), 0, 255).astype(np.uint8)


def veiled(light, share):
    """A share of all light spread over the picture: half evenly, half near where it came from."""
    if not share:
        return light
    wide = gaussian_filter(light[::8, ::8], (0.08 * light.shape[1] / 8,) * 2 + (0,), mode="nearest")
    near = np.kron(wide, np.ones((8, 8, 1), np.float32))[:light.shape[0], :light.shape[1]]
    return ((1 - share) * light + share * (0.5 * near + 0.5 * light.mean(axis=(0, 1)))).astype(np.float32)


def vignette(view, left):
    """The cosine's fourth power, of which the phone has corrected all but `left`."""
    y, x = np.ogrid[0:view.height, 0:view.width]
    r2 = ((x + 0.5 - view.cx) ** 2 + (y + 0.5 - view.cy) ** 2) / view.f_px**2
    return (1 / (1 + r2) ** (2 * left)).astype(np.float32)[:, :, None]


def _gains(recipe, seen, rng):
    """White balance: a warm light's cast stays in part, a cool one's hardly."""
    from ..lights import spectra

    names = recipe.lighting.illuminant.split("+")
    tint = inks.of_light(sum(spectra.illuminant(name) for name in names) / len(names))
    white = seen @ tint
    kept = recipe.cast_kept if white[0] > white[2] else 0.3 * recipe.cast_kept
    gains = (white / white[1]) ** (kept - 1) * np.exp(rng.normal(0, (0.025, 0.006, 0.03)))
    return (gains / gains[1]).astype(np.float32)


def _exposure(raw, metering, rng):
    luma = (raw @ LUMA)[::4, ::4]
    kept = BRIGHT * rng.uniform(0.92, 1.08) / np.percentile(gaussian_filter(luma, 2), 98.5)
    if metering == "mean":      # a dark tray is lifted, and what is white may clip
        return float(np.clip(MEAN_GREY * rng.uniform(0.9, 1.15) / luma.mean(), 0.75 * kept, LIFTED * kept))
    return min(kept, 0.42 / luma.mean())


def mosaic(raw, noise, rng):
    """One colour a pixel (red, green / green, blue), with shot and read noise, clipped at 1."""
    single = raw[:, :, 1].copy()
    single[0::2, 0::2], single[1::2, 1::2] = raw[0::2, 0::2, 0], raw[1::2, 1::2, 2]
    sigma = noise * np.sqrt(np.maximum(single, 0) + 0.01)
    return np.clip(single + sigma * rng.standard_normal(single.shape, np.float32), 0, 1)


# Malvar, He, Cutler 2004, figure 2: what is added to the bilinear guess follows the colour that is
# known there. In eighths.
AT_GREEN = np.array([[0, 0, -1, 0, 0], [0, 0, 2, 0, 0], [-1, 2, 4, 2, -1], [0, 0, 2, 0, 0], [0, 0, -1, 0, 0]]) / 8
IN_ROW = np.array([[0, 0, .5, 0, 0], [0, -1, 0, -1, 0], [-1, 4, 5, 4, -1], [0, -1, 0, -1, 0], [0, 0, .5, 0, 0]]) / 8
ACROSS = np.array([[0, 0, -1.5, 0, 0], [0, 2, 0, 2, 0], [-1.5, 0, 6, 0, -1.5], [0, 2, 0, 2, 0], [0, 0, -1.5, 0, 0]]) / 8


def demosaiced(single):
    green, row, column, across = (convolve(single, kernel.astype(np.float32), mode="mirror")
                                  for kernel in (AT_GREEN, IN_ROW, IN_ROW.T, ACROSS))
    full = np.repeat(single[:, :, None], 3, axis=2)
    full[0::2, 0::2, 1], full[1::2, 1::2, 1] = green[0::2, 0::2], green[1::2, 1::2]
    full[0::2, 1::2, 0], full[1::2, 0::2, 0] = row[0::2, 1::2], column[1::2, 0::2]
    full[1::2, 0::2, 2], full[0::2, 1::2, 2] = row[1::2, 0::2], column[0::2, 1::2]
    full[1::2, 1::2, 0], full[0::2, 0::2, 2] = across[1::2, 1::2], across[0::2, 0::2]
    return np.maximum(full, 0)


def _calmed(raw, smoothing):
    """Noise of colour wiped away; with more smoothing, fine brightness too, but not edges."""
    luma = (raw @ LUMA)[:, :, None]
    tint = gaussian_filter(raw - luma, (1.2 + smoothing, 1.2 + smoothing, 0))
    soft = gaussian_filter(luma, (0.9 + smoothing,) * 2 + (0,))
    flat = np.exp(-((luma - soft) / (0.01 + 0.03 * smoothing)) ** 2)
    return luma + (0.4 + 0.6 * smoothing) * flat * (soft - luma) + tint


def _matrix(seen, space, error, own):
    """White-balanced raw to the picture's primaries, white kept; it misses a little."""
    to = TO_SPACE[space] @ np.linalg.inv(inks.from_xyz()) @ np.linalg.inv(seen)
    missed = to + own.normal(0, error, (3, 3))
    return missed / missed.sum(axis=1, keepdims=True)


def evened(linear, amount, width):
    """Local tone: what is dark or bright over a wide place comes nearer to the pivot (a guided
    filter, He, Sun, Tang 2010, keeps the borders between places)."""
    if not amount:
        return linear
    size = int(0.09 * width) | 1
    stops = np.log2(np.maximum(linear @ LUMA, 1e-3))
    mean = uniform_filter(stops, size, mode="nearest")
    spread = uniform_filter(stops**2, size, mode="nearest") - mean**2
    slope = spread / (spread + 0.5)
    base = uniform_filter(slope, size) * stops + uniform_filter(mean * (1 - slope), size)
    return linear * np.exp2(np.clip(-0.5 * amount * (base - np.log2(PIVOT)), -1.2, 1.2))[:, :, None]


def shouldered(linear, amount):
    """Highlights run into white: straight up to a knee, then ever flatter."""
    knee = 1 - 0.55 * amount
    if knee == 1:
        return np.minimum(linear, 1)
    over = np.maximum(linear - knee, 0) / (1 - knee)
    return np.where(linear > knee, knee + (1 - knee) * (1 - np.exp(-over)), linear)


def _encoded(linear):
    """The curve of IEC 61966-2-1."""
    return np.where(linear <= 0.0031308, 12.92 * linear,
                    1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055).astype(np.float32)


def sharpened(picture, radius, amount):
    """Unsharp mask on brightness, its halo held within a little more than what is around."""
    luma = picture @ LUMA
    sharp = luma + amount * (luma - gaussian_filter(luma, radius))
    sharp = np.clip(sharp, minimum_filter(luma, 3) - 0.04, maximum_filter(luma, 3) + 0.04)
    return np.clip(picture + (sharp - luma)[:, :, None], 0, 1)
