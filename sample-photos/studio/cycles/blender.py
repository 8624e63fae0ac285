"""Run by the Python that has `bpy`, in a process of its own: python blender.py FOLDER.

Reads scene.json and arrays.npz that `stage` wrote, and leaves picture.npy (linear light, height x
width x 3) and numbers.npy (which object each pixel's centre shows) there. Knows nothing of
pieces: meshes, surfaces, lamps and a pinhole. Lengths are millimetres."""

import json
import sys
from pathlib import Path

import bpy
import numpy as np
import surfaces

SMOOTH_DEG = 30.0       # faces that meet at less are shaded as one curved surface
NOISE = 0.03           # at which adaptive sampling leaves a pixel
BOUNCES = 2


def main(folder):
    told = json.loads((folder / "scene.json").read_text())
    arrays = np.load(folder / "arrays.npz")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    made = {name: surfaces.make(name, one, arrays) for name, one in told["surfaces"].items()}
    meshes = {name: mesh(name, arrays, told["meshes"][name]) for name in told["meshes"]}
    for one in told["objects"]:
        add(scene, one, meshes, made)
    for one in told["lamps"]:
        lamp(scene, one)
    surfaces.surround(scene, told["surround"])
    camera(scene, told["camera"])
    np.save(folder / "numbers.npy", numbers(scene, folder))
    np.save(folder / "picture.npy", picture(scene, told, folder))


def mesh(name, arrays, texture):
    """A mesh whose flat faces stay flat and whose curved ones are smooth."""
    points, faces = arrays[f"{name}.points"], arrays[f"{name}.faces"]
    found = bpy.data.meshes.new(name)
    found.vertices.add(len(points))
    found.vertices.foreach_set("co", points.astype(np.float32).ravel())
    found.loops.add(faces.size)
    found.loops.foreach_set("vertex_index", faces.astype(np.int32).ravel())
    found.polygons.add(len(faces))
    found.polygons.foreach_set("loop_start", np.arange(0, faces.size, 3, dtype=np.int32))
    found.update(calc_edges=True)
    found.polygons.foreach_set("use_smooth", np.ones(len(faces), bool))
    found.set_sharp_from_angle(angle=np.radians(SMOOTH_DEG))
    if texture:
        layer = found.uv_layers.new(name="print")
        layer.data.foreach_set("uv", arrays[f"{name}.places"][faces.ravel()].astype(np.float32).ravel())
    return found


def add(scene, told, meshes, made):
    """One object. Its surface is its own, not its mesh's, since meshes are shared."""
    data = meshes[told["mesh"]]
    if not data.materials:
        data.materials.append(None)
    thing = bpy.data.objects.new(told["name"], data)
    scene.collection.objects.link(thing)
    thing.material_slots[0].link = "OBJECT"
    thing.material_slots[0].material = made[told["surface"]]
    thing.matrix_world = [list(row) for row in told["matrix"]]
    thing.matrix_world.transpose()
    thing.pass_index = told["number"]
    thing.color = (*told["colour"], 1.0)


def lamp(scene, told):
    """A rectangle or disk of even radiance; its power is that times pi times its area."""
    light = bpy.data.lights.new("lamp", "AREA")
    light.shape = "RECTANGLE" if told["shape"] == "rectangle" else "DISK"
    light.size, light.size_y = 2 * told["half"][0], 2 * told["half"][1]
    area = 4 * told["half"][0] * told["half"][1] * (1.0 if told["shape"] == "rectangle" else np.pi / 4)
    strongest = max(told["radiance"])
    light.energy = strongest * np.pi * area
    light.color = [value / strongest for value in told["radiance"]]
    thing = bpy.data.objects.new("lamp", light)
    scene.collection.objects.link(thing)
    away = np.array(told["origin"], float) - told["target"]
    away /= np.linalg.norm(away)
    across = np.cross((0, 0, 1), away) if abs(away[2]) < 0.999 else np.array([1.0, 0, 0])
    across /= np.linalg.norm(across)
    place(thing, np.stack([across, np.cross(away, across), away], axis=1), told["origin"])


def camera(scene, told):
    """The pinhole; with depth of field, a thin lens of the phone's opening."""
    data = bpy.data.cameras.new("phone")
    width, height = told["width"], told["height"]
    data.sensor_fit, data.sensor_width = "HORIZONTAL", 36.0
    data.lens = told["f_px"] * 36.0 / width
    data.shift_x = (width / 2 - told["cx"]) / width
    data.shift_y = (told["cy"] - height / 2) / width
    data.clip_start, data.clip_end = 1.0, 1e5
    if told["pupil"]:
        data.dof.use_dof = True
        data.dof.focus_distance = told["focus"]
        data.dof.aperture_fstop = 1e-3 * data.lens / told["pupil"]      # Blender's lens is in thousandths
    thing = bpy.data.objects.new("phone", data)
    scene.collection.objects.link(thing)
    right, down, ahead = np.array(told["rotation"])
    place(thing, np.stack([right, -down, -ahead], axis=1), told["position"])
    scene.camera = thing
    scene.render.resolution_x, scene.render.resolution_y = width, height
    scene.render.resolution_percentage = 100


def place(thing, axes, position):
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = axes, position
    thing.matrix_world = matrix.T.tolist()


def numbers(scene, folder):
    """One ray through each pixel's centre; every surface shines with its object's number."""
    cycles, layer = scene.cycles, scene.view_layers[0]
    cycles.samples, cycles.use_adaptive_sampling, cycles.use_denoising = 1, False, False
    cycles.pixel_filter_type, cycles.filter_width = "BOX", 0.01
    dof, scene.camera.data.dof.use_dof = scene.camera.data.dof.use_dof, False
    layer.material_override = surfaces.numbered()
    found = render(scene, folder)[:, :, 0]
    layer.material_override, scene.camera.data.dof.use_dof = None, dof
    return np.round(found).astype(np.int32)


def picture(scene, told, folder):
    cycles = scene.cycles
    cycles.samples, cycles.seed = told["samples"], told["seed"]
    cycles.use_adaptive_sampling, cycles.adaptive_threshold = True, NOISE
    cycles.adaptive_min_samples = min(8, told["samples"])
    cycles.use_light_tree = False       # a handful of lamps
    cycles.use_denoising, cycles.denoiser = True, "OPENIMAGEDENOISE"
    cycles.denoising_input_passes, cycles.denoising_prefilter = "RGB_ALBEDO_NORMAL", "FAST"
    cycles.pixel_filter_type, cycles.filter_width = "GAUSSIAN", 1.5
    cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces = BOUNCES, BOUNCES, 2
    cycles.caustics_reflective = cycles.caustics_refractive = False
    cycles.sample_clamp_indirect = 6.0
    return render(scene, folder)


def render(scene, folder):
    """Linear pixels, from the top."""
    path = folder / "render.exr"
    settings = scene.render.image_settings
    settings.file_format, settings.color_depth, settings.color_mode = "OPEN_EXR", "32", "RGB"
    scene.render.filepath = str(path)
    bpy.ops.render.render(write_still=True)
    image = bpy.data.images.load(str(path))
    image.colorspace_settings.name = "Non-Color"
    width, height = image.size
    pixels = np.empty(width * height * 4, np.float32)
    image.pixels.foreach_get(pixels)
    bpy.data.images.remove(image)
    path.unlink()
    return np.ascontiguousarray(pixels.reshape(height, width, 4)[::-1, :, :3])


if __name__ == "__main__":
    main(Path(sys.argv[1]))
