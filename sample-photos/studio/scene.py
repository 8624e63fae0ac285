"""A recipe and its seed become a scene: what is where, and the same as Mitsuba objects."""

import dataclasses
from dataclasses import dataclass, field

import numpy as np

from . import card, cardsheet, coats, dust, ground, layout, lights, palette, pour, shapes, spectra
from . import touching, view as views
from .meshes import as_mesh, matte

MIXED = {"brick": 0.4, "plate": 0.4, "tile": 0.2}     # of a mixed cup


@dataclass
class Scene:
    recipe: object
    view: views.View
    card: card.Placed
    pieces: list
    floor: object          # the tray's inside, or None
    things: list = field(default_factory=list)      # that fit no shape
    clumps: list = field(default_factory=list)      # number of each piece's clump

    def rimmed(self):
        """The floor of a tray whose rim the pieces may lean on, or None."""
        return self.floor if self.recipe.tray.inside_mm else None

    def solids(self):
        """All that lies on the tray, pieces first."""
        return self.pieces + self.things


def stream(seed, name):
    """A random stream of its own for each concern, so that one does not shift another."""
    return np.random.default_rng([seed, *name.encode()])


def lay_out(recipe, fresh=False):
    """Draw camera, card and pieces from the seed; draw again where there is no room.
    `fresh` lets a poured cup fall anew instead of taking its kept resting places."""
    if recipe.rests is not None:
        return seen_again(recipe, lay_out(recipe.rests, fresh))
    for attempt in range(40):
        rng = stream(recipe.seed, f"layout{attempt}")
        view = _held(recipe, rng)
        floor = recipe.tray.floor(view)
        try:
            if recipe.tray.inside_mm:
                placed = layout.place_card_in(recipe.tray, view, recipe.card_side, recipe.card_turn, rng)
            else:
                placed = layout.place_card(view, recipe.card_side, recipe.card_turn, rng)
            placed.curl_mm = recipe.card_curl
            area = layout.Area(view, placed, floor, recipe.cut,
                               layout.CLOSE_MM if recipe.tray.inside_mm else layout.WALL_GAP_MM)
            laid = Scene(recipe, view, placed, [], floor)
            _fill(laid, area, rng, fresh)
        except layout.NoRoom:
            continue
        for piece in laid.pieces:
            piece.mould = shapes.mould(recipe.moulds, piece.kind)
        return laid
    raise layout.NoRoom(recipe.name)


def _held(recipe, rng):
    focal = recipe.focal_35mm * rng.uniform(0.985, 1.015)
    azimuth, roll = rng.uniform(0, 360), rng.uniform(-4, 4)
    return views.held_over_tray(
        recipe.width, recipe.height, focal, recipe.distance, recipe.tilt,
        azimuth if recipe.azimuth is None else recipe.azimuth,
        roll if recipe.roll is None else recipe.roll, rng, recipe.aim)


def seen_again(recipe, first):
    """Another view of a scene at rest: all lies as it did, camera and light are the recipe's."""
    rng = stream(recipe.seed, f"view {recipe.view}")
    return dataclasses.replace(first, recipe=recipe, view=_held(recipe, rng))


def _fill(scene, area, rng, fresh):
    recipe = scene.recipe
    if recipe.kind == "teach":
        kind = shapes.Kind(recipe.form, recipe.sizes[0])
        scene.pieces = layout.rows(kind, recipe.colours, scene.view, scene.card,
                                   recipe.card_side, 6, rng)
    elif recipe.kind in ("poured", "dumped"):
        tray = recipe.tray if recipe.tray.inside_mm else None
        scene.pieces = (pour.settle(wanted(recipe), area, recipe.kind == "dumped", recipe.seed, tray)
                        if fresh else pour.kept(recipe, wanted(recipe)))
    elif recipe.kind == "touching":
        kinds = [kind for kind, _ in wanted(recipe)]
        colours = colours_of(recipe, stream(recipe.seed, "clumps"))
        scene.pieces, scene.clumps = touching.clumps(kinds, colours, _neighbour(recipe, colours),
                                                     area, rng)
    else:
        scene.pieces = layout.scatter(layout.large_first(wanted(recipe)), area, rng)
    if recipe.things:
        named = [(what, number) for number, what in enumerate(recipe.things)]
        scene.things = layout.scatter(named, area, stream(recipe.seed, "things"),
                                      [piece.silhouette(scene.view) for piece in scene.pieces])


def _neighbour(recipe, colours):
    """How a clump's next colour is drawn: mostly the same, or mostly the hard neighbour."""
    partner = {a: b for pair in palette.HARD_NEIGHBOURS for a, b in (pair, pair[::-1])}

    def draw(colour, rng):
        way = rng.random()
        if recipe.hard:
            return partner[colour] if way < 0.55 else colour if way < 0.8 else str(rng.choice(colours))
        return colour if way < 0.65 else str(rng.choice(colours))

    return draw


def colours_of(recipe, rng):
    """The names that the pieces' colours are drawn from."""
    if recipe.colours:
        return list(recipe.colours)
    far = palette.far_from(recipe.tray.colour, 9.0, getattr(palette, recipe.mix))
    if recipe.hard:
        return [name for pair in palette.HARD_NEIGHBOURS if set(pair) <= set(far) for name in pair]
    return [str(name) for name in rng.choice(far, recipe.colour_count, replace=False)]


def wanted(recipe):
    """(kind, colour) of each piece: small sizes more often than large ones."""
    rng = stream(recipe.seed, "wanted")
    if not recipe.count:
        return []
    offered = [shapes.Kind(*one) for one in recipe.kinds or [(recipe.form, s) for s in recipe.sizes]]
    area = np.array([max(1, len(kind.stud_centres())) for kind in offered])
    chance = area ** -0.35
    picks = rng.choice(len(offered), recipe.count, p=chance / chance.sum())
    names = rng.choice(colours_of(recipe, rng), recipe.count)
    kinds = [offered[i] for i in picks]
    if recipe.form == "mixed" and not recipe.kinds:
        forms = rng.choice(list(MIXED), recipe.count, p=list(MIXED.values()))
        kinds = [shapes.Kind(str(form), kind.size) for form, kind in zip(forms, kinds)]
    return [(kind, str(colour)) for kind, colour in zip(kinds, names)]


def build(scene, mi):
    """The whole scene as a Mitsuba dictionary."""
    recipe = scene.recipe
    parts = {"type": "scene"}
    parts.update(lights.emitters(recipe.lighting, scene.view, mi, scene.card))
    parts.update(ground.parts(scene, mi))
    parts.update(cardsheet.parts(scene.card, recipe.card_glossy, mi, recipe.card_print))
    keys, plastics = coats.of_pieces(scene)
    ready = {key: mi.load_dict(coats.plastic(*plastics[key])) for key in plastics}
    for index, piece in enumerate(scene.pieces):
        parts[f"piece{index:04d}"] = mesh_of(piece, mi, ready[keys[index]])
    if recipe.dust:
        vertices, faces = dust.flakes(scene, lambda places: heights(scene, places, mi))
        parts["dust"] = as_mesh(vertices, faces, mi, mi.load_dict(matte(spectra.plastic(dust.GREY_LAB))))
    for index, thing in enumerate(scene.things):
        parts[f"thing{index:04d}"] = mesh_of(thing, mi, mi.load_dict(thing.coat()))
    return parts


def mesh_of(piece, mi, bsdf=None):
    """A piece as a Mitsuba mesh in the world."""
    solid = piece.solid()
    return as_mesh(piece.to_world(solid.vertices), solid.faces, mi, bsdf)


def heights(scene, places, mi):
    """How high the pieces reach at places (n x 2) on the tray; 0 beside them."""
    if not scene.solids():
        return np.zeros(len(places))
    meshes = {f"m{n}": mesh_of(solid, mi) for n, solid in enumerate(scene.solids())}
    world = mi.load_dict({"type": "scene", **meshes})
    above = np.column_stack([places, np.full(len(places), 500.0)]).T.astype(np.float32)
    down = mi.Vector3f(0, 0, -1)
    found = world.ray_intersect_preliminary(mi.Ray3f(mi.Point3f(above), down))
    return np.where(np.array(found.is_valid()), 500.0 - np.array(found.t), 0.0)
