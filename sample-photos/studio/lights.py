"""Light in a home: one key light of a CIE illuminant, the ceiling and walls that send
some of it back, and the photographer, whose phone the glossy tops mirror."""

from dataclasses import dataclass

import numpy as np

from . import spectra


@dataclass
class Key:
    """A rectangle or disk of light, looking at the tray's middle."""
    shape: str          # "rectangle" or "disk"
    half: tuple         # half sizes, mm (a disk's radius twice)
    distance: float     # mm, along the ground
    height: float       # mm, above the tray
    share: float        # of the light on the tray that comes from it
    around: tuple = (0,)    # degrees between several alike


@dataclass
class Lamp:
    """One light where it stands."""
    shape: str
    half: tuple
    at: np.ndarray          # world mm
    radiance: np.ndarray    # on `spectra.NM`


KEYS = {
    "window": Key("rectangle", (520, 640), 1350, 1000, 0.76),
    "near-window": Key("rectangle", (400, 500), 800, 800, 0.80),
    "desk-lamp": Key("disk", (75, 75), 420, 620, 0.80),
    "room-lamp": Key("disk", (150, 150), 750, 1250, 0.68),
    "side-lamp": Key("disk", (150, 150), 1200, 900, 0.72),   # its mirror image falls outside
    "sun": Key("disk", (14, 14), 1500, 2000, 0.80),          # through a window: hard shadows
    "tubes": Key("rectangle", (620, 90), 350, 1700, 0.70),
    # Of the wider worlds.
    "low-lamp": Key("disk", (28, 28), 850, 330, 0.84),       # shadows three times as long as high
    "low-window": Key("rectangle", (420, 380), 1300, 480, 0.80),
    "bench-lamp": Key("disk", (60, 60), 330, 460, 0.78),
    "spots": Key("disk", (32, 32), 520, 1900, 0.80, (0, 95, 215)),
    "overcast": Key("rectangle", (950, 950), 900, 1500, 0.42),
    "behind": Key("disk", (110, 110), 130, 1600, 0.74),      # the phone's own shadow falls on the tray
}


@dataclass
class Lighting:
    illuminant: str
    key: str
    azimuth_deg: float      # where the key stands, world, counter-clockwise from x
    walls: tuple = (74.0, 1.5, 5.0)   # Lab of the walls that the rest comes from
    second: tuple = ()      # (key, azimuth) of the other light, where `illuminant` joins two by +
    glare: bool = False     # the key stands where the card mirrors it into the lens


def _spectrum(values):
    return {"type": "regular", "wavelength_min": float(spectra.NM[0]),
            "wavelength_max": float(spectra.NM[-1]),
            "values": ", ".join(f"{v:.6g}" for v in values)}


def emitters(lighting, view, mi, placed_card):
    """Mitsuba shapes and emitters; light on the tray's middle sums to about pi."""
    power = spectra.illuminant(lighting.illuminant)
    bounced = power * spectra.plastic(lighting.walls)
    bounced /= bounced @ spectra.observer()[:, 1] / (power @ spectra.observer()[:, 1])
    transform, found = mi.ScalarTransform4f, {}
    for index, lamp in enumerate(lamps(lighting, view, placed_card)):
        found["key" if not index else f"key{index}"] = {
            "type": lamp.shape,
            "to_world": transform().look_at(origin=lamp.at.tolist(), target=[0, 0, 0], up=[0, 0, 1])
            @ transform().scale([*lamp.half, 1]),
            "emitter": {"type": "area", "sampling_weight": 3.0, "radiance": _spectrum(lamp.radiance)}}
    share = key_share(lighting)
    away = _stands(KEYS[lighting.key], lighting.azimuth_deg)
    rest = 1 - share
    height, half = 1900.0, 950.0
    # A square of side 2 half at `height`, above the tray: its form factor (as if centred).
    a = half / height
    factor = 4 / (2 * np.pi) * 2 * (a / np.hypot(1, a)) * np.arctan(a / np.hypot(1, a))
    found["ceiling"] = {
        "type": "rectangle",
        "to_world": transform().translate([*(away[:2] * 0.35), height]) @ transform().rotate([1, 0, 0], 180)
        @ transform().scale([half, half, 1]),
        "emitter": {"type": "area", "radiance": _spectrum(bounced * rest * 0.55 / factor),
                    "sampling_weight": 1.0}}
    found["walls"] = {"type": "constant", "radiance": _spectrum(bounced * rest * 0.45 / (1 - factor)),
                      "sampling_weight": 0.6}
    found.update(photographer(view, mi))
    return found


def _keys(lighting):
    return [(lighting.key, lighting.azimuth_deg), *([lighting.second] if lighting.second else [])]


def key_share(lighting):
    keys = _keys(lighting)
    return sum(KEYS[name].share for name, _ in keys) / len(keys)


def lamps(lighting, view, placed_card):
    """The keys as lamps, each looking at the tray's middle."""
    keys, share, found = _keys(lighting), key_share(lighting), []
    for illuminant, (name, azimuth) in zip(lighting.illuminant.split("+"), keys):
        key = KEYS[name]
        for turn in key.around:
            away = _mirrored(view, placed_card) if lighting.glare else _stands(key, azimuth + turn)
            reach = np.linalg.norm(away)
            area = 4 * key.half[0] * key.half[1] if key.shape == "rectangle" else np.pi * key.half[0] ** 2
            # The key faces the tray, so only the tray's own slope counts.
            radiance = share / len(keys) / len(key.around) * np.pi / (area * (away[2] / reach) / reach**2)
            found.append(Lamp(key.shape, key.half, away, spectra.illuminant(illuminant) * radiance))
    return found


def _stands(key, azimuth_deg):
    turn = np.radians(azimuth_deg)
    return np.array([np.cos(turn) * key.distance, np.sin(turn) * key.distance, key.height])


def _mirrored(view, placed_card, reach=850.0):
    """Where a light stands that the middle of the flat card mirrors into the lens."""
    middle = placed_card.corners().mean(axis=0)
    to_lens = (view.position - middle) / np.linalg.norm(view.position - middle)
    return middle + reach * to_lens * (-1, -1, 1)


def photographer(view, mi):
    """A phone just behind the lens and a head and shoulders below the picture: dark things."""
    dark = {"type": "diffuse", "reflectance": {"type": "uniform", "value": 0.06}}
    cloth = {"type": "diffuse", "reflectance": {"type": "uniform", "value": 0.22}}
    transform = mi.ScalarTransform4f
    behind = view.position - view.rotation[2] * 4
    phone = transform().look_at(origin=behind.tolist(),
                                target=(behind - view.rotation[2]).tolist(),
                                up=(-view.rotation[1]).tolist())
    body = view.position + np.array([0, -420, 60.0])
    return {
        "phone": {"type": "rectangle", "bsdf": {"type": "twosided", "inner": dark},
                  "to_world": phone @ transform().translate([0, -45, 0])
                  @ transform().scale([37, 74, 1])},
        "person": {"type": "sphere", "center": body.tolist(), "radius": 190.0, "bsdf": cloth},
    }
