"""Sample photos as the network sees them, by the truth beside each."""

import json

import numpy as np
from PIL import Image
from scipy.ndimage import map_coordinates
from shapely import contains_xy
from shapely.geometry import Polygon

from . import colours, data, decode

FINE = 2            # samples of a view pixel along a side
CARD_MM = 4.0       # margin about the card
FAR_MM = 6.0        # from a piece's outline, for what is surely tray


class Photo:
    """A photo with its camera in the card's frame (x right, y down, z into the tray)."""

    def __init__(self, path):
        self.truth = json.loads(path.with_suffix(".json").read_text())
        self.image = np.asarray(Image.open(path).convert("RGB"))
        camera = self.truth["camera"]
        self.f, self.cx, self.cy, self.k1 = (camera[k] for k in ("f_px", "cx", "cy", "k1"))
        self.position, self.rotation = np.array(camera["position_mm"]), np.array(camera["rotation"])
        self.foot, self.height = self.position[:2], -self.position[2]

    def project(self, x, y):
        local = np.stack([x - self.position[0], y - self.position[1], np.full_like(x, self.height)], -1) @ self.rotation.T
        u, v = local[..., 0] / local[..., 2], local[..., 1] / local[..., 2]
        stretch = 1 + self.k1 * (u * u + v * v)
        return u * stretch * self.f + self.cx, v * stretch * self.f + self.cy

    def on_tray(self, pixels):
        bent = (np.asarray(pixels, float) - (self.cx, self.cy)) / self.f
        plane = bent.copy()
        for _ in range(8):
            plane = bent / (1 + self.k1 * (plane**2).sum(1, keepdims=True))
        ahead = np.concatenate([plane, np.ones((len(plane), 1))], 1) @ self.rotation
        return self.position[:2] + ahead[:, :2] * (self.height / ahead[:, 2:])

    def view(self):
        """Linear light on the tray plane at 0.5 mm, the places, and what is known of it."""
        high, wide = self.image.shape[:2]
        edge = np.linspace(0, 1, 9)
        border = np.concatenate([np.stack([edge * wide, 0 * edge], 1), np.stack([edge * wide, 0 * edge + high], 1),
                                 np.stack([0 * edge, edge * high], 1), np.stack([0 * edge + wide, edge * high], 1)])
        ground = self.on_tray(border)
        low, top = np.floor(ground.min(0)), np.ceil(ground.max(0))
        count = (np.ceil((top - low) / data.PIXEL / 16) * 16).astype(int)
        at = [low[k] + (np.arange(count[k]) + 0.5) * data.PIXEL for k in (0, 1)]
        x, y = np.meshgrid(*at)
        total = np.zeros((*x.shape, 3), np.float32)
        linear = colours.decode(np.arange(256) / 255).astype(np.float32)[self.image]
        step = (np.arange(FINE) + 0.5) / FINE * data.PIXEL - data.PIXEL / 2
        for dx in step:
            for dy in step:
                u, v = self.project(x + dx, y + dy)
                for c in range(3):
                    total[..., c] += map_coordinates(linear[..., c], [v - 0.5, u - 0.5], order=1, mode="nearest")
        u, v = self.project(x, y)
        known = (u > 1) & (u < wide - 1) & (v > 1) & (v < high - 1)
        card = Polygon(self.on_tray(self.truth["card"]["corners_px"])).buffer(CARD_MM)
        known &= ~contains_xy(card, x, y)
        return total / FINE**2, x, y, known

    def pieces(self):
        """Rows for `decode.compare`."""
        rows = []
        from . import poses

        known = [one for one in self.truth["pieces"] if one["form"] in poses.FORMS]
        for one in known:
            face, form, size = decode.index_of(one)
            kind = poses.kind(one["form"], tuple(map(int, one["size"].split("x"))))
            middle = np.array([one["x_mm"], one["y_mm"], -kind.height / 2])
            if "pose" in one:
                middle = np.array(one["pose"]["position_mm"]) + np.array(one["pose"]["rotation"]) @ (0, 0, kind.height / 2)
            seen = self.foot + (middle[:2] - self.foot) * self.height / (self.height + middle[2])
            rows.append([*seen, face, form, size, one["visible_px"] / max(one["whole_px"], 1), 0, _notch(one)])
        # To a network that was taught no such form, a piece is a stranger.
        others = [one for one in self.truth["pieces"] if one not in known]
        for one in others + self.truth.get("unknown", []):
            rows.append([one["x_mm"], one["y_mm"], 0, 0, 0, 1, 1, np.nan])
        return np.array(rows, float).reshape(-1, 8)

    def seen(self, kept=None):
        """Input of the network, middles of its cells; from the file `kept` where it is there."""
        if kept is not None and kept.exists():
            with np.load(kept) as given:
                return given["seen"].astype(np.float32), given["x"], given["y"]
        found = self._seen()
        if kept is not None:
            kept.parent.mkdir(parents=True, exist_ok=True)
            np.savez(kept, seen=found[0].astype(np.float16), x=found[1], y=found[2])
        return found

    def _seen(self):
        light, x, y, known = self.view()
        lab = colours.lab_of(colours.encode(light).astype(np.float32))
        ground = self._ground(lab, x, y, known)
        seen = data.channels(lab, ground, x, y, self.foot, self.height, known)
        return seen, x[::data.CELL, ::data.CELL], y[::data.CELL, ::data.CELL]

    def _ground(self, lab, x, y, known):
        """A polynomial through the Lab of what is tray, by least squares that forget what is off."""
        rows = self.pieces()
        thin = (slice(None, None, 8), slice(None, None, 8))
        px, py, free = x[thin].ravel(), y[thin].ravel(), known[thin].ravel()
        for row in rows:
            from . import poses

            long, short = poses.SIZES[int(row[4])][::-1]
            free &= np.hypot(px - row[0], py - row[1]) > 4 * np.hypot(long, short) + FAR_MM
        value, centre, span = lab[thin].reshape(-1, 3), (x.mean(), y.mean()), np.ptp(x) / 2

        def terms(a, b):
            a, b = (a - centre[0]) / span, (b - centre[1]) / span
            return np.stack([np.ones_like(a), a, b, a * a, a * b, b * b, a**3, a * a * b, a * b * b, b**3], -1)

        keep = free.copy()
        for _ in range(5):
            fit = np.linalg.lstsq(terms(px[keep], py[keep]), value[keep], rcond=None)[0]
            off = np.abs(value - terms(px, py) @ fit).max(1)
            keep = free & (off < max(2.5 * np.median(off[free]), 2.0))
        return (terms(x, y) @ fit).astype(np.float32)


def _notch(one):
    """The way from a corner's middle to the cell that it lacks, radians; see `poses.notch`. A
    truth's frame is right-handed, with z into the tray: y runs from x's left to its right."""
    if one["form"] != "corner":
        return np.nan
    if "pose" in one:
        way = np.array(one["pose"]["rotation"]) @ (1, 1, 0)
        return np.arctan2(way[1], way[0])
    return np.radians(one["turn_deg"] - 45)
