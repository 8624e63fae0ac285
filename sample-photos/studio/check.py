"""A scene, its truth and its photo must agree, or the photo is not written."""

import numpy as np
from PIL import Image, ImageDraw, ImageOps
from shapely.geometry import Polygon
from shapely.strtree import STRtree

from . import card, shapes

GAP_MM = 3.0        # what the photos promise between silhouettes


class Wrong(Exception):
    """The photo or its truth breaks a promise."""


def scene_and_truth(scene, truth, ids):
    """Pieces stand apart on the tray, whole in the picture and off the card; the number
    picture shows each where projecting its outline says, and alone means unhidden."""
    view = scene.view
    shades = [piece.silhouette(view) for piece in scene.pieces]
    card_area = Polygon(scene.card.corners()[:, :2])
    tree = STRtree(shades)
    for index, (piece, shade) in enumerate(zip(scene.pieces, shades)):
        label = f"piece {index} ({piece.kind.form} {piece.kind.size} {piece.colour})"
        solid = shapes.solid(piece.kind)
        _hold(solid.is_watertight, f"{label} is not closed")
        _hold(abs(solid.bounds[0, 2]) < 1e-4, f"{label} does not stand on the tray")
        _hold(view.inside(view.project(piece.outline()), 2), f"{label} leaves the picture")
        _hold(shade.distance(card_area) > 1, f"{label} is on the card")
        near = [n for n in tree.query(shade.buffer(GAP_MM)) if n != index]
        _hold(all(shade.distance(shades[n]) >= GAP_MM for n in near), f"{label} is too close")
        told = truth["pieces"][index]
        _hold(told["visible_px"] == told["whole_px"], f"{label} is partly hidden")
        _hold(_overlap(piece, view, ids == index + 1) > 0.96, f"{label} is not where it should be")


def _overlap(piece, view, mask, fine=8):
    """Intersection over union of the number picture and the piece's faces, projected
    and filled one by one: a way to the same silhouette that shares no ray with it."""
    solid = shapes.solid(piece.kind)
    pixels = view.project(piece.to_world(solid.vertices))
    low = np.maximum(np.floor(pixels.min(axis=0)).astype(int) - 2, 0)
    high = np.minimum(np.ceil(pixels.max(axis=0)).astype(int) + 2, (view.width, view.height))
    drawn = Image.new("1", tuple(int(n) for n in (high - low) * fine))
    pen = ImageDraw.Draw(drawn)
    for face in solid.faces:
        pen.polygon([((x - low[0]) * fine - 0.5, (y - low[1]) * fine - 0.5)
                     for x, y in pixels[face]], fill=1)
    drawn = np.asarray(drawn)[fine // 2::fine, fine // 2::fine]
    seen = mask[low[1]:high[1], low[0]:high[0]]
    return (seen & drawn).sum() / max(1, (seen | drawn).sum())


def photo(path, truth):
    """The saved photo, turned upright, shows the card's tags where the truth says: the
    64 cells of each tag are dark and light as designed."""
    image = ImageOps.exif_transpose(Image.open(path)).convert("L")
    camera = truth["camera"]
    _hold(image.size == (camera["width_px"], camera["height_px"]), f"{path.name}: wrong size")
    grey = np.asarray(image, float)
    mask, scale = card.black_mask(), card.black_mask().shape[1] / card.design()["width_mm"]
    steps = (np.arange(8) + 0.5) / 8
    for tag, told in zip(card.design()["tags"], truth["card"]["tags"]):
        tl, tr, br, bl = np.array(told["corners_px"])
        black, value = [], []
        for v in steps:
            for u in steps:
                x, y = tag["x_mm"] + u * tag["size_mm"], tag["y_mm"] + v * tag["size_mm"]
                black.append(mask[int(y * scale), int(x * scale)] > 0.5)
                px, py = (1 - v) * ((1 - u) * tl + u * tr) + v * ((1 - u) * bl + u * br)
                value.append(grey[int(py), int(px)])
        black, value = np.array(black), np.array(value)
        gap = value[~black].min() - value[black].max()
        _hold(gap > 25, f"{path.name}: tag {tag['id']} is not where the truth says ({gap:.0f})")


def _hold(true, otherwise):
    if not true:
        raise Wrong(otherwise)
