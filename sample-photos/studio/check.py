"""A scene, its truth and its photo must agree, or the photo is not written."""

import numpy as np
from PIL import Image, ImageDraw, ImageOps
from shapely.geometry import Polygon
from shapely.strtree import STRtree

from . import card, solidity
from .solidity import Wrong

GAP_MM = 3.0            # what sorted photos promise between silhouettes
SHARED_MM2 = 1e-3       # of two footprints that touch
EDGE_PX = 3.0           # differing pixels allowed, per pixel of a square piece's side
APART = ("sorted", "teach", "empty")


def scene_and_truth(scene, truth, ids):
    """Pieces lie solid, whole in the picture and off the card, and in sorted photos apart;
    the number picture shows each where projecting its faces says."""
    recipe, view = scene.recipe, scene.view
    for index, solid in enumerate(scene.solids()):
        label = f"solid {index}"
        _hold(solid.solid().is_watertight, f"{label} is not closed")
        whole = view.inside(view.project(solid.outline()), 2)
        _hold(whole or recipe.cut, f"{label} leaves the picture")
        shade = solid.silhouette(view)
        _hold(shade.distance(Polygon(scene.card.corners()[:, :2])) > 1, f"{label} is on the card")
    if recipe.kind in ("poured", "dumped"):
        solidity.settled(scene.pieces, floor=scene.rimmed())
    else:
        _standing(scene, STRtree, apart=recipe.kind in APART)
    for index, (piece, told) in enumerate(zip(scene.pieces, truth["pieces"])):
        alone = told["visible_px"] == told["whole_px"]
        _hold(alone or recipe.cut or recipe.kind not in APART, f"piece {index} is partly hidden")
        if alone:
            overlap = _overlap(piece, view, ids == index + 1)
            _hold(overlap > 1 - EDGE_PX / max(1, told["visible_px"]) ** 0.5, f"piece {index} is not where it should be ({overlap:.3f})")


def _standing(scene, tree_of, apart):
    """All stand on the tray; no two share ground, or none comes near another."""
    for index, solid in enumerate(scene.solids()):
        _hold(abs(solid.solid().bounds[0, 2]) < 1e-4, f"solid {index} does not stand on the tray")
    shapes_ = [solid.silhouette(scene.view) if apart else solid.footprint()
               for solid in scene.solids()]
    if not shapes_:
        return
    tree = tree_of(shapes_)
    for index, shape in enumerate(shapes_):
        near = [n for n in tree.query(shape.buffer(GAP_MM)) if n != index]
        if apart:
            _hold(all(shape.distance(shapes_[n]) >= GAP_MM for n in near), f"solid {index} is too close")
        else:
            _hold(all(shape.intersection(shapes_[n]).area < SHARED_MM2 for n in near),
                  f"solid {index} shares ground with another")


def _overlap(piece, view, mask, fine=8):
    """Intersection over union of the number picture and the piece's faces, projected
    and filled one by one: a way to the same silhouette that shares no ray with it."""
    solid = piece.solid()
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
    64 cells of each tag are dark and light as designed. Not asked of a failing photo."""
    image = ImageOps.exif_transpose(Image.open(path)).convert("L")
    camera = truth["camera"]
    _hold(image.size == (camera["width_px"], camera["height_px"]), f"{path.name}: wrong size")
    if "failure" in truth:
        return
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
