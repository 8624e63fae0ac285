"""A scene from above, quickly: one mesh of plastic with a colour per face, one key light or
two, ceiling and walls, and a phone that glossy tops mirror."""

from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import gaussian_filter

from .. import render as studio_render, surfaces
from ..meshes import as_mesh
from . import colours

PIXEL = 0.5             # mm
TRAY_HALF = 450.0       # half side of the tray
COLOURS = 64            # texels of the palette
DEPTH = 3               # path length: light, one bounce


@dataclass
class Setting:
    """What is drawn at random besides the pieces."""
    rng: np.random.Generator
    side: int                       # pixels of the square film
    foot: np.ndarray = None         # of the lens, mm from the film's middle
    height: float = 0.0
    tray_lab: np.ndarray = None
    alpha: float = 0.07             # of the plastic
    metal: float = 0.16
    lamps: list = field(default_factory=list)
    wide: bool = False              # of the wider worlds: other trays, lights, heights, sheen
    surface: str = ""               # of `surfaces`, or the first trays'

    def __post_init__(self):
        rng = self.rng
        self.height = rng.uniform(330, 800)
        reach = min(260.0, 0.62 * self.height)      # as far off as a phone's lens sees
        self.foot = rng.uniform(-reach, reach, 2)
        self.tray_lab = colours.tray(rng)
        self.alpha = float(np.exp(rng.uniform(np.log(0.03), np.log(0.16))))
        if self.wide:
            self._widen(rng)

    def _widen(self, rng):
        self.height = rng.uniform(240, 760)
        reach = min(280.0, 0.8 * self.height)       # further aside: the phone leans
        self.foot = rng.uniform(-reach, reach, 2)
        self.alpha = float(np.exp(rng.uniform(np.log(0.03), np.log(0.28))))
        if rng.random() < 0.75:
            self.surface = str(rng.choice(list(TRAYS), p=[0.10, 0.14, 0.16, 0.12, 0.08, 0.24, 0.16]))
            self.tray_lab = np.array(TRAYS[self.surface][rng.integers(len(TRAYS[self.surface]))]) + rng.normal(0, 1, 3) * (5, 2.5, 3.5)
            self.tray_lab[0] = np.clip(self.tray_lab[0], 9, 95)


# What trays of the wider worlds are near to in colour, by surface.
TRAYS = {
    "plain": [(91, 0, 3), (80, 0, 0), (60, 0, 0), (35, 0, -1)],
    "plastic": [(91, 0, 2), (44, -3, -10), (18, 0, 0), (80, -3, -5)],
    "felt": [(20, 0, -1), (34, -20, 8), (47, 0, 1), (14, 0, 0)],
    "cork": [(60, 11, 27)],
    "kraft": [(64, 8, 23)],
    "wood": [(76, 6, 28), (68, 10, 22), (52, 12, 24), (37, 10, 16)],
    "mat": [(36, -20, -6), (40, -26, 8), (22, 0, -2), (48, -2, -4)],
}


def variant():
    """Mitsuba in plain colours."""
    import os

    os.environ.setdefault("STUDIO_VARIANT", "llvm_ad_rgb")
    return studio_render.mitsuba()


def light(setting, mi):
    """Emitters as a Mitsuba dictionary, and their irradiance on the bare tray (a function of
    points x, y): about pi in the middle, in a tint."""
    rng, transform, found, sheets = setting.rng, mi.ScalarTransform4f, {}, []
    share = rng.uniform(0.55, 0.86)
    second = 0.0 if rng.random() < 0.7 else rng.uniform(0.2, 0.5)
    warm = rng.normal(0, 0.10)
    keys = [1 - second, second]
    low = setting.wide and rng.random() < 0.3        # hard light from aside
    if setting.wide and rng.random() < 0.15:         # spots
        keys = list(rng.dirichlet([4.0] * int(rng.integers(3, 5))))
    if setting.wide and rng.random() < 0.15:         # an overcast sky
        share = rng.uniform(0.25, 0.45)
    for n, part in enumerate(keys):
        half = float(np.exp(rng.uniform(np.log(12), np.log(620))))
        away, turn = rng.uniform(200, 1500), rng.uniform(0, 2 * np.pi)
        at = np.array([np.cos(turn) * away, np.sin(turn) * away, rng.uniform(550, 2000)])
        at[2] = max(at[2], 0.45 * away)
        if low and n == 0:
            half, at[2] = min(half, rng.uniform(15, 60)), rng.uniform(0.28, 0.5) * away + 60
            at[:2] *= max(1.0, 500 / away)
        elif len(keys) > 2:
            half = min(half, 45.0)
        reach = np.linalg.norm(at)
        radiance = share * part * np.pi / (4 * half * half * (at[2] / reach) / reach**2)
        tint = _tint(warm + rng.normal(0, 0.03)) * max(radiance, 1e-6)
        found[f"key{n}"], sheet = _sheet(at, np.zeros(3), half, tint, mi)
        sheets.append(sheet)
    rest, tint = 1 - share, _tint(rng.normal(0, 0.06))
    up = rng.uniform(0.25, 0.7)
    at = np.array([*rng.uniform(-500, 500, 2), 1900.0])
    found["ceiling"], sheet = _sheet(at, at * (1, 1, 0), 950.0, tint * rest * up / 0.28, mi)
    sheets.append(sheet)
    walls = tint * rest * (1 - up) / 0.72
    found["walls"] = {"type": "constant", "radiance": {"type": "rgb", "value": walls.tolist()}}
    eye = np.array([*setting.foot, setting.height])
    dark = {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.06}}}
    spin = rng.uniform(0, 360)
    found["phone"] = {
        "type": "rectangle", "bsdf": dark,
        "to_world": transform().translate((eye + (0, 0, 5)).tolist()) @ transform().rotate([0, 0, 1], spin)
        @ transform().translate([0, -45, 0]) @ transform().scale([37, 74, 1])}
    way = np.radians(spin) - np.pi / 2
    found["person"] = {"type": "sphere", "radius": 190.0,
                       "center": (eye + (420 * np.cos(way), 420 * np.sin(way), 60)).tolist(),
                       "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.22}}}

    def bare(x, y):
        total, blocked = 0.0, 0.0
        for points, normal, area, radiance in sheets:
            for point in points:
                dx, dy = point[0] - x, point[1] - y
                square = dx * dx + dy * dy + point[2] ** 2
                facing = np.maximum(-(normal[0] * dx + normal[1] * dy + normal[2] * point[2]), 0)
                form = area / len(points) * point[2] * facing / square**2
                total = total + form[..., None] * radiance
                blocked = blocked + form / np.pi
        return total / np.pi + walls * (1 - np.minimum(blocked, 0.9))[..., None]

    return found, bare


def _sheet(at, target, half, radiance, mi, grid=5):
    """A square light: for Mitsuba, and as points for sums."""
    ahead = (target - at) / np.linalg.norm(target - at)
    up = np.array([0.01, 1.0, 0.02])
    left = np.cross(up, ahead)
    left /= np.linalg.norm(left)
    up = np.cross(ahead, left)
    step = (np.arange(grid) + 0.5) / grid * 2 - 1
    points = [at + half * (u * left + v * up) for u in step for v in step]
    given = {"type": "rectangle",
             "to_world": mi.ScalarTransform4f().look_at(origin=at.tolist(), target=target.tolist(), up=[0.01, 1, 0.02])
             @ mi.ScalarTransform4f().scale([half, half, 1]),
             "emitter": {"type": "area", "radiance": {"type": "rgb", "value": np.asarray(radiance).tolist()}}}
    return given, (points, ahead, 4 * half * half, radiance)


def _tint(warm):
    return np.array([1 + warm, 1.0, 1 - 1.3 * warm])


def tray_picture(setting, rng):
    """Albedo of the tray: grain and blotches about its colour."""
    n = 640
    if setting.surface:
        side = 2 * TRAY_HALF / 3
        weight = surfaces.weight(setting.surface, int(rng.integers(2**31)), side, side / n)[..., None]
        light, dark = (setting.tray_lab + shift for shift in surfaces.SHADES[setting.surface])
        lab = (1 - weight) * light + weight * dark
        if rng.random() < 0.5:      # turned by a quarter, as seen
            lab = np.ascontiguousarray(lab.swapaxes(0, 1))
        return colours.linear(lab).astype(np.float32)
    if rng.random() < 0.06:
        weight = _boards(n, rng)
    else:
        grain = rng.uniform(0, 1.2)
        fine = gaussian_filter(rng.standard_normal((n, n)).astype(np.float32), rng.uniform(0.7, 1.6))
        broad = gaussian_filter(rng.standard_normal((n // 8, n // 8)).astype(np.float32), rng.uniform(1, 6))
        broad = gaussian_filter(np.kron(broad, np.ones((8, 8), np.float32)), 5)
        weight = grain * (0.17 * fine / fine.std() + 0.12 * broad / broad.std())
        weight[tuple(rng.integers(0, n, (2, int(rng.uniform(0, 60)))))] += 0.6
    lab = setting.tray_lab + weight[..., None] * (-5.0, 0.3, 0.6)
    return colours.linear(lab).astype(np.float32)


def _boards(n, rng):
    """Wood, less its mean: boards with rings."""
    y, x = np.mgrid[0:n, 0:n].astype(np.float32)
    bend = gaussian_filter(rng.standard_normal((n, n)).astype(np.float32), (4, 40))
    reach = np.hypot((y % 180) - 90 + rng.uniform(-80, 80), 0.06 * (x - n / 2)) + 6 * bend / bend.std()
    rings = 0.5 + 0.5 * np.sin(2 * np.pi * reach / rng.uniform(10, 26))
    weight = rng.uniform(0.8, 3.5) * (rings**2 - 0.4)
    weight[(y % 180) < 2] += 2
    return weight.astype(np.float32)


def world(setting, plastic, metal, mi, lamps, albedo):
    """A Mitsuba scene. `plastic`: vertices, faces, colours, colour's number of each vertex;
    `metal`: vertices and faces."""
    parts = {"type": "scene", **lamps}
    parts["tray"] = {
        "type": "rectangle", "to_world": mi.ScalarTransform4f().scale([TRAY_HALF, TRAY_HALF, 1]),
        "bsdf": {"type": "twosided", "inner": {"type": "diffuse", "reflectance": {
            "type": "bitmap", "raw": True, "bitmap": mi.Bitmap(albedo), "to_uv":
            mi.ScalarTransform4f().scale([3, 3, 1])}}}}
    coat = mi.load_dict({"type": "roughplastic", "distribution": "ggx", "int_ior": 1.54, "alpha": setting.alpha,
                         "diffuse_reflectance": {
                             "type": "bitmap", "raw": True, "filter_type": "nearest", "wrap_mode": "clamp",
                             "bitmap": mi.Bitmap(_palette(plastic[2]))}})
    parts["plastic"] = as_mesh(plastic[0], plastic[1], mi, coat, _places(plastic[3]))
    if metal is not None:
        parts["metal"] = as_mesh(metal[0], metal[1], mi, mi.load_dict(
            {"type": "roughconductor", "alpha": setting.metal, "material": "none",
             "specular_reflectance": {"type": "rgb", "value": 0.58}}))
    return mi.load_dict(parts)


def _palette(albedos):
    """One texel a colour, always as many, so that the compiled kernel stays the same."""
    row = np.full((2, COLOURS, 3), 0.5, np.float32)
    row[:, :len(albedos)] = albedos
    return row


def _places(number):
    """The texture's place of each vertex, by the number of its colour."""
    return np.stack([(np.asarray(number) + 0.5) / COLOURS, np.full(len(number), 0.5)], axis=1)


def picture(world_, setting, spp, seed, mi):
    """Linear light on a square film in the tray plane about its middle."""
    (x, y), span = setting.foot, setting.side * PIXEL
    sensor = mi.load_dict({
        "type": "perspective", "fov": float(2 * np.degrees(np.arctan(span / 2 / setting.height))),
        "principal_point_offset_x": float(-x / span), "principal_point_offset_y": float(-y / span),
        "to_world": mi.ScalarTransform4f().look_at(origin=[x, y, setting.height], target=[x, y, 0], up=[0, -1, 0])
        @ mi.ScalarTransform4f().scale([-1, 1, 1]),
        "film": {"type": "hdrfilm", "width": setting.side, "height": setting.side, "pixel_format": "rgb",
                 "rfilter": {"type": "box"}},
        "sampler": {"type": "independent", "sample_count": spp}})
    integrator = mi.load_dict({"type": "path", "max_depth": DEPTH, "rr_depth": 9})
    return np.array(mi.render(world_, sensor=sensor, integrator=integrator, spp=spp, seed=seed))


def hits(vertices, faces, setting, mi, fine=2):
    """The face that each of fine x fine places in a pixel shows, -1 for none."""
    scene = mi.load_dict({"type": "scene", "all": as_mesh(vertices, faces, mi, None)})
    side = setting.side * fine
    at = ((np.arange(side) + 0.5) - side / 2) * (PIXEL / fine)
    x, y = np.meshgrid(at, at)
    ahead = np.stack([x.ravel() - setting.foot[0], y.ravel() - setting.foot[1],
                      np.full(x.size, -setting.height)]).astype(np.float32)
    ahead /= np.linalg.norm(ahead, axis=0)
    eye = [np.full(x.size, v, np.float32) for v in (*setting.foot, setting.height)]
    found = scene.ray_intersect_preliminary(mi.Ray3f(mi.Point3f(*eye), mi.Vector3f(ahead)))
    face = np.where(np.array(found.is_valid()), np.array(found.prim_index).astype(np.int64), -1)
    return face.reshape(side, side), x, y


def peeled(vertices, faces, owner, setting, mi, most=10):
    """Layer by layer from the lens: for each pixel's middle whose face it is (by `owner`, 0 for
    nothing) and how high (mm)."""
    scene = mi.load_dict({"type": "scene", "all": as_mesh(vertices, faces, mi, None)})
    side = setting.side
    at = ((np.arange(side) + 0.5) - side / 2) * PIXEL
    x, y = np.meshgrid(at, at)
    ahead = np.stack([x.ravel() - setting.foot[0], y.ravel() - setting.foot[1], np.full(x.size, -setting.height)])
    ahead /= np.linalg.norm(ahead, axis=0)
    start, found = np.zeros(x.size), []
    for _ in range(most):
        from_ = np.array([*setting.foot, setting.height])[:, None] + ahead * start
        hit = scene.ray_intersect_preliminary(mi.Ray3f(mi.Point3f(from_.astype(np.float32)), mi.Vector3f(ahead.astype(np.float32))))
        valid = np.array(hit.is_valid()) & np.isfinite(start)
        start = np.where(valid, start + np.array(hit.t) + 0.02, np.inf)
        face = np.where(valid, np.array(hit.prim_index).astype(np.int64), -1)
        height = np.where(valid, setting.height + ahead[2] * np.where(valid, start, 0), 0)
        found.append((owner[face].reshape(side, side), height.reshape(side, side)))
        if not valid.any():
            break
        start = np.where(valid, start, 1e6)
    return found


def tray_at(albedo, x, y):
    """The tray's albedo at points, as its texture lies."""
    n = len(albedo)
    u, v = ((x / TRAY_HALF + 1) / 2 * 3) % 1, ((y / TRAY_HALF + 1) / 2 * 3) % 1
    return albedo[np.minimum((v * n).astype(int), n - 1), np.minimum((u * n).astype(int), n - 1)]
