"""What is in the picture, as data: the truth beside each photo."""

import json

import numpy as np

from . import palette, piece as pieces_, render, solidity


def tell(scene):
    """The truth of a scene, and the picture of piece numbers that it was read from."""
    hidden_by = [] if scene.recipe.world else None
    ids, whole = render.piece_pictures(scene, hidden_by)
    recipe, view, placed = scene.recipe, scene.view, scene.card
    position = placed.from_world(view.position[None])[0]
    rotation = view.rotation @ placed.axes      # card frame -> camera frame
    seen = _seen(ids, whole)
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
        **_desk(recipe),
        "pieces": _pieces(scene, seen, hidden_by),
        "palette_lab": {name: list(lab) for name, lab in _palette(scene).items()},
    }
    if scene.things:
        truth["unknown"] = [
            {"what": thing.what, **_place(placed, (thing.x, thing.y)), **seen[len(scene.pieces) + i]}
            for i, thing in enumerate(scene.things)]
    if scene.things and hidden_by:
        for one in truth["pieces"]:
            one["hidden_by"] = [pair for pair in one["hidden_by"] if pair[0] < len(scene.pieces)]
    if recipe.kind == "teach":
        truth["names"] = [piece.colour for piece in scene.pieces]
    if recipe.failure:
        truth["failure"] = recipe.failure
    return truth, ids


def _desk(recipe):
    """What only photos of the wider worlds tell."""
    if not recipe.world:
        return {}
    told = {"world": recipe.world, "renderer": recipe.renderer,
            "print": {"copy": recipe.card_print.copy, "black_l": recipe.card_print.black,
                      "paper_l": recipe.card_print.paper, "sheen": recipe.card_print.sheen},
            "phone": recipe.phone.sensor if recipe.phone else recipe.camera, "surface": recipe.tray.surface}
    if recipe.view:
        told |= {"scene": recipe.name.removesuffix(f"-{recipe.view}"), "view": recipe.view}
    return told


def _palette(scene):
    """The palettes that this scene's colours come from."""
    used = {piece.colour for piece in scene.pieces}
    if used & set(palette.QUAY):
        return palette.QUAY
    others = used & set(palette.OTHERS)
    return palette.EVERY if others and used - others else palette.OTHERS if others else palette.PIECES


def _seen(ids, whole):
    """For each solid the mean and number of the pixels that show it."""
    rows, columns = np.nonzero(ids)
    owner = ids[rows, columns]
    count = np.bincount(owner, minlength=len(whole) + 1)
    middle_x = np.bincount(owner, columns + 0.5, len(whole) + 1) / np.maximum(count, 1)
    middle_y = np.bincount(owner, rows + 0.5, len(whole) + 1) / np.maximum(count, 1)
    return [{"x_px": round(middle_x[n], 2) if count[n] else None,
             "y_px": round(middle_y[n], 2) if count[n] else None,
             "visible_px": int(count[n]), "whole_px": all_} for n, all_ in enumerate(whole, 1)]


def _pieces(scene, seen, hidden_by=None):
    told, touching = [], set()
    if hidden_by is not None and scene.recipe.kind in ("poured", "dumped"):
        solidity.settled(scene.pieces, touching, scene.rimmed())
    for index, piece in enumerate(scene.pieces):
        lying = piece.rotation is not None
        place = piece.middle()[:2] if lying else (piece.x, piece.y)
        upright = pieces_.upright(piece.kind, piece.axes())
        period = pieces_.direction(piece.kind, upright)[1]
        one = {
            "form": piece.kind.form, "size": piece.kind.size, "colour": piece.colour,
            "face": piece.face, **_place(scene.card, place),
            "turn_deg": round((scene.card.turn_deg - piece.turn_deg) % period, 3) if period else 0.0,
            **seen[index]}
        if scene.clumps:
            one["clump"] = scene.clumps[index]
        if lying:
            axes = scene.card.axes.T @ piece.rotation
            origin = scene.card.from_world([(piece.x, piece.y, piece.z)])[0]
            one["pose"] = {"position_mm": _rounded(origin, 3),
                           "rotation": [_rounded(line, 6) for line in axes]}
        if hidden_by is not None:
            points = piece.to_world(piece.solid().vertices)[:, 2]
            one |= {"id": index, "bottom_mm": round(float(points.min()), 2), "top_mm": round(float(points.max()), 2),
                    "hidden_by": [[owner - 1, count] for owner, count in sorted(hidden_by[index].items())]}
            if lying:
                one["rests_on"] = _below(scene.pieces, index, touching)
        told.append(one)
    return told


def _below(pieces, index, touching):
    """The pieces that touch this one from below: whose middles are lower."""
    others = {pair[1 - pair.index(index)] for pair in touching if index in pair}
    return sorted(n for n in others if pieces[n].middle()[2] < pieces[index].middle()[2] - 0.5)


def _place(card, place):
    x, y = card.from_world([[*place, 0.0]])[0][:2]
    return {"x_mm": round(x, 3), "y_mm": round(y, 3)}


def _rounded(values, digits):
    return [round(float(v), digits) for v in values]


def _pixels(view, points):
    return [_rounded(pixel, 3) for pixel in view.project(points)]


def write(truth, path):
    """One line a piece, so that a file stays small and its changes can be read."""
    lines = []
    for key, value in truth.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            rows = ",\n  ".join(json.dumps(row) for row in value)
            lines.append(f'"{key}": [\n  {rows}]')
        else:
            lines.append(f'"{key}": {json.dumps(value)}')
    path.write_text("{" + ",\n ".join(lines) + "}\n")
