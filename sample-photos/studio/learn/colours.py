"""Colours at random: bodies of pieces, trays and lights, in linear sRGB."""

import numpy as np


def linear(lab):
    """CIELAB (D65) to linear sRGB, clipped to what a plastic can send back."""
    lab = np.asarray(lab, float)
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], -1)
    xyz = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * (0.95047, 1.0, 1.08883)
    matrix = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
    return np.clip(xyz @ matrix.T, 0.004, 0.93)


def encode(light):
    """Linear 0..1 to sRGB values 0..1."""
    light = np.clip(light, 0, 1)       # keeps float32 where it is
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def decode(value):
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lab_of(value):
    """sRGB values 0..1 to CIELAB (D65), float32."""
    light = decode(value).astype(np.float32)
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]],
                      np.float32)
    xyz = light @ matrix.T / np.array([0.95047, 1.0, 1.08883], np.float32)
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(np.maximum(xyz, 1e-9)), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]),
                     200 * (f[..., 1] - f[..., 2])], -1).astype(np.float32)


def body(rng):
    """Lab of one piece's body: greys, blacks and whites often, else anywhere."""
    if rng.random() < 0.36:
        light = rng.choice([rng.uniform(12, 32), rng.uniform(35, 80), rng.uniform(85, 96)])
        return np.array([light, rng.normal(0, 1.5), rng.normal(0, 3.0)])
    chroma, hue = rng.uniform(5, 75), rng.uniform(0, 2 * np.pi)
    return np.array([rng.uniform(22, 88), chroma * np.cos(hue), chroma * np.sin(hue)])


def tray(rng):
    way = rng.random()
    if way < 0.55:
        return np.array([rng.uniform(50, 95), rng.normal(0, 1.5), rng.normal(0, 3)])
    if way < 0.72:
        return np.array([rng.uniform(20, 48), rng.normal(0, 2), rng.normal(0, 3)])
    if way < 0.87:
        return np.array([rng.uniform(45, 75), rng.uniform(4, 14), rng.uniform(12, 32)])
    return body(rng)


def mix(count, ground, rng):
    """Lab of the bodies in one scene; some near each other, some near the tray."""
    found = [body(rng)]
    while len(found) < count:
        way = rng.random()
        if way < 0.25:
            near = found[rng.integers(len(found))]
            found.append(near + rng.normal(0, 1, 3) * rng.uniform(1, 5))
        elif way < 0.33:
            found.append(ground + rng.normal(0, 1, 3) * (9, 5, 5))
        else:
            found.append(body(rng))
    return np.array(found)
