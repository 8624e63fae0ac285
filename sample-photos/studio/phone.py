"""A phone of the wider worlds: what its lens and its software do to a picture is drawn or given
by a recipe, not fixed as for the first photos."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter, zoom

LUMA = np.array([0.25, 0.65, 0.10], np.float32)


@dataclass(frozen=True)
class Phone:
    sensor: str = "pocket"      # sensors.sensitivities: a name, or "drawn-N" for one drawn from N
    matrix_error: float = 0.0   # standard deviation of what the colour matrix mixes wrongly
    metering: str = "highlights"    # or "mean": a dark tray is lifted until whites clip
    flare: float = 0.0          # share of all light that the lens spreads over the whole picture
    local_tone: float = 0.0     # 0 to 1: how far shadows and highlights are evened out by place
    shoulder: float = 0.0       # 0 to 1: how softly highlights run into white instead of clipping
    pupil_mm: float = 0.0       # diameter of the lens's opening: depth of field; 0 is a pinhole
    focus_mm: float = 0.0       # height over the tray that is in focus
    smoothing: float = 0.0      # 0 to 1: noise and fine texture wiped away


MEAN_LEVEL = 0.19       # what the mean is brought to, where the mean is metered


def flared(raw, share):
    """Light that the lens scatters: half of it over the whole picture, half around its source."""
    if not share:
        return raw
    small = raw[::8, ::8]
    wide = gaussian_filter(small, (0.10 * small.shape[1], 0.10 * small.shape[1], 0), mode="nearest")
    wide = np.stack([_grown(wide[:, :, c], raw.shape[:2]) for c in range(3)], axis=2)
    return (1 - share) * raw + share * (0.5 * wide + 0.5 * raw.mean(axis=(0, 1)))


def exposed(raw, phone, rng):
    """The factor that the phone's automatic exposure takes."""
    bright = np.percentile(gaussian_filter(raw[::4, ::4, 1], 2), 99.0)
    kept = 0.75 * rng.uniform(0.9, 1.08) / bright
    if phone.metering == "highlights":
        return min(kept, 0.45 / raw[::4, ::4, 1].mean())
    lifted = MEAN_LEVEL * rng.uniform(0.8, 1.25) / (raw[::4, ::4].mean(axis=(0, 1)) @ LUMA)
    return float(np.clip(lifted, 0.7 * kept, 3.2 * kept))


def rolled_off(linear, softness):
    """Highlights that run into white from a knee on; at 0 they clip."""
    if not softness:
        return np.minimum(linear, 1)
    knee = 1 - 0.55 * softness
    over = np.maximum(linear - knee, 0) / (1 - knee)
    return np.where(linear < knee, linear, knee + (1 - knee) * (1 - np.exp(-over))).astype(np.float32)


def evened(linear, strength):
    """Local tone mapping: the broad part of brightness is pressed together, detail is kept."""
    if not strength:
        return linear
    log = np.log(np.maximum(linear @ LUMA, 2e-3))
    small = log[::4, ::4]
    near, far = (gaussian_filter(small, share * small.shape[1], mode="nearest") for share in (0.012, 0.05))
    base = _grown(0.5 * near + 0.5 * far, log.shape)
    gain = np.exp(-0.45 * strength * (base - np.log(0.25)))
    return linear * np.clip(gain, 0.5, 2.6)[:, :, None]


def mixed_wrongly(matrix, error, rng):
    """A maker's matrix as this phone has it: white kept."""
    off = rng.normal(0, error, (3, 3)) * (1 - np.eye(3))
    return (np.eye(3) + off - np.diag(off.sum(axis=1))) @ matrix


def wiped(picture, strength):
    """Noise reduction that takes fine texture with it, but not edges."""
    if not strength:
        return picture
    soft = gaussian_filter(picture, (1.3, 1.3, 0))
    off = np.abs((picture - soft) @ LUMA)
    keep = np.clip(off / (0.035 * strength + 1e-6), 0, 1)[:, :, None]
    return soft + (picture - soft) * (1 - strength * (1 - keep))


def _grown(small, shape):
    big = zoom(small, (shape[0] / small.shape[0], shape[1] / small.shape[1]), order=1)
    return big[:shape[0], :shape[1]].astype(np.float32)
