"""The camera as a geometer sees it: world millimetres <-> pixels of the upright photo."""

from dataclasses import dataclass

import numpy as np

FULL_FRAME_DIAGONAL = 43.267   # mm, of 36 x 24


@dataclass
class View:
    """u = f x (1 + k1 r²) + cx with x = X/Z, r² = x² + y², in a frame x right, y down, z ahead."""
    f_px: float
    cx: float
    cy: float
    k1: float
    width: int
    height: int
    position: np.ndarray   # world mm
    rotation: np.ndarray   # 3 x 3, rows: the camera's axes in the world

    def project(self, points):
        """World points (n x 3) to pixels (n x 2)."""
        local = (np.asarray(points, float) - self.position) @ self.rotation.T
        plane = local[:, :2] / local[:, 2:]
        stretch = 1 + self.k1 * (plane**2).sum(axis=1, keepdims=True)
        return plane * stretch * self.f_px + (self.cx, self.cy)

    def rays(self, pixels):
        """Unit directions in the world through pixels (n x 2)."""
        bent = (np.asarray(pixels, float) - (self.cx, self.cy)) / self.f_px
        plane = bent.copy()
        for _ in range(8):
            plane = bent / (1 + self.k1 * (plane**2).sum(axis=1, keepdims=True))
        local = np.concatenate([plane, np.ones((len(plane), 1))], axis=1)
        world = local @ self.rotation
        return world / np.linalg.norm(world, axis=1, keepdims=True)

    def on_tray(self, pixels):
        """Where rays through pixels meet z = 0 (n x 2, world mm)."""
        ahead = self.rays(pixels)
        return self.position[:2] + ahead[:, :2] * (-self.position[2] / ahead[:, 2:])

    def shadow_on_tray(self, points):
        """World points seen from the camera, carried on to z = 0: silhouettes in mm."""
        points = np.asarray(points, float)
        scale = self.position[2] / (self.position[2] - points[:, 2:])
        return self.position[:2] + (points[:, :2] - self.position[:2]) * scale

    def inside(self, pixels, margin):
        """All pixels at least `margin` from the border."""
        low, high = pixels.min(axis=0), pixels.max(axis=0)
        return bool((low >= margin).all() and (high <= (self.width - margin, self.height - margin)).all())


def held_over_tray(width, height, focal_35mm, distance, tilt_deg, azimuth_deg, roll_deg, rng, aim=(0.0, 0.0)):
    """A phone held over a point of the tray, the origin where not told: tilted towards an
    azimuth, rolled, a little off centre."""
    f_px = focal_35mm / FULL_FRAME_DIAGONAL * np.hypot(width, height)
    tilt, azimuth, roll = np.radians([tilt_deg, azimuth_deg, roll_deg])
    position = distance * np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth),
                                    np.cos(tilt)])
    ahead = -position / np.linalg.norm(position)
    position = position + (*aim, 0.0)
    up = np.array([np.sin(roll), np.cos(roll), 0.0])
    right = np.cross(ahead, up)
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    off = rng.uniform(-0.008, 0.008, 2) * width
    k1 = rng.uniform(-0.018, 0.012)
    return View(f_px, width / 2 + off[0], height / 2 + off[1], k1, width, height, position, rotation)
