"""The second renderer: Blender's Cycles, with meshes, colours, lens and phone of its own.

    moulds      the pieces' meshes
    inks        three-number colours, the printed card
    stage       a scene as plain meshes, surfaces, lamps and a pinhole
    blender, surfaces   draw that; run by a Python that has `bpy`, in a process of its own
    lens        distortion and colour fringes
    develop     light -> the picture that a phone would save

With the first renderer it shares what a scene is (where card and pieces lie, where lamps and
camera stand) and the truth that is told of it. Nothing of what makes the picture is shared, so
that what works on one renderer's photos can be tried on the other's.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from ..solidity import Wrong
from . import develop, lens, stage
from .stage import moulded      # noqa: F401

STRAY_SHARE = 2e-4      # of the pieces' pixels, which may be shown otherwise away from any border


def picture(scene, ids, samples):
    """The finished upright picture, 8 bit. Blender's own rays through the pixels' centres must
    show the pieces where `ids`, the truth's picture of numbers, does."""
    straight = lens.pinhole(scene.view)
    with tempfile.TemporaryDirectory() as folder:
        stage.Stage(scene, samples).write(Path(folder))
        drawn = [str(Path(__file__).parent / "blender.py"), folder]
        done = subprocess.run([blender_python(), *drawn], capture_output=True, text=True)
        if done.returncode:
            raise RuntimeError(f"Blender could not draw {scene.recipe.name}:\n{done.stderr[-2000:]}")
        light = np.load(Path(folder) / "picture.npy")
        numbers = np.load(Path(folder) / "numbers.npy")
    agree(ids, lens.nearest(numbers, scene.view, straight))
    return develop.developed(lens.bend(light, scene.view, straight), scene)


def blender_python():
    """The Python that has `bpy`, which needs an older numpy than the studio."""
    return os.environ.get("STUDIO_BPY_PYTHON", sys.executable)


def agree(ids, drawn):
    """Two pictures of numbers differ nowhere but on the rim of a pixel."""
    padded = np.pad(ids, 1, mode="edge")
    high, wide = ids.shape
    near = [padded[y:y + high, x:x + wide] == drawn for y in range(3) for x in range(3)]
    stray = (~np.logical_or.reduce(near)).sum()
    if stray > STRAY_SHARE * max(1, (ids > 0).sum()):
        raise Wrong(f"{stray} pixels show another piece than the truth says")
