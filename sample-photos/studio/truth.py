"""What is in the picture, as data: the truth beside each photo."""

import numpy as np

from . import palette, render


def tell(scene):
    """The truth of a scene, and the picture of piece numbers that it was read from."""
    ids, whole = render.piece_pictures(scene)
    recipe, view, placed = scene.recipe, scene.view, scene.card
    position = placed.from_world(view.position[None])[0]
    rotation = view.rotation @ placed.axes      # card frame -> camera frame
    truth = {
        "truth": "v1",
        "photo": f"{recipe.name}.jpg",
        "seed": recipe.seed,
        "kind": recipe.kind,
        "light": recipe.lighting.illuminant,
        "form": recipe.form,
        "tray": recipe.tray.colour,
        "camera": {
            "f_px": round(view.f_px, 3), "cx": round(view.cx, 3), "cy": round(view.cy, 3),
            "k1": round(view.k1, 6), "position_mm": _rounded(position, 3),
            "rotation": [_rounded(line, 8) for line in rotation],
            "width_px": view.width, "height_px": view.height},
        "card": {
            "corners_px": _pixels(view, placed.corners()),
            "tags": [{"id": number, "corners_px": _pixels(view, corners)}
                     for number, corners in placed.tag_corners().items()]},
        "pieces": _pieces(scene, ids, whole),
        "palette_lab": {name: list(lab) for name, lab in palette.PIECES.items()},
    }
    if recipe.kind == "teach":
        truth["names"] = [piece.colour for piece in scene.pieces]
    return truth, ids


def _pieces(scene, ids, whole):
    rows, columns = np.nonzero(ids)
    owner = ids[rows, columns]
    count = np.bincount(owner, minlength=len(whole) + 1)
    middle_x = np.bincount(owner, columns + 0.5, len(whole) + 1) / np.maximum(count, 1)
    middle_y = np.bincount(owner, rows + 0.5, len(whole) + 1) / np.maximum(count, 1)
    told = []
    for index, piece in enumerate(scene.pieces):
        place = scene.card.from_world([[piece.x, piece.y, 0.0]])[0]
        turn = (scene.card.turn_deg - piece.turn_deg) % _repeats(piece.kind)
        told.append({
            "form": piece.kind.form, "size": piece.kind.size, "colour": piece.colour,
            "face": piece.face, "x_mm": round(place[0], 3), "y_mm": round(place[1], 3),
            "turn_deg": round(turn, 3),
            "x_px": round(middle_x[index + 1], 2), "y_px": round(middle_y[index + 1], 2),
            "visible_px": int(count[index + 1]), "whole_px": whole[index]})
    return told


def _repeats(kind):
    """Degrees after which an upright piece looks the same again."""
    return 90.0 if kind.studs[0] == kind.studs[1] else 180.0


def _rounded(values, digits):
    return [round(float(v), digits) for v in values]


def _pixels(view, points):
    return [_rounded(pixel, 3) for pixel in view.project(points)]
