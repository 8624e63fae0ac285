"""Surfaces and surround as Blender's shader nodes; run with `blender`. Colours are linear."""

import bpy
import numpy as np


PLAIN_MATH = {"ADD": lambda a, b: a + b, "MULTIPLY": lambda a, b: a * b}


class Nodes:
    """A material's nodes, made and joined by short calls."""

    def __init__(self, name):
        self.material = bpy.data.materials.new(name)
        self.material.use_nodes = True
        self.tree = self.material.node_tree
        self.tree.nodes.clear()

    def add(self, kind, *, inputs=(), **settings):
        node = self.tree.nodes.new(kind)
        for name, value in settings.items():
            setattr(node, name, value)
        for name, value in dict(inputs).items():
            self.put(node.inputs[name], value)
        return node

    def put(self, socket, value):
        if isinstance(value, bpy.types.NodeSocket):
            self.tree.links.new(value, socket)
        elif isinstance(value, (list, tuple)) and len(value) == 3 and len(socket.default_value) == 4:
            socket.default_value = (*value, 1.0)
        else:
            socket.default_value = value

    def math(self, what, *values):
        if all(isinstance(value, (int, float)) for value in values) and what in PLAIN_MATH:
            return PLAIN_MATH[what](*values)
        node = self.add("ShaderNodeMath", operation=what)
        for socket, value in zip(node.inputs, values):
            self.put(socket, value)
        return node.outputs[0]

    def mix(self, weight, one, two):
        node = self.add("ShaderNodeMix", data_type="RGBA")
        colours = [socket for socket in node.inputs if socket.type == "RGBA"]
        self.put(node.inputs[0], weight)
        self.put(colours[0], one)
        self.put(colours[1], two)
        return next(socket for socket in node.outputs if socket.type == "RGBA")

    def at(self, scale, seed, stretch=(1, 1, 1)):
        """Places on the surface in mm, times `scale`, moved by the seed."""
        rng = np.random.default_rng(seed)
        where = self.add("ShaderNodeTexCoord").outputs["Object"]
        return self.add("ShaderNodeMapping", inputs={
            "Vector": where, "Location": tuple(rng.uniform(-50, 50, 3)),
            "Scale": tuple(scale * s for s in stretch)}).outputs[0]

    def noise(self, mm, seed, detail=3.0, stretch=(1, 1, 1)):
        """Values about 0.5, of this grain in mm."""
        return self.add("ShaderNodeTexNoise", inputs={
            "Vector": self.at(1.0 / mm, seed, stretch), "Scale": 1.0, "Detail": detail}).outputs[0]

    def between(self, value, low, high):
        """0 below `low`, 1 above `high`."""
        return self.add("ShaderNodeMapRange", inputs={"Value": value, "From Min": low,
                                                      "From Max": high}).outputs[0]

    def bump(self, height, mm):
        return self.add("ShaderNodeBump", inputs={"Height": height, "Distance": mm,
                                                  "Strength": 1.0}).outputs[0]

    def principled(self, **inputs):
        return self.add("ShaderNodeBsdfPrincipled",
                        inputs={name.replace("_", " "): value for name, value in inputs.items()}).outputs[0]

    def quick(self, shader, colour):
        """The shader where the lens sees it; where light only passes on, a matte of one colour."""
        matte = self.add("ShaderNodeBsdfDiffuse", inputs={"Color": colour}).outputs[0]
        seen = self.add("ShaderNodeLightPath").outputs["Is Camera Ray"]
        joined = self.add("ShaderNodeMixShader")
        for socket, value in zip(joined.inputs, (seen, matte, shader)):
            self.put(socket, value)
        return self.done(joined.outputs[0])

    def done(self, shader):
        out = self.add("ShaderNodeOutputMaterial")
        self.tree.links.new(shader, out.inputs[0])
        return self.material


def make(name, told, arrays):
    return {"plastic": plastic, "print": printed, "plain": plain, "felt": felt, "cork": cork,
            "kraft": kraft, "wood": wood, "mat": mat, "sheet": sheet}[told["kind"]](name, told, arrays)


def plastic(name, told, _):
    """A moulded piece: light goes a little into the body, a clear coat, some orange peel; where it
    is worn the coat is scuffed. The colour is the object's own."""
    n = Nodes(name)
    body = n.add("ShaderNodeObjectInfo").outputs["Color"]
    scuffed = 0.0
    if told["wear"]:
        scuffed = n.between(n.noise(1.1, told["seed"], 4.0, (1, 4, 1)), 0.62 - 0.2 * told["wear"], 0.75)
        scuffed = n.math("MULTIPLY", scuffed, told["wear"])
    peel = n.bump(n.noise(1.6, told["seed"] + 1, 0.0), 0.006)
    return n.quick(n.principled(
        Base_Color=body, Roughness=n.math("ADD", told["roughness"], n.math("MULTIPLY", scuffed, 0.25)),
        IOR=told["ior"], Subsurface_Weight=told["subsurface"], Subsurface_Radius=(1.0, 0.7, 0.5),
        Subsurface_Scale=0.7, Normal=peel, Coat_Weight=told["coat"],
        Coat_Roughness=n.math("ADD", 0.04, n.math("MULTIPLY", scuffed, 0.3))), body)


def printed(name, told, arrays):
    """The card: a picture on paper, matte or with a sheen."""
    pixels = arrays[told["picture"]]
    height, width = pixels.shape[:2]
    image = bpy.data.images.new(name, width, height, float_buffer=True, is_data=True)
    full = np.ones((height, width, 4), np.float32)
    full[:, :, :3] = pixels[::-1]
    image.pixels.foreach_set(full.ravel())
    image.pack()
    n = Nodes(name)
    texture = n.add("ShaderNodeTexImage", extension="EXTEND")
    texture.image = image
    return n.quick(n.principled(Base_Color=texture.outputs[0], Roughness=told["sheen"] or 0.8,
                                Specular_IOR_Level=0.45 if told["sheen"] else 0.1), texture.outputs[0])


def between(told):
    """The colour that a tray's two shades make from afar."""
    return tuple(0.7 * light + 0.3 * dark for light, dark in zip(told["light"], told["dark"]))


def plain(name, told, _):
    """Lacquer or paper: nearly even, faint blotches and grain."""
    n = Nodes(name)
    weight = n.math("MULTIPLY", n.noise(90.0, told["seed"], 2.0), 0.6 * told["grain"])
    weight = n.math("ADD", weight, n.math("MULTIPLY", n.noise(0.7, told["seed"] + 1, 1.0), 0.5 * told["grain"]))
    return n.quick(n.principled(Base_Color=n.mix(weight, told["light"], told["dark"]),
                                Roughness=told["gloss"] or 0.75, Specular_IOR_Level=0.25), between(told))


def felt(name, told, _):
    n = Nodes(name)
    fibre = n.noise(0.45, told["seed"], 5.0, (1.0, 0.4, 1.0))
    cloud = n.noise(24.0, told["seed"] + 1, 4.0)
    weight = n.math("ADD", n.math("MULTIPLY", fibre, 0.8), n.math("MULTIPLY", cloud, 0.35))
    return n.quick(n.principled(Base_Color=n.mix(n.between(weight, 0.35, 0.85), told["light"], told["dark"]),
                               Roughness=1.0, Specular_IOR_Level=0.0, Sheen_Weight=0.25,
                               Normal=n.bump(fibre, 0.25)), between(told))


def cork(name, told, _):
    """Grains of several browns pressed together, some nearly black."""
    n = Nodes(name)
    wander = n.add("ShaderNodeTexVoronoi", inputs={"Vector": n.at(1 / 3.8, told["seed"]), "Scale": 1.0})
    grain = n.add("ShaderNodeSeparateColor", inputs={"Color": wander.outputs["Color"]}).outputs
    weight = n.math("ADD", n.math("MULTIPLY", grain[0], 0.4), n.math("MULTIPLY", n.noise(1.3, told["seed"] + 1, 3.0), 0.6))
    tone = n.mix(n.between(weight, 0.1, 1.1), told["light"], told["dark"])
    hole = n.between(n.noise(1.9, told["seed"] + 2, 3.0), 0.66, 0.72)
    deep = [value * 0.35 for value in told["dark"]]
    return n.quick(n.principled(Base_Color=n.mix(hole, tone, deep), Roughness=0.85, Specular_IOR_Level=0.15,
                               Normal=n.bump(wander.outputs["Distance"], 0.2)), between(told))


def kraft(name, told, _):
    n = Nodes(name)
    fibre = n.noise(0.9, told["seed"], 6.0, (0.12, 1.0, 1.0))
    fleck = n.between(n.noise(1.0, told["seed"] + 1, 2.0, (0.5, 1.2, 1.0)), 0.69, 0.74)
    weight = n.math("ADD", n.math("MULTIPLY", n.between(fibre, 0.3, 0.7), 0.5), n.math("MULTIPLY", fleck, 0.9))
    return n.quick(n.principled(Base_Color=n.mix(weight, told["light"], told["dark"]), Roughness=0.8,
                               Specular_IOR_Level=0.12), between(told))


def wood(name, told, _):
    """Grain as a plank cut along the trunk shows it: bands of rings, fibres, pores."""
    n = Nodes(name)
    bands = n.add("ShaderNodeTexWave", wave_type="BANDS", bands_direction="Y", inputs={
        "Vector": n.at(1 / 60, told["seed"], (0.12, 1.0, 1.0)), "Scale": 1.0, "Distortion": 9.0,
        "Detail": 3.0, "Detail Scale": 1.4}).outputs[1]
    fibre = n.noise(0.5, told["seed"] + 1, 4.0, (0.03, 1.0, 1.0))
    pore = n.between(n.noise(0.35, told["seed"] + 2, 1.0, (0.06, 1.0, 1.0)), 0.66, 0.72)
    weight = n.math("ADD", n.math("MULTIPLY", bands, 0.45), n.math("MULTIPLY", n.between(fibre, 0.3, 0.7), 0.25))
    weight = n.math("ADD", weight, n.math("MULTIPLY", pore, 0.25))
    return n.quick(n.principled(Base_Color=n.mix(weight, told["light"], told["dark"]), Roughness=0.42,
                               Specular_IOR_Level=0.35, Normal=n.bump(fibre, 0.03)), between(told))


def mat(name, told, _):
    """A cutting mat: fine lines every 10 mm, stronger every 50 mm, a pebbled skin."""
    n = Nodes(name)
    place = n.add("ShaderNodeSeparateXYZ", inputs={"Vector": n.at(1.0, told["seed"])}).outputs

    def lines(step, wide):
        far = [n.math("ABSOLUTE", n.math("SUBTRACT", n.math("FRACT", n.math("DIVIDE", place[axis], step)), 0.5))
               for axis in (0, 1)]
        return n.math("MAXIMUM", *(n.math("LESS_THAN", one, wide / step / 2) for one in far))

    drawn = n.math("MAXIMUM", n.math("MULTIPLY", lines(10.0, 0.35), 0.45), n.math("MULTIPLY", lines(50.0, 0.7), 0.8))
    pebble = n.noise(0.5, told["seed"] + 1, 2.0)
    ground = n.mix(n.noise(40.0, told["seed"] + 2), told["dark"], [0.85 * value for value in told["dark"]])
    return n.quick(n.principled(Base_Color=n.mix(drawn, ground, told["light"]), Roughness=0.5,
                               Specular_IOR_Level=0.3, Normal=n.bump(pebble, 0.06)), tuple(told["dark"]))


def sheet(name, told, _):
    """A moulded plastic tray: even, with a fine grain that breaks what it mirrors."""
    n = Nodes(name)
    weight = n.math("MULTIPLY", n.noise(70.0, told["seed"], 3.0), 0.4)
    return n.quick(n.principled(Base_Color=n.mix(weight, told["light"], told["dark"]),
                               Roughness=told["gloss"] or 0.35, Specular_IOR_Level=0.5,
                               Normal=n.bump(n.noise(0.4, told["seed"] + 1, 2.0), 0.02)), between(told))


def numbered():
    """Shines with its object's number."""
    n = Nodes("numbers")
    number = n.add("ShaderNodeObjectInfo").outputs["Object Index"]
    return n.done(n.add("ShaderNodeEmission", inputs={"Color": number, "Strength": 1.0}).outputs[0])


def surround(scene, told):
    """A room: lighter above than at the sides, dark below."""
    world = bpy.data.worlds.new("room")
    scene.world = world
    world.use_nodes = True
    tree = world.node_tree
    where = tree.nodes.new("ShaderNodeTexCoord")
    split = tree.nodes.new("ShaderNodeSeparateXYZ")
    ramp = tree.nodes.new("ShaderNodeValToRGB")
    tree.links.new(where.outputs["Generated"], split.inputs[0])
    scale = tree.nodes.new("ShaderNodeMapRange")
    scale.inputs["From Min"].default_value = -1.0
    tree.links.new(split.outputs["Z"], scale.inputs["Value"])
    tree.links.new(scale.outputs[0], ramp.inputs[0])
    stops = ramp.color_ramp.elements
    stops[0].position, stops[0].color = 0.45, (*told["below"], 1)
    stops[1].position, stops[1].color = 0.52, (*told["side"], 1)
    top = stops.new(1.0)
    top.color = (*told["above"], 1)
    tree.links.new(ramp.outputs[0], tree.nodes["Background"].inputs["Color"])
    world.cycles.sampling_method, world.cycles.sample_map_resolution = "MANUAL", 64
