"""Light into camera raw, and rays that tell which piece a pixel shows.

The raw picture is a path-traced integral over pixel, wavelength and light. Wavelengths
are drawn by what the sensor could see of this light, four to a path, evenly spread, so
that little noise of colour is left. All passes share one compiled kernel.
"""

import os
from pathlib import Path

import numpy as np

from . import spectra
from .meshes import as_mesh
from .scene import build

LENS_BLUR_PX = 0.42      # standard deviation of the lens and depth blur, on top of the pixel
_TABLE = 2048


def mitsuba():
    """Mitsuba's vectorised spectral variant, with the newest LLVM that is installed."""
    if "DRJIT_LIBLLVM_PATH" not in os.environ:
        found = sorted(Path("/usr/lib").glob("*/libLLVM*.so*"), key=lambda p: _version(p.name))
        if found:
            os.environ["DRJIT_LIBLLVM_PATH"] = str(found[-1])
    import mitsuba as mi
    if mi.variant() is None:
        mi.set_variant(os.environ.get("STUDIO_VARIANT", "llvm_ad_spectral"))
    return mi


def _version(name):
    digits = "".join(c if c.isdigit() else " " for c in name).split()
    return float(digits[0]) if digits else 0.0


def raw_picture(scene, sensitivities, spp):
    """Camera raw (height x width x 3, float32) of a scene, path noise removed; a white
    diffuser under the key light gives about what `white_raw` says."""
    mi = mitsuba()
    world = mi.load_dict(build(scene, mi))
    sensor = _Sensor(scene, sensitivities, mi)
    integrator = mi.load_dict({"type": "path", "max_depth": scene.recipe.depth})

    def light(ray):
        return [integrator.sample(world, sensor.sampler, ray)[0]], []

    def surface(ray):
        hit = world.ray_intersect(ray)
        albedo = hit.bsdf().eval_diffuse_reflectance(hit)
        return [albedo], list(hit.sh_frame.n)

    (albedo,), normal = sensor.expose(surface, max(24, spp // 2))
    (raw,), _ = sensor.expose(light, spp)
    white = white_raw(scene.recipe.lighting.illuminant, sensitivities).astype(np.float32)
    flat = np.clip(albedo / sensitivities.sum(axis=0), 0, 1)
    normal = np.stack(normal, 2)
    take_out = smoothed if mi.variant().startswith("cuda") else denoise
    return take_out(raw / white, flat, normal) * white


def smoothed(colour, albedo, normal, rounds=3, keep=3.0):
    """Path noise out where no denoiser is at hand: edge-avoiding wavelets guided by what the surfaces are (Dammertz and
    others, 2010), on the light alone, so that no texture goes. An edge in the light stays where it is `keep` times the noise."""
    from scipy.ndimage import median_filter

    albedo = albedo + np.float32(0.02)
    light = (colour / albedo).astype(np.float32)
    sigma = None
    for level in range(rounds):
        brightness = np.log(light.mean(2) + 1e-4)
        if sigma is None:
            sigma = 1.4826 * np.median(np.abs(brightness - median_filter(brightness, 3)))
        guides = np.dstack([brightness / max(keep * sigma, 1e-3), normal / 0.25, albedo / 0.04]).astype(np.float32)
        total, weight = np.zeros_like(light), np.zeros(light.shape[:2], np.float32)
        for dy, ky in zip((-2, -1, 0, 1, 2), (1, 4, 6, 4, 1)):
            for dx, kx in zip((-2, -1, 0, 1, 2), (1, 4, 6, 4, 1)):
                here, there = _shifted(light.shape, dy << level, dx << level)
                far = guides[there] - guides[here]
                w = np.float32(ky * kx / 256) * np.exp(-np.einsum("ijk,ijk->ij", far, far))
                total[here] += w[..., None] * light[there]
                weight[here] += w
        light, sigma = total / weight[..., None], sigma / 2
    return light * albedo


def _shifted(shape, dy, dx):
    """Slices of a picture's places and of those so many rows and columns on."""
    along = lambda n, d: (slice(max(0, -d), n - max(0, d)), slice(max(0, d), n - max(0, -d)))  # noqa: E731
    rows, columns = along(shape[0], dy), along(shape[1], dx)
    return (rows[0], columns[0]), (rows[1], columns[1])


def denoise(colour, albedo, normal):
    """Path noise out, edges and texture kept by what the surfaces are."""
    import pyoidn

    ready = [np.ascontiguousarray(picture, np.float32) for picture in (colour, albedo, normal)]
    return pyoidn.denoise(ready[0], albedo=ready[1], normal=ready[2], hdr=True)


class _Sensor:
    """Draws rays through pixels and wavelengths, and sums what they bring into raw."""

    def __init__(self, scene, sensitivities, mi):
        import drjit as dr

        self.mi, self.dr, self.view = mi, dr, scene.view
        self.count = self.view.width * self.view.height
        table, weights = _wavelengths(scene.recipe.lighting.illuminant, sensitivities)
        self.table = mi.Float(table)
        self.weights = [mi.Float(weights[:, channel]) for channel in range(3)]
        index = dr.arange(mi.UInt32, self.count)
        self.column = mi.Float(index % self.view.width)
        self.row = mi.Float(index // self.view.width)
        self.sampler = mi.load_dict({"type": "independent"})
        self.sampler.seed(scene.recipe.seed, self.count)
        self.start = self.sampler.next_1d()
        phone = scene.recipe.phone
        self.pupil = phone.pupil_mm / 2 if phone else 0.0
        if self.pupil:      # how far off the plane in focus is, along the lens's axis
            axis, from_height = self.view.rotation[2], self.view.position[2] - phone.focus_mm
            self.focus = float(from_height / -axis[2])
        dr.eval(self.start, self.column, self.row)

    def expose(self, follow, passes):
        """Means over passes of `follow(ray)`: its spectra as raw pictures, its plain values."""
        dr, mi = self.dr, self.mi
        spectra_sums = plain_sums = None
        for number in range(passes):
            places = self._places(number)
            seen = [[self._look_up(self.weights[c], place) * 0.25 for place in places]
                    for c in range(3)]
            found, plain = follow(self._ray(places))
            raw = [[sum(spectrum[k] * seen[c][k] for k in range(4)) for c in range(3)]
                   for spectrum in found]
            if number:
                raw = [[old + new for old, new in zip(*pair)] for pair in zip(spectra_sums, raw)]
                plain = [old + new for old, new in zip(plain_sums, plain)]
            spectra_sums, plain_sums = raw, [mi.Float(value) for value in plain]
            self.sampler.schedule_state()
            dr.eval(spectra_sums, plain_sums)
        picture = lambda v: np.array(v).reshape(self.view.height, self.view.width) / passes  # noqa: E731
        return ([np.stack([picture(v) for v in raw], 2).astype(np.float32) for raw in spectra_sums],
                [picture(value) for value in plain_sums])

    def _places(self, number):
        """Four places in the wavelength table, evenly spread and moving on from pass to pass."""
        shift = self.dr.opaque(self.mi.Float, (number * 0.61803398875) % 1.0)
        start = self.start + shift
        start -= self.dr.floor(start)
        return [(start * 0.25 + 0.25 * k) * (_TABLE - 1) for k in range(4)]

    def _ray(self, places):
        mi = self.mi
        jitter = self.sampler.next_2d()
        blur = mi.warp.square_to_std_normal(self.sampler.next_2d()) * LENS_BLUR_PX
        ahead = _directions(self.view, self.column + jitter.x + blur.x,
                            self.row + jitter.y + blur.y, mi, self.dr)
        wavelengths = mi.Spectrum(*[self._look_up(self.table, place) for place in places])
        eye = mi.Point3f(*map(float, self.view.position))
        if self.pupil:
            eye, ahead = self._through_lens(eye, ahead)
        return mi.RayDifferential3f(mi.Ray3f(eye, ahead, 0.0, wavelengths))

    def _through_lens(self, eye, ahead):
        """A ray from somewhere on the lens's opening, to the same place in the plane of focus."""
        mi, dr = self.mi, self.dr
        right, down, axis = (mi.Vector3f(*map(float, line)) for line in self.view.rotation)
        sharp = eye + ahead * (self.focus / dr.dot(ahead, axis))
        spot = mi.warp.square_to_uniform_disk_concentric(self.sampler.next_2d()) * self.pupil
        eye = eye + right * spot.x + down * spot.y
        return eye, dr.normalize(sharp - eye)

    def _look_up(self, table, place):
        mi, dr = self.mi, self.dr
        low = dr.minimum(mi.UInt32(place), _TABLE - 2)
        part = place - mi.Float(low)
        return dr.gather(mi.Float, table, low) * (1 - part) + dr.gather(mi.Float, table, low + 1) * part


def white_raw(illuminant, sensitivities):
    """Raw of a perfect white diffuser under this light."""
    return (spectra.illuminant(illuminant)[:, None] * sensitivities).sum(axis=0)


def _wavelengths(illuminant, sensitivities):
    """Inverse cumulative table of wavelengths, and each channel's weight at each entry."""
    nm = np.linspace(385, 735, 1401)
    light = np.interp(nm, spectra.NM, spectra.illuminant(illuminant))
    seen = np.stack([np.interp(nm, spectra.NM, sensitivities[:, c]) for c in range(3)], axis=1)
    scale = seen / seen.max(axis=0)
    density = light * scale.sum(axis=1) + 0.03 * (light * scale.sum(axis=1)).mean()
    total = np.concatenate([[0], np.cumsum((density[1:] + density[:-1]) / 2)])
    places = np.interp(np.linspace(0, 1, _TABLE), total / total[-1], nm)
    density = density / (total[-1] * (nm[1] - nm[0]))
    step = spectra.NM[1] - spectra.NM[0]    # sums over the grid, as white_raw has them
    table = np.stack([np.interp(places, nm, seen[:, c] / density) / step for c in range(3)], axis=1)
    return places, table


def _directions(view, u, v, mi, dr):
    """Unit rays through pixels, through the lens's distortion (as View.rays)."""
    bx, by = (u - view.cx) / view.f_px, (v - view.cy) / view.f_px
    x, y = bx, by
    for _ in range(5):
        stretch = 1 + view.k1 * (x * x + y * y)
        x, y = bx / stretch, by / stretch
    r = [[float(value) for value in line] for line in view.rotation]
    return dr.normalize(mi.Vector3f(*(r[0][i] * x + r[1][i] * y + r[2][i] for i in range(3))))


def piece_pictures(scene, hidden_by=None):
    """Which piece each pixel's centre shows (0 none, 1 the first), and for each piece the
    number of pixels it would show if it were alone and the picture went on. Into the list
    `hidden_by` goes for each which others hide how many of its pixels."""
    view = scene.view
    ids = np.zeros((view.height, view.width), np.uint16)
    if not scene.solids():
        return ids, []
    every = np.indices(ids.shape)
    rims = [scene.recipe.tray.rim(scene.floor)] if scene.recipe.tray.inside_mm else []
    ids[:] = _hit(scene.solids(), view, every[1].ravel(), every[0].ravel(), rims).reshape(ids.shape)
    whole = []
    for number, piece in enumerate(scene.solids(), 1):
        pixels = view.project(piece.outline())
        low, high = np.floor(pixels.min(axis=0)).astype(int) - 2, np.ceil(pixels.max(axis=0)).astype(int) + 2
        rows, columns = np.mgrid[low[1]:high[1], low[0]:high[0]]
        alone = _hit([piece], view, columns.ravel(), rows.ravel()) > 0
        whole.append(int(alone.sum()))
        if hidden_by is not None:
            rows, columns = rows.ravel()[alone], columns.ravel()[alone]
            inside = (rows >= 0) & (columns >= 0) & (rows < view.height) & (columns < view.width)
            owner, count = np.unique(ids[rows[inside], columns[inside]], return_counts=True)
            hidden_by.append({int(o): int(n) for o, n in zip(owner, count) if o not in (0, number)})
    return ids, whole


def _hit(pieces, view, columns, rows, rims=()):
    """1 + the index of the piece that each pixel's centre sees, 0 for none, or for one of `rims`."""
    mi = mitsuba()
    solids = [piece.solid() for piece in pieces] + list(rims)
    starts = np.cumsum([0] + [len(s.vertices) for s in solids])
    ends = np.cumsum([len(s.faces) for s in solids])
    vertices = np.concatenate([p.to_world(s.vertices) for p, s in zip(pieces, solids)]
                              + [rim.vertices for rim in rims])
    faces = np.concatenate([s.faces + start for s, start in zip(solids, starts)])
    world = mi.load_dict({"type": "scene", "all": as_mesh(vertices, faces, mi, None)})
    ahead = view.rays(np.stack([columns + 0.5, rows + 0.5], axis=1)).T.astype(np.float32)
    ray = mi.Ray3f(mi.Point3f(*map(float, view.position)), mi.Vector3f(ahead))
    found = world.ray_intersect_preliminary(ray)
    owner = np.searchsorted(ends, np.array(found.prim_index), side="right") + 1
    shown = np.array(found.is_valid()) & (owner <= len(pieces))
    return np.where(shown, owner, 0).astype(np.uint16)
