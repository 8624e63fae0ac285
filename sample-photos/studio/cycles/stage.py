"""A scene as plain meshes, surfaces, lamps and a pinhole, for `blender` to draw."""

import json
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry import Polygon

from .. import card, lights, palette, piece as pieces_
from ..scene import stream
from ..tray import PLAIN_HALF, TABLE_DROP
from . import inks, lens, moulds

TABLE_HALF = 2500.0
NUMBERLESS = 0      # what is no piece
SIDE_SHARE, TOP_SHARE = 0.5, 1.25       # radiance of walls and ceiling against their mean on the tray


@dataclass
class Moulded(pieces_.Piece):
    """A piece of the second renderer's meshes."""
    maker: moulds.Mould = None

    def solid(self):
        return moulds.solid(self.kind, self.maker, self.hollow)


def moulded(scene):
    """The scene with pieces of a maker of its own; the same ones in all views of it."""
    maker = moulds.drawn(stream(_rest(scene.recipe).seed, "maker"))
    fields = pieces_.Piece.__dataclass_fields__
    made = [Moulded(**{name: getattr(one, name) for name in fields}, maker=maker) for one in scene.pieces]
    return replace(scene, pieces=made)


def _rest(recipe):
    return recipe.rests or recipe


class Stage:
    """Collects what is in the scene."""

    def __init__(self, scene, samples):
        self.scene, self.recipe = scene, scene.recipe
        self.rng = stream(_rest(scene.recipe).seed, "stage")
        self.arrays, self.meshes, self.surfaces, self.objects = {}, {}, {}, []
        self._tray()
        self._card()
        self._pieces()
        self._photographer()
        self.told = {
            "surfaces": self.surfaces, "meshes": self.meshes, "objects": self.objects,
            "lamps": self._lamps(), "surround": self._surround(), "camera": self._camera(),
            "samples": samples, "seed": scene.recipe.seed}

    def write(self, folder):
        (folder / "scene.json").write_text(json.dumps(self.told))
        np.savez(folder / "arrays.npz", **self.arrays)

    def _mesh(self, name, points, faces, places=None):
        self.arrays[f"{name}.points"], self.arrays[f"{name}.faces"] = np.asarray(points), np.asarray(faces)
        self.meshes[name] = places is not None
        if places is not None:
            self.arrays[f"{name}.places"] = places

    def _object(self, mesh, surface, axes=None, at=(0, 0, 0), number=NUMBERLESS, colour=(1, 1, 1)):
        matrix = np.eye(4)
        matrix[:3, :3] = np.eye(3) if axes is None else axes
        matrix[:3, 3] = at
        self.objects.append({"name": f"{mesh}-{len(self.objects)}", "mesh": mesh, "surface": surface,
                             "matrix": matrix.tolist(), "number": number,
                             "colour": [float(v) for v in colour]})

    def _pieces(self):
        recipe, rng = self.recipe, self.rng
        coat = {}
        for index, one in enumerate(self.scene.pieces):
            mesh = f"{one.kind.form}-{one.kind.size}-{'open' if one.hollow else 'shut'}"
            if mesh not in self.meshes:
                solid = one.solid()
                self._mesh(mesh, solid.vertices, solid.faces)
            if one.colour not in coat:
                coat[one.colour] = f"plastic-{one.colour}"
                self.surfaces[coat[one.colour]] = {
                    "kind": "plastic", "seed": len(coat), "wear": recipe.wear, "ior": rng.uniform(1.5, 1.56),
                    "roughness": rng.uniform(0.18, 0.38), "coat": rng.uniform(0.1, 0.5),
                    "subsurface": rng.uniform(0.08, 0.25)}
            lab = np.array(palette.EVERY_NAME[one.colour]) + rng.normal(0, 0.6, 3) * recipe.spread
            self._object(mesh, coat[one.colour], one.axes(), (one.x, one.y, one.z), index + 1,
                         inks.of_lab(lab))

    def _tray(self):
        recipe, floor = self.recipe, self.scene.floor
        tray, lab = recipe.tray, np.array(palette.TRAYS[recipe.tray.colour])
        light, dark = (inks.of_lab(lab + shift).tolist() for shift in tray.shades())
        kind = {"plastic": "sheet", "": "wood" if tray.wooden else "plain"}.get(tray.surface, tray.surface)
        self.surfaces["tray"] = {"kind": kind, "seed": recipe.seed, "light": light, "dark": dark,
                                 "grain": tray.grain, "gloss": tray.gloss}
        low, high = np.array([-PLAIN_HALF] * 2), np.array([PLAIN_HALF] * 2)
        if floor is not None:
            low, high = np.array(floor.bounds[:2]), np.array(floor.bounds[2:])
            points, faces = rim(floor, tray)
            self._mesh("rim", points, faces)
            self.surfaces["rim"] = self.surfaces["tray"] | {"kind": "sheet" if tray.gloss else "plain"}
            self._object("rim", "rim")
            table = inks.of_lab(palette.TABLES[tray.table or "pale-wood"])
            self.surfaces["table"] = {"kind": "wood", "seed": recipe.seed + 7, "light": table.tolist(),
                                      "dark": (0.6 * table).tolist()}
            half = np.array([TABLE_HALF] * 2)
            self._plane("table", -half, half, -TABLE_DROP)
        self._plane("tray", low, high, 0.0, np.radians(tray.turn))

    def _plane(self, name, low, high, z, turn=0.0):
        """A level rectangle, whose own axes (and so its grain) are turned."""
        c, s = np.cos(turn), np.sin(turn)
        axes = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
        corners = [(low[0], low[1], z), (high[0], low[1], z), (high[0], high[1], z), (low[0], high[1], z)]
        self._mesh(name, np.array(corners) @ axes, [(0, 1, 2), (0, 2, 3)])
        self._object(name, name, axes)

    def _card(self):
        """A thin sheet with its picture above; its place is the truth's, to a thousandth."""
        placed, design = self.scene.card, card.design()
        wide, high = design["width_mm"], design["height_mm"]
        columns = 64 if placed.curl_mm else 1
        u, v = np.meshgrid(np.linspace(0, 1, columns + 1), (0.0, 1.0))
        flat = np.stack([u.ravel() * wide, v.ravel() * high], axis=1)
        top, below = placed.to_world(flat, card.PAPER_MM), placed.to_world(flat, 0.02)
        n, faces = columns + 1, []
        for k in range(columns):
            a, b, c, d = k, k + 1, n + k, n + k + 1
            faces += [(a, c, b), (b, c, d)]
            faces += [(2 * n + a, a, b), (2 * n + a, b, 2 * n + b), (c, 2 * n + c, d), (d, 2 * n + c, 2 * n + d)]
        for k in (0, columns):
            faces += [(k, 2 * n + k, n + k), (n + k, 2 * n + k, 3 * n + k)]
        places = np.tile(np.stack([u.ravel(), 1 - v.ravel()], axis=1), (2, 1))
        self._mesh("card", np.concatenate([top, below]), faces, places)
        self.arrays["print"] = inks.card_picture(self.recipe.card_print)
        sheen = self.recipe.card_print.sheen or (0.12 if self.recipe.card_glossy else 0.0)
        self.surfaces["card"] = {"kind": "print", "picture": "print", "sheen": sheen}
        self._object("card", "card")

    def _photographer(self):
        """The phone, its lens in a corner, two hands' breadth of arm and a person behind: dark."""
        view = self.scene.view
        back = view.rotation.T * (1, -1, -1)        # columns: right, up, back
        at = view.position + 5 * view.rotation[2] * -1
        tall = (76, 158) if view.height > view.width else (158, 76)
        self._box("phone", (-0.15 * tall[0], -0.8 * tall[1] if tall[1] > tall[0] else -0.7 * tall[1], 0),
                  (0.85 * tall[0], 0.2 * tall[1] if tall[1] > tall[0] else 0.3 * tall[1], 9), back, at, 0.04)
        chest = view.position + (0, -440, 60)
        self._box("chest", (-210, -130, -330), (210, 130, 120), np.eye(3), chest, 0.12)
        self._box("head", (-80, -90, 120), (80, 90, 350), np.eye(3), chest + (0, 60, 0), 0.2)
        self._box("arm", (-25, -330, -30), (25, -20, 30), np.eye(3), at + (60, 0, 50), 0.2)

    def _box(self, name, low, high, axes, at, grey):
        solid = np.array([(x, y, z) for x in (low[0], high[0]) for y in (low[1], high[1])
                          for z in (low[2], high[2])], float)
        faces = [(0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1), (2, 3, 7), (2, 7, 6),
                 (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3)]
        self._mesh(name, solid, faces)
        self.surfaces[name] = {"kind": "plain", "seed": 1, "light": [grey] * 3, "dark": [grey] * 3,
                               "grain": 0.0, "gloss": 0.6}
        self._object(name, name, axes, at)

    def _lamps(self):
        return [{"shape": one.shape, "half": list(one.half), "origin": one.at.tolist(), "target": [0, 0, 0],
                 "radiance": inks.of_light(one.radiance).tolist()}
                for one in lights.lamps(self.recipe.lighting, self.scene.view, self.scene.card)]

    def _surround(self):
        """What comes from the room: a third from the sides and two thirds from above, if their
        radiance grows evenly with height."""
        lighting = self.recipe.lighting
        lamp = sum(lights.spectra.illuminant(name) for name in lighting.illuminant.split("+"))
        tint = inks.of_light(lamp / len(lighting.illuminant.split("+")))
        room = tint * inks.of_lab(lighting.walls)
        room *= (1 - lights.key_share(lighting)) / (room @ np.linalg.inv(inks.from_xyz())[1])
        return {"above": (TOP_SHARE * room).tolist(), "side": (SIDE_SHARE * room).tolist(),
                "below": (0.1 * room).tolist()}

    def _camera(self):
        view, phone = lens.pinhole(self.scene.view), self.recipe.phone
        return {"width": view.width, "height": view.height, "f_px": view.f_px, "cx": view.cx, "cy": view.cy,
                "position": view.position.tolist(), "rotation": view.rotation.tolist(),
                "pupil": phone.pupil_mm if phone else 0.0,
                "focus": (view.position[2] - (phone.focus_mm if phone else 0.0)) / -view.rotation[2][2]}


def rim(floor, tray):
    """The rim around a floor: a wall that leans out, flat chamfers, a slope down to the table."""
    ring = np.array(Polygon(floor.exterior.coords).exterior.coords)[:-1]
    if not floor.exterior.is_ccw:
        ring = ring[::-1]
    ahead, behind = np.roll(ring, -1, axis=0) - ring, ring - np.roll(ring, 1, axis=0)
    out = np.stack([ahead[:, 1], -ahead[:, 0]], 1) / np.linalg.norm(ahead, axis=1, keepdims=True)
    out += np.stack([behind[:, 1], -behind[:, 0]], 1) / np.linalg.norm(behind, axis=1, keepdims=True)
    out *= 2 / (out**2).sum(axis=1, keepdims=True)      # so that sides move by as much as asked
    lean, high, wide = tray.rim_lean, tray.rim_mm, tray.rim_width
    cut = min(0.9, 0.25 * wide)
    section = [(0.0, -0.5), (lean, high - cut), (lean + cut, high), (lean + wide - cut, high),
               (lean + wide, high - cut), (lean + wide + 0.12 * high, -TABLE_DROP)]
    points = np.concatenate([np.column_stack([ring + off * out, np.full(len(ring), z)]) for off, z in section])
    n, faces = len(ring), []
    for row in range(len(section) - 1):
        for k in range(n):
            a, b = row * n + k, row * n + (k + 1) % n
            faces += [(a, a + n, b), (b, a + n, b + n)]
    return points, faces
