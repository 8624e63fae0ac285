"""What goes wrong in the hand: a photo moved or out of focus."""

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.signal import fftconvolve

FINE = 8        # subdivisions of a pixel when a blur's shape is drawn


def blurred(raw, recipe):
    """Raw light smeared along a path (`motion_px`) and over a disk (`defocus_px`, radius)."""
    for kernel in _kernels(recipe):
        pad = [(n // 2, n // 2) for n in kernel.shape]
        raw = np.stack([fftconvolve(np.pad(raw[:, :, c], pad, mode="edge"), kernel, mode="valid")
                        for c in range(3)], axis=2).astype(np.float32)
    return raw


def _kernels(recipe):
    if recipe.motion_px:
        rng = np.random.default_rng([recipe.seed, 91])
        turn, bow = rng.uniform(0, 2 * np.pi), rng.uniform(-0.3, 0.3)
        s = np.linspace(-0.5, 0.5, 400)
        x, y = recipe.motion_px * s, recipe.motion_px * bow * (s * s - 1 / 12)
        yield _drawn(x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn))
    if recipe.defocus_px:
        s = np.linspace(-1, 1, 81) * recipe.defocus_px
        x, y = np.meshgrid(s, s)
        inside = np.hypot(x, y) <= recipe.defocus_px
        yield _drawn(x[inside], y[inside])


def _drawn(x, y):
    """A blur's shape on the pixel grid, of odd sides and sum 1."""
    half = int(np.ceil(max(np.abs(x).max(), np.abs(y).max()))) + 1
    side = 2 * half + 1
    fine, _, _ = np.histogram2d(y, x, bins=side * FINE, range=[[-half - 0.5, half + 0.5]] * 2)
    kernel = gaussian_filter(fine, FINE * 0.3).reshape(side, FINE, side, FINE).sum(axis=(1, 3))
    return (kernel / kernel.sum()).astype(np.float32)
