"""Things among the pieces that fit no shape: they are to be told apart, not counted."""

from dataclasses import dataclass
from functools import cache

import numpy as np
import trimesh
from manifold3d import CrossSection, Manifold
from shapely.geometry import MultiPoint

from . import spectra
from .lights import _spectrum

KINDS = ("wheel", "curved", "disc", "crumb")
COLOURS = {"wheel": (24.0, 0.2, 0.4), "curved": (58.0, -33.0, -13.0), "crumb": (62.0, 9.0, 30.0)}


@dataclass
class Thing:
    what: str
    x: float
    y: float
    turn_deg: float
    variant: int = 0
    face: str = "up"

    def to_world(self, points):
        c, s = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        points = np.asarray(points, float)
        return np.stack([c * points[:, 0] - s * points[:, 1] + self.x,
                         s * points[:, 0] + c * points[:, 1] + self.y, points[:, 2]], axis=1)

    def solid(self):
        return _solid(self.what, self.variant)

    def outline(self):
        return self.to_world(self.solid().convex_hull.vertices)

    def footprint(self):
        return MultiPoint(self.outline()[:, :2]).convex_hull

    def silhouette(self, view):
        return MultiPoint(view.shadow_on_tray(self.outline())).convex_hull

    def coat(self):
        """Its surface, as a Mitsuba dictionary."""
        if self.what == "disc":
            return {"type": "roughconductor", "alpha": 0.16, "material": "none",
                    "specular_reflectance": {"type": "uniform", "value": 0.58}}
        body = _spectrum(spectra.plastic(COLOURS[self.what]))
        if self.what == "crumb":
            return {"type": "diffuse", "reflectance": body}
        return {"type": "roughplastic", "distribution": "ggx", "int_ior": 1.5,
                "alpha": 0.25 if self.what == "wheel" else 0.07, "diffuse_reflectance": body}


@cache
def _solid(what, variant):
    mesh = {"wheel": _wheel, "curved": _curved, "disc": _disc, "crumb": _crumb}[what](variant).to_mesh()
    return trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts, process=False)


def _wheel(variant):
    """A tyre lying on its side, treads around it, a hub with an axle hole."""
    radius, width = ((8.8, 8.0), (12.2, 10.0))[variant % 2]
    half = width / 2
    arc = np.linspace(-np.pi / 2, np.pi / 2, 13)
    edge = [(radius - 1.6 + 1.6 * np.cos(a), half + (half - 1.6) * np.sign(np.sin(a)) + 1.6 * np.sin(a))
            for a in arc]
    hole = radius * 0.58
    tyre = Manifold.revolve(CrossSection([np.array([(hole, 0.0), *edge, (hole, width)])]), 72)
    notch = Manifold.cube((1.2, 1.4, 2 * width), center=True).translate((radius, 0, 0))
    for turn in np.arange(0, 360, 15):
        tyre = tyre - notch.rotate((0, 0, float(turn)))
    hub = Manifold.cylinder(width - 2.0, hole + 0.01, circular_segments=48).translate((0, 0, 1.0))
    hub = hub - Manifold.cylinder(width, 2.4, circular_segments=32)
    return tyre + hub


def _curved(variant):
    """A quarter of a round wall, or an arch, with the heights of a brick."""
    if variant % 2:
        body = Manifold.cube((31.8, 7.8, 9.6), center=True).translate((0, 0, 4.8))
        bow = Manifold.cylinder(20, 8.0, circular_segments=64, center=True).rotate((90, 0, 0))
        arch = body - bow.scale((1.0, 1.0, 0.85))
        return arch.rotate((90, 0, 0)).translate((0, 4.8, 3.9))
    outer = Manifold.cylinder(9.6, 23.8, circular_segments=96)
    inner = Manifold.cylinder(30, 16.0, circular_segments=96, center=True)
    quarter = Manifold.cube((24, 24, 9.6))
    return ((outer - inner) ^ quarter).translate((-14, -14, 0))


def _disc(variant):
    """Coin-like: a metal disc with a raised edge."""
    radius = (9.5, 11.6)[variant % 2]
    outline = [(0, 0.1), (0, 1.4), (radius - 1.2, 1.4), (radius - 1.0, 1.7), (radius - 0.2, 1.7),
               (radius, 1.5), (radius, 0.2), (radius - 0.2, 0.0), (radius - 1.0, 0.0), (radius - 1.2, 0.1)]
    return Manifold.revolve(CrossSection([np.array(outline[::-1], float)]), 96)


def _crumb(variant):
    rng = np.random.default_rng([variant, 3])
    ball = rng.normal(size=(60, 3))
    ball /= np.linalg.norm(ball, axis=1, keepdims=True)
    ball *= rng.uniform(0.75, 1.1, (60, 1)) * rng.uniform(1.2, 2.4, 3)
    ball[:, 2] -= ball[:, 2].min()
    return Manifold.hull_points(ball)
