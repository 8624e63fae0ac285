"""What trays and tables are made of: weight pictures (0 the lighter shade, 1 the darker one) of
felt, cork, kraft paper, wood, a cutting mat with its printed grid, and moulded plastic."""

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates

TEXEL_MM = 0.25

# What the lighter and the darker shade add to a tray's colour, in Lab.
SHADES = {
    "plain": ((1.0, 0, 0), (-3.0, 0.2, 0.4)),
    "plastic": ((0.8, 0, 0), (-1.8, 0, 0)),
    "felt": ((7.0, 0.3, 0.5), (-5.0, -0.2, 0.0)),
    "cork": ((11.0, -2.0, 3.0), (-24.0, 2.0, -7.0)),
    "kraft": ((4.0, -0.6, 1.0), (-9.0, 1.2, 1.5)),
    "wood": ((8.0, -1.5, 1.0), (-17.0, 3.5, 3.0)),
    "mat": ((30.0, 6.0, 4.0), (0.0, 0.0, 0.0)),
}


def weight(surface, seed, side_mm, texel=TEXEL_MM):
    """A square weight picture of this surface, `side_mm` wide."""
    rng = np.random.default_rng([seed, 79])
    n = int(side_mm / texel)
    return np.clip(_MADE[surface](rng, n, texel), 0, 1).astype(np.float32)


def _noise(rng, n, sigma):
    """Gaussian noise of variance 1, blurred by `sigma` texels (one, or one an axis); broad
    noise is made small and scaled up."""
    across = np.broadcast_to(sigma, 2).astype(float)
    shrink = np.maximum(1, np.floor(across / 4)).astype(int)
    small = rng.standard_normal(tuple(-(-n // shrink) + 1)).astype(np.float32)
    small = gaussian_filter(small, across / shrink, mode="wrap")
    if (shrink > 1).any():
        rows, columns = (np.arange(n, dtype=np.float32) / s for s in shrink)
        small = map_coordinates(small, np.meshgrid(rows, columns, indexing="ij"), order=1, mode="nearest")
    small = small[:n, :n]
    return (small - small.mean()) / small.std()


def _plain(rng, n, texel):
    grain = rng.uniform(0.2, 1.0)
    return 0.35 + grain * (0.15 * _noise(rng, n, 0.5 / texel) + 0.12 * _noise(rng, n, 30 / texel))


def _plastic(rng, n, texel):
    return 0.4 + 0.12 * _noise(rng, n, 0.25 / texel) + 0.15 * _noise(rng, n, 40 / texel)


def _felt(rng, n, texel):
    along, across = _noise(rng, n, (0.15 / texel, 1.4 / texel)), _noise(rng, n, (1.4 / texel, 0.15 / texel))
    return 0.5 + 0.16 * np.maximum(along, across) + 0.12 * _noise(rng, n, 0.2 / texel) + 0.06 * _noise(rng, n, 8 / texel)


def _cork(rng, n, texel):
    """Grains of 2 to 5 mm, each with a shade of its own, darker seams and a few dark spots."""
    grain = rng.uniform(2.0, 4.0) / texel
    count = int(n / grain)
    shade = rng.uniform(0.05, 0.5, (count + 1, count + 1)).astype(np.float32)
    rows, columns = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
    bend = 0.42 * grain
    at = [(place + bend * _noise(rng, n, grain / 3)) / grain for place in (rows, columns)]
    cell = [np.clip(np.round(place).astype(int), 0, count) for place in at]
    seam = np.maximum(*[np.abs(place - np.round(place)) for place in at])
    weight = shade[cell[0], cell[1]] + 0.25 * np.clip((seam - 0.42) / 0.08, 0, 1)
    weight += 0.9 * np.clip(_noise(rng, n, 0.7 / texel) - 2.1, 0, 0.7)
    return weight + 0.05 * _noise(rng, n, 0.3 / texel)


def _kraft(rng, n, texel):
    fibre = np.maximum(_noise(rng, n, (0.2 / texel, 1.8 / texel)), _noise(rng, n, (0.9 / texel, 0.3 / texel)))
    return 0.3 + 0.10 * fibre + 0.08 * _noise(rng, n, 6 / texel) + 0.7 * np.clip(fibre - 3.0, 0, 0.6)


def _wood(rng, n, texel):
    """Boards sawn beside the heart: long rings, fibres, pores, joints where there is more than one."""
    y, x = (part.astype(np.float32) * texel for part in np.mgrid[0:n, 0:n])
    wide = float(rng.choice([62.0, 95.0, 140.0, 3000.0]))
    board = np.floor((y + rng.uniform(0, wide)) / wide).astype(int)
    count = board.max() + 1
    heart, shift = rng.uniform(-90, 90, count)[board], rng.uniform(0, 2000, count)[board]
    slope, wander = rng.uniform(0.01, 0.05, count)[board], _noise(rng, n, (9 / texel, 120 / texel))
    across = y - board * wide - wide / 2 - heart
    if wide > 1000:
        across = y - n * texel / 2 - heart
    reach = np.hypot(across, slope * (((x + shift) % 1300) - 650)) + 2.5 * wander
    period = rng.uniform(4.0, 13.0)
    phase = reach / period
    ring = (phase - np.floor(phase)) ** 3          # slow in spring, sharp and dark where winter came
    fibre, pores = _noise(rng, n, (0.2 / texel, 9 / texel)), _noise(rng, n, (0.25 / texel, 2.0 / texel))
    weight = 0.12 + rng.uniform(0.35, 0.75) * ring + 0.10 * fibre + rng.uniform(0.2, 0.6) * np.clip(pores - 2.0, 0, 1)
    weight += rng.uniform(-0.08, 0.14, count)[board]
    if wide < 1000:
        weight[((y + 0.0) % wide) < 0.7] += 0.5
    return weight


def _mat(rng, n, texel):
    """A printed grid: fine lines each 10 mm, stronger ones each 50, one at 45 degrees."""
    y, x = (part.astype(np.float32) * texel for part in np.mgrid[0:n, 0:n])
    line = lambda place, every, width: np.clip(  # noqa: E731
        (width / 2 + texel / 2 - np.abs((place + every / 2) % every - every / 2)) / texel, 0, 1)
    lines = np.maximum.reduce([0.45 * line(x, 10, 0.3), 0.45 * line(y, 10, 0.3), 0.8 * line(x, 50, 0.5),
                               0.8 * line(y, 50, 0.5), 0.5 * line((x + y) * 0.7071, 400, 0.4)])
    return 1 - rng.uniform(0.5, 1.0) * lines - np.abs(0.02 * _noise(rng, n, 0.3 / texel))


_MADE = {"plain": _plain, "plastic": _plastic, "felt": _felt, "cork": _cork, "kraft": _kraft, "wood": _wood,
         "mat": _mat}
