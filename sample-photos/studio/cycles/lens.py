"""The second renderer's lens. Blender draws a pinhole's picture, wider than the photo; this bends
it as the view's distortion says, red and blue by a hair more or less than green."""

from dataclasses import replace

import numpy as np
from scipy.ndimage import map_coordinates

SPARE_PX = 4        # around what the bent picture reaches
FRINGE = 2.0e-4     # that red is drawn larger, and blue smaller


def pinhole(view):
    """The view without distortion that holds all that the distorted one shows."""
    edge = _border(view.width, view.height)
    bent = _straightened(view, edge)
    low = np.floor(bent.min(axis=0)) - SPARE_PX
    high = np.ceil(bent.max(axis=0)) + SPARE_PX
    width, height = (high - low).astype(int)
    return replace(view, k1=0.0, cx=view.cx - low[0], cy=view.cy - low[1],
                   width=int(width), height=int(height))


def _border(width, height):
    along = lambda n: np.linspace(0, n, 65)  # noqa: E731
    return np.concatenate([[(x, y) for x in along(width) for y in (0, height)],
                           [(x, y) for y in along(height) for x in (0, width)]])


def _straightened(view, pixels):
    """Where the pinhole's picture (of the same middle) has what these pixels show."""
    local = view.rays(pixels) @ view.rotation.T
    return local[:, :2] / local[:, 2:] * view.f_px + (view.cx, view.cy)


def places(view, straight):
    """Row and column in the pinhole's picture of each pixel's centre: 2 x height x width."""
    rows, columns = np.mgrid[0:view.height, 0:view.width]
    centres = np.stack([columns.ravel() + 0.5, rows.ravel() + 0.5], axis=1)
    found = _straightened(view, centres) - (view.cx, view.cy) + (straight.cx, straight.cy)
    return (found[:, ::-1] - 0.5).T.reshape(2, view.height, view.width)


def bend(picture, view, straight):
    """The pinhole's picture (height x width x 3) as this lens sees it."""
    at = places(view, straight)
    middle = np.array([straight.cy - 0.5, straight.cx - 0.5])[:, None, None]
    bent = [map_coordinates(picture[:, :, channel], middle + (at - middle) * (1 - FRINGE * shift),
                            order=3, mode="nearest") for channel, shift in enumerate((1, 0, -1))]
    return np.maximum(np.stack(bent, 2), 0).astype(np.float32)


def nearest(numbers, view, straight):
    """A picture of numbers, each pixel taken from the pinhole's pixel nearest to its centre."""
    return map_coordinates(numbers, places(view, straight), order=0, mode="nearest")
