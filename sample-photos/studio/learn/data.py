"""Training scenes into crops, many at once and where the network is taught: what a phone does
to a picture, the channels that the network sees, and what it is to say at each cell."""

from pathlib import Path

import numpy as np
import torch
from torch.nn import functional as F

from . import colours, poses
from .net import HEIGHT_MM, VOTE_MM

PIXEL, CELL = 0.5, 4        # mm; pixels from one cell to the next
GROUND = 12                 # places of the bare tray along a crop
SIDES_MM = 16.0
PIECES = 160                # at most, in a scene
HEIGHT_STEP_MM = 0.25       # of a scene's heights
_SIZES = torch.tensor(poses.SIZES, dtype=torch.float32)

# Columns of a scene's table; see `make`.
X, Y, LONG, SHORT, TURN, SQUARE, FACE, FORM, SIZE, SHARE, STRANGER, NOTCH_X, NOTCH_Y = range(13)
_TILE, _CORNER = poses.FORMS.index("tile"), poses.FORMS.index("corner")


def channels(lab, ground, x, y, foot, height, known=None):
    """The six channels of the contract from pictures whose last axis is colour; `known` is
    False outside the photo and on the card."""
    difference = np.clip((lab - ground) / 25, -4, 4)
    light = (ground[..., :1] - 60) / 30
    lean = np.stack([(x - foot[0]) / height, (y - foot[1]) / height], -1)
    seen = np.concatenate([difference, light], -1)
    if known is not None:
        seen = np.where(known[..., None], seen, 0)
    return np.ascontiguousarray(np.concatenate([seen, lean], -1).transpose(2, 0, 1).astype(np.float32))


def files(folder, every=25, held=False, share=(0, 1)):
    """Scenes to learn from, or those held out; of them one of so many shares. Both pictures of one fall
    go the same way."""
    number = lambda path: int(path.stem[4:9])  # noqa: E731
    part, parts = share
    return [p for p in sorted(Path(folder).glob("*.npz"))
            if (number(p) % every == every - 1) == held and number(p) % parts == part]


def load(path):
    with np.load(path) as given:
        return {name: given[name] for name in given.files}


class Scenes:
    """Scenes in the memory of one device, side by side."""

    def __init__(self, device="cpu"):
        self.device, self.names, self.parts = device, set(), None

    def __len__(self):
        return len(self.parts["ids"]) if self.parts else 0

    def add(self, packed):
        """What `packed` gave of some scenes."""
        names, parts = packed
        self.names.update(names)
        if not parts:
            return  # `packed` left all of them out
        parts = {name: part.to(self.device) for name, part in parts.items()}
        self.parts = parts if self.parts is None else {
            name: torch.cat([part, parts[name]]) for name, part in self.parts.items()}

    def of(self, pick):
        return {name: part[pick] for name, part in self.parts.items()}

    def some(self, count):
        return self.of(torch.multinomial(self.parts["chance"], count, replacement=True))


def packed(paths):
    """The names of these scenes, and all that they hold, stacked. A scene with too many
    pieces is left out, and one whose lens was covered."""
    rows = {}
    for path in paths:
        scene = load(path)
        table, ids = scene["table"], scene["ids"].astype(np.int64)
        if len(table) > PIECES or scene["image"].mean() < 2:
            continue
        count = np.bincount(ids.ravel(), minlength=PIECES + 1)
        light = colours.decode(scene["image"] / 255).reshape(-1, 3)
        mean = np.stack([np.bincount(ids.ravel(), light[:, c], PIECES + 1) for c in range(3)], 1)
        one = {
            "image": scene["image"].transpose(2, 0, 1), "ids": ids.astype(np.uint8), "bare": scene["bare"].transpose(2, 0, 1),
            # Row 0 is the tray's.
            "table": np.concatenate([np.zeros((1, 13)), table, np.zeros((PIECES - len(table), 13))]).astype(np.float32),
            "whole": count.astype(np.float32), "mean": (mean / np.maximum(count, 1)[:, None]).astype(np.float32),
            "foot": scene["foot"].astype(np.float32), "height": np.float32(scene["height"]), "heights": scene["heights"],
            # Where forms are mixed, they cannot be guessed from the scene.
            "chance": np.float32(max(1, len({form for form in table[:, FORM] if form <= _TILE})))}
        for name, value in one.items():
            rows.setdefault(name, []).append(torch.from_numpy(np.array(value)))
    return [path.name for path in paths], {name: torch.stack(values) for name, values in rows.items()}


def crops(one, side):
    """Input, target classes, target numbers and weights of one random crop of each of these
    scenes, as a phone might have taken it."""
    count, full, device = *one["ids"].shape[:2], one["ids"].device
    turn, zoom, middle = _views(count, side, full, device)
    light, ids, heights, bare = _cut_out(one, side, turn, zoom, middle)
    x, y, _, _ = _places(side, device)
    light = _recoloured(light, ids, one["mean"], one["whole"], bare)
    light, hidden = _beyond_the_brim(light, bare, x, y)
    known = _known(count, x, y)
    light = _shaded(light, x, y)
    ids = torch.where(known & ~hidden, ids, 0)
    lab, ground = photographed(light, bare)
    return _answers(one, lab, ground, ids, heights, known, side, turn, zoom, middle)


def whole(one):
    """These scenes as they are, as `crops` would give them."""
    count, side, device = *one["ids"].shape[:2], one["ids"].device
    turn = torch.eye(2, device=device).repeat(count, 1, 1)
    zoom, middle = torch.ones(count, device=device), torch.zeros(count, 2, device=device)
    light, ids, heights, bare = _cut_out(one, side, turn, zoom, middle)
    lab, ground = _lab(_encoded(light)), _wide(_lab(_encoded(bare)), side)
    return _answers(one, lab, ground, ids, heights, torch.ones_like(ids, dtype=torch.bool), side, turn, zoom, middle)


def _uniform(low, high, *shape, device):
    return low + (high - low) * torch.rand(*shape, device=device)


def _normal(sigma, *shape, device):
    return sigma * torch.randn(*shape, device=device)


def _either(chance, count, device):
    """True for this share of the crops."""
    return torch.rand(count, device=device) < chance


def _pictures(value):
    """One number per crop, to go with pictures."""
    return value.view(-1, 1, 1, 1)


def _places(side, device):
    """Middles of the pixels, and of those that cells stand on, mm from the crop's middle."""
    at = (torch.arange(side, device=device) + 0.5 - side / 2) * PIXEL
    y, x = torch.meshgrid(at, at, indexing="ij")
    return x, y, x[::CELL, ::CELL], y[::CELL, ::CELL]


def _views(count, side, full, device):
    """Where in its scene each crop lies: a rotation that may mirror (a piece is its own mirror
    image), the scale of the crop, and its middle. Some lie on the scene's own pixels."""
    even = _either(0.4, count, device)
    quarter = torch.randint(4, (count,), device=device) * (torch.pi / 2)
    angle = torch.where(even, quarter, _uniform(0, 2 * torch.pi, count, device=device))
    mirror = torch.where(_either(0.5, count, device), -1.0, 1.0)
    cos, sin = angle.cos(), angle.sin()
    cos, sin = (torch.where(even, part.round(), part) for part in (cos, sin))
    turn = torch.stack([torch.stack([cos * mirror, -sin], -1), torch.stack([sin * mirror, cos], -1)], 1)
    zoom = torch.where(even, 1.0, _normal(0.02, count, device=device).clamp(-0.05, 0.05).exp())
    reach = PIXEL / 2 * (full - side * (cos.abs() + sin.abs()) / zoom)
    middle = _uniform(-1, 1, count, 2, device=device) * reach.clamp(min=0)[:, None]
    middle = torch.where(even[:, None], (middle / PIXEL).round() * PIXEL, middle)
    return turn, zoom, middle


def _cut_out(one, side, turn, zoom, middle):
    """Linear light, piece of each pixel and how high it lies (mm), and bare tray at GROUND x GROUND places."""
    full = one["ids"].shape[-1]
    step = torch.cat([turn * (side / full / zoom)[:, None, None], (middle / (full * PIXEL / 2))[:, :, None]], 2)
    grid = F.affine_grid(step, [len(turn), 1, side, side], align_corners=False)
    bare = F.grid_sample(one["bare"], F.affine_grid(step, [len(turn), 1, GROUND, GROUND], align_corners=False),
                         padding_mode="border", align_corners=False)
    light = F.grid_sample(_decoded(one["image"].float() / 255), grid, padding_mode="border", align_corners=False)
    ids, heights = (F.grid_sample(one[name].float()[:, None], grid, "nearest", "border", align_corners=False)[:, 0]
                    for name in ("ids", "heights"))
    return light, ids.long(), heights * HEIGHT_STEP_MM, bare


def _recoloured(light, ids, mean, whole, bare):
    """Pieces of one colour get another: any, the tray's, nearly black or nearly white. Which
    are of one colour is guessed from what they look like, or each piece goes its own way."""
    count, pieces, device = len(light), mean.shape[1], light.device
    groups = 8
    there = (whole > 0).float()
    there[:, 0] = 0
    there[:, 1] += 1e-6
    heads = torch.multinomial(there, groups, replacement=True)[..., None].expand(-1, -1, 3)
    shade = mean.clamp(min=1e-3).pow(1 / 3)
    far = torch.cdist(shade, shade.gather(1, heads))
    used = torch.randint(1, groups + 1, (count, 1, 1), device=device)
    far = far.masked_fill(torch.arange(groups, device=device) >= used, torch.inf)
    group = torch.where(_either(0.2, count, device)[:, None], torch.arange(pieces, device=device) % groups, far.argmin(2))
    before = mean.gather(1, heads).clamp(min=0.015)     # of each group
    tray = bare.mean((2, 3))[:, None]
    drawn = lambda sigma, tint: (_normal(sigma, count, groups, 1, device=device)  # noqa: E731
                                 + _normal(tint, count, groups, 3, device=device)).exp()
    ways = torch.stack([
        torch.ones_like(before), drawn(0.35, 0.25), tray * drawn(0.2, 0.06) / before,
        0.03 * drawn(0.5, 0.08) / before, 0.8 * drawn(0.1, 0.03) / before,
        _uniform(0.02, 0.8, count, groups, 3, device=device) / before])
    way = torch.multinomial(torch.tensor([0.35, 0.27, 0.14, 0.10, 0.06, 0.08], device=device), count * groups, replacement=True)
    factor = ways.gather(0, way.view(1, count, groups, 1).expand(1, -1, -1, 3))[0].clamp(0.12, 6)
    factor = torch.where(_either(0.4, count, device).view(-1, 1, 1), factor.gather(1, group[..., None].expand(-1, -1, 3)), 1.0)
    factor[:, 0] = 1
    each = factor.gather(1, ids.flatten(1)[..., None].expand(-1, -1, 3))
    return (light * each.transpose(1, 2).view_as(light)).clamp(0, 1.2)


def _border(count, x, y, low, high):
    """How far each pixel lies beyond a straight line across the crop, mm."""
    turn = _uniform(0, 2 * torch.pi, count, 1, 1, device=x.device)
    return x * turn.cos() + y * turn.sin() - _uniform(low, high, count, 1, 1, device=x.device) * (2 * x.max())


def _beyond_the_brim(light, bare, x, y):
    """The tray's rim and the table behind it along a side of some crops, and where: all that
    is there is to be taken for bare."""
    count, device = len(light), light.device
    far = _border(count, x, y, 0.0, 0.45)[:, None]
    first = _uniform(-3, 14, count, 1, 1, 1, device=device).clamp(min=0)
    second = first + _uniform(-3, 14, count, 1, 1, 1, device=device).clamp(min=0)
    level = bare.mean((2, 3))[:, :, None, None]
    band = lambda sigma, tint: level * (_normal(sigma, count, 1, 1, 1, device=device)  # noqa: E731
                                        + _normal(tint, count, 3, 1, 1, device=device)).exp()
    slope = (_normal(0.03, count, 1, 1, 1, device=device) * far).clamp(-0.5, 0.5).exp()
    rim = torch.where(far < first, band(0.3, 0.02), band(0.4, 0.02)) * slope
    wave = _uniform(0, 1.2, count, 1, 1, 1, device=device) * x + _uniform(-1.2, 1.2, count, 1, 1, 1, device=device) * y
    table = band(0.8, 0.4) * (_normal(0.12, count, 1, 1, 1, device=device) * wave.sin()
                              + _normal(0.04, count, 1, *x.shape, device=device)).exp()
    beyond = (far > 0) & _pictures(_either(0.12, count, device))
    return torch.where(beyond, torch.where(far < second, rim, table).clamp(0, 1), light), beyond[:, 0]


def _known(count, x, y):
    """False behind a straight border of some crops, or in a corner: outside the photo, or the card."""
    border, other = _border(count, x, y, 0.1, 0.45) > 0, _border(count, x, y, -0.2, 0.3) > 0
    corner = _either(0.5, count, x.device).view(-1, 1, 1)
    return ~(border & (other | ~corner) & _either(0.15, count, x.device).view(-1, 1, 1))


def _shaded(light, x, y):
    """Soft unevenness of light, and the shadow of something large, that no one knows of."""
    count, device = len(light), light.device
    broad = F.interpolate(_normal(1.0, count, 1, 4, 4, device=device), light.shape[2:], mode="bicubic", align_corners=False)
    broad = broad * _pictures(_uniform(0, 0.08, count, device=device) * _either(0.4, count, device))
    edge = torch.sigmoid(_border(count, x, y, -0.3, 0.3)[:, None] / _pictures(_uniform(1.0, 20, count, device=device)))
    deep = _pictures(_uniform(0.05, 0.5, count, device=device) * _either(0.12, count, device))
    return light * broad.exp() * (1 - deep * edge)


def _decoded(value):
    return torch.where(value <= 0.04045, value / 12.92, ((value.clamp(min=0) + 0.055) / 1.055) ** 2.4)


def _encoded(light):
    light = light.clamp(0, 1)
    return torch.where(light <= 0.0031308, 12.92 * light, 1.055 * light.clamp(min=1e-6) ** (1 / 2.4) - 0.055)


_XYZ = torch.tensor([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
_XYZ = _XYZ / torch.tensor([[0.95047], [1.0], [1.08883]])       # of D65's white


def _mixed(picture, matrix):
    """Channels mixed, by one matrix or one per crop."""
    return (matrix @ picture.flatten(2)).view(picture.shape)


def _lab(value):
    xyz = _mixed(_decoded(value), _XYZ.to(value.device))
    f = torch.where(xyz > (6 / 29) ** 3, xyz.clamp(min=1e-9) ** (1 / 3), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return torch.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], 1)


def _wide(coarse, side):
    return F.interpolate(coarse, (side, side), mode="bilinear", align_corners=False)


def _soft(picture, sigma, reach=4):
    """A Gaussian blur, of each crop its own (pixels)."""
    count, planes, rows, columns = picture.shape
    at = torch.arange(-reach, reach + 1, device=picture.device)
    weight = torch.exp(-0.5 * (at / sigma.view(-1, 1).clamp(min=0.05)) ** 2)
    weight = (weight / weight.sum(1, keepdim=True)).repeat_interleave(planes, 0)[:, None]
    flat = picture.reshape(1, -1, rows, columns)
    flat = F.pad(flat, (reach, reach, reach, reach), mode="replicate")
    flat = F.conv2d(flat, weight[:, :, None, :], groups=count * planes)
    return F.conv2d(flat, weight[:, :, :, None], groups=count * planes).view_as(picture)


_LUMA = torch.tensor([[0.299, 0.587, 0.114], [-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]])
_UNLUMA = torch.linalg.inv(_LUMA)
_COSINES = torch.tensor([[np.sqrt(1 / 8 if n == 0 else 1 / 4) * np.cos(np.pi * (2 * k + 1) * n / 16) for k in range(8)]
                         for n in range(8)], dtype=torch.float32)
# The tables of the standard's annex K, which most encoders scale.
_COARSE = torch.tensor([[
    16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51, 87, 80, 62,
    18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92, 49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99],
    [17, 18, 24, 47, 99, 99, 99, 99, 18, 21, 26, 66, 99, 99, 99, 99, 24, 26, 56, 99, 99, 99, 99, 99, 47, 66, 99, 99, 99, 99, 99, 99]
    + [99] * 32]).reshape(2, 8, 8).float()


def _jpeg(value, quality):
    """What JPEG's rounding leaves of sRGB values 0..1, with colour at half the scale."""
    cosines, luma, coarse = (given.to(value.device) for given in (_COSINES, _LUMA, _COARSE))
    scale = torch.where(quality < 50, 5000 / quality, 200 - 2 * quality) / 100

    def rounded(plane, kind):
        step = (scale.view(-1, 1, 1, 1, 1) * coarse[kind]).round().clamp(1, 255)
        block = plane.unflatten(3, (-1, 8)).unflatten(2, (-1, 8)).transpose(3, 4)[:, 0]
        return (cosines.T @ ((cosines @ block @ cosines.T / step).round() * step) @ cosines).transpose(2, 3).reshape(plane.shape)

    planes = _mixed(255 * value, luma)
    bright = rounded(planes[:, :1] - 128, 0) + 128
    half = F.avg_pool2d(planes[:, 1:], 2)
    colour = torch.cat([rounded(half[:, c:c + 1], 1) for c in (0, 1)], 1)
    colour = F.interpolate(colour, scale_factor=2, mode="bilinear", align_corners=False)
    return (_mixed(torch.cat([bright, colour], 1), _UNLUMA.to(value.device)) / 255).clamp(0, 1)


def _through_glass(light, bare):
    """Flare of the lens, exposure that lifts a dark tray until whites clip, and local tone mapping, of
    both alike: the empty tray is known only as the photo shows it."""
    count, device = len(light), light.device
    flare = _pictures(_uniform(-0.01, 0.03, count, device=device).clamp(min=0))
    veil = light.mean((2, 3), keepdim=True) * flare
    light, bare = light * (1 - flare) + veil, bare * (1 - flare) + veil
    level = bare.mean((1, 2, 3))
    most = (0.45 / level.clamp(min=0.02)).clamp(1, 4)
    lift = _pictures(torch.where(_either(0.5, count, device), most ** torch.rand(count, device=device), 1.0))
    light, bare = light * lift, bare * lift
    bright = (light * torch.tensor([0.25, 0.65, 0.10], device=device).view(3, 1, 1)).sum(1, keepdim=True).clamp(min=2e-3).log()
    base = F.avg_pool2d(bright, 32, 16, 16, count_include_pad=False)
    strength = _pictures(_uniform(0, 0.45, count, device=device) * _either(0.45, count, device))
    gain = lambda size: (-strength * (F.interpolate(base, size, mode="bilinear", align_corners=False)  # noqa: E731
                                      - float(np.log(0.25)))).exp().clamp(0.5, 2.6)
    return light * gain(light.shape[2:]), bare * gain(bare.shape[2:])


def photographed(light, bare):
    """CIELAB of pictures and of their bare trays, after what a phone may do to both."""
    count, device = len(light), light.device
    cast = (_normal(0.07, count, 3, 1, 1, device=device) + _normal(0.10, count, 1, 1, 1, device=device)).exp()
    light, bare = _through_glass(light, bare)
    eye = torch.eye(3, device=device)
    mixing = eye + _normal(0.06, count, 3, 3, device=device) * (1 - eye)    # other primaries, other sensors
    mixing = mixing / mixing.sum(2, keepdim=True)
    bend, foot = _pictures(_normal(0.16, count, device=device).exp()), _pictures(_uniform(0, 0.02, count, device=device))

    def tone(given):
        value = (_mixed(given, mixing) * cast).clamp(min=0)
        value = _encoded(torch.where(value < 0.8, value, 0.8 + 0.2 * torch.tanh((value - 0.8) / 0.2)))
        return (foot + (1 - foot) * value.clamp(min=1e-6) ** bend).clamp(0, 1)

    # Blur and halo in the 0.5 mm grid; sharpening there is a phone's, carried over.
    value = tone(light)
    blur = _uniform(0.15, 0.8, count, device=device) * _either(0.85, count, device)
    value = _soft(value, blur, 2)
    halo = _pictures(_uniform(0.1, 0.9, count, device=device) * _either(0.6, count, device))
    value = value + halo * (value - _soft(value, _uniform(0.6, 1.6, count, device=device)))
    noise = torch.randn_like(value)
    noise = torch.where(_pictures(_either(0.5, count, device)), 2 * _soft(noise, torch.full((count,), 0.7, device=device), 2), noise)
    strength = _uniform(-6.9, -4.0, count, device=device).exp() * _either(0.8, count, device)
    value = (value + noise * _pictures(strength)).clamp(0, 1)
    some = round(0.35 * count)          # which crops these are says nothing: all is drawn anew for each
    value = torch.cat([_jpeg(value[:some], _uniform(55, 96, some, device=device)), value[some:]])
    ground = _lab(tone(bare))
    place = torch.linspace(-1, 1, GROUND, device=device)
    slope = _normal(0.5, count, 3, 2, 1, 1, device=device)
    off = _normal(1.0, count, 3, 1, 1, device=device) * torch.tensor([1.2, 0.8, 0.8], device=device).view(3, 1, 1)
    off = off + place[:, None] * slope[:, :, 0] + place * slope[:, :, 1]
    wrong = torch.where(_either(0.7, count, device), 1.0, _uniform(1, 3, count, device=device))
    return _lab(value), _wide(ground + off * _pictures(wrong), light.shape[-1])


def _answers(one, lab, ground, ids, heights, known, side, turn, zoom, middle):
    """The channels of `channels`; classes (what, face, form, size); numbers (vote 2, turns 4, seen,
    sides 2, stud, notch 2, height, mask 16); and weights (vote, classes, oblong, square, corner) per cell."""
    count, device, table = len(ids), ids.device, one["table"]
    x, y, cell_x, cell_y = _places(side, device)
    moved = lambda points: zoom.view(-1, 1, 1) * ((points - middle[:, None]) @ turn)  # noqa: E731
    foot, height = moved(one["foot"][:, None]), (zoom * one["height"]).view(-1, 1, 1)
    lean = torch.stack([(x - foot[:, :, :1]) / height, (y - foot[:, :, 1:]) / height], 1)
    seen = torch.cat([((lab - ground) / 25).clamp(-4, 4), (ground[:, :1] - 60) / 30], 1)
    seen = torch.cat([torch.where(known[:, None], seen, 0), lean], 1)

    at = moved(table[..., :2])
    way = torch.stack([table[..., TURN].cos(), table[..., TURN].sin()], -1) @ turn
    angle = torch.atan2(way[..., 1], way[..., 0])
    notch = table[..., NOTCH_X:NOTCH_Y + 1] @ turn
    shown = torch.zeros_like(one["whole"]).scatter_add_(1, ids.flatten(1), torch.ones_like(ids.flatten(1), dtype=torch.float32))
    inside = (shown / (one["whole"] * zoom[:, None] ** 2).clamp(min=1)).clamp(max=1)
    cells = ids[:, ::CELL, ::CELL]
    spots = torch.zeros_like(one["whole"]).scatter_add_(1, cells.flatten(1), torch.ones_like(cells.flatten(1), dtype=torch.float32))
    even = (24 / spots.clamp(min=1)).sqrt().clamp(0.5, 2)       # small pieces count too
    clear = torch.where(inside > 0.7, 1.0, 0.2)                 # of one cut by the crop little can be said
    tall = torch.where(table[..., FORM] == 0, 9.6, 3.2)
    top = at + (at - foot) / height * (tall / 2 + 1.0)[..., None]
    sizes = _SIZES.to(device)[table[..., SIZE].long()]
    log_zoom = zoom.log()[:, None]
    facts = torch.stack([
        at[..., 0], at[..., 1], (2 * angle).cos(), (2 * angle).sin(), (4 * angle).cos(), (4 * angle).sin(),
        table[..., SHARE] * inside, (table[..., LONG].clamp(min=1) / SIDES_MM).log() + log_zoom,
        (table[..., SHORT].clamp(min=1) / SIDES_MM).log() + log_zoom,
        table[..., FACE], table[..., FORM], table[..., SIZE], table[..., STRANGER], table[..., SQUARE], even * clear,
        top[..., 0], top[..., 1], way[..., 0], way[..., 1], 8.0 * zoom[:, None] * (1 + (tall + 1.0) / one["height"][:, None]),
        sizes[..., 0], sizes[..., 1], notch[..., 0], notch[..., 1]], -1)
    told = facts.gather(1, cells.flatten(1)[..., None].expand(-1, -1, facts.shape[-1]))
    told = told.transpose(1, 2).unflatten(2, cells.shape[1:])
    there = cells > 0
    listed = there & (told[:, 12] == 0)
    what = torch.where(there, torch.where(listed, 1, 2), 0)
    classes = torch.cat([what[:, None], torch.where(listed[:, None], told[:, 9:12].long(), 0)], 1)
    numbers = torch.cat([(told[:, :1] - cell_x) / VOTE_MM, (told[:, 1:2] - cell_y) / VOTE_MM, told[:, 2:9],
                         (_studs(cell_x, cell_y, told) & listed)[:, None], told[:, 22:24],
                         (heights * zoom.view(-1, 1, 1))[:, None, ::CELL, ::CELL] / HEIGHT_MM, _same(ids, cells)], 1)
    kinds = [(told[:, 13] == 0).float(), (told[:, 13] == 1).float(), (told[:, 10] == _CORNER).float()]
    weights = torch.stack([there * told[:, 14], listed * told[:, 14], *kinds], 1)
    return seen, classes, numbers, weights


def _same(ids, cells):
    """Which of the CELL x CELL pixels around each cell show what it shows."""
    around = F.pad(ids.float()[:, None], (CELL // 2, CELL // 2, CELL // 2, CELL // 2), mode="replicate")[:, 0]
    side = cells.shape[-1]
    shifted = [around[:, dy::CELL, dx::CELL][:, :side, :side] for dy in range(CELL) for dx in range(CELL)]
    return (torch.stack(shifted, 1) == cells[:, None]).float()


def _studs(x, y, told):
    """Whether a cell lies on a stud that looks up: what tells forms apart can be learnt much
    sooner where it is pointed out. Of pieces that lean the place is a little off."""
    dx, dy, cos, sin, pitch = x - told[:, 15], y - told[:, 16], told[:, 17], told[:, 18], told[:, 19]
    on = (told[:, 9] == 0) & (told[:, 10] != _TILE)
    # A corner has none in the cell that it lacks, which is 0.71 pitches off.
    on = on & (dx * told[:, 22] + dy * told[:, 23] < 0.35 * pitch)
    for along, studs in ((dx * cos + dy * sin, told[:, 21]), (dy * cos - dx * sin, told[:, 20])):
        step = along / pitch - (studs - 1) / 2
        near = step.round().clamp(max=0).maximum(1 - studs)
        on = on & (((step - near) * 8.0).abs() < 2.3)
    return on
