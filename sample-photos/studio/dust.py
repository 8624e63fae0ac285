"""Specks and fibres on the tray and on what lies there, as one mesh of thin flakes."""

import numpy as np

GREY_LAB = (68.0, 0.5, 4.0)
LIFT_MM = 0.02


def flakes(scene, drop):
    """Vertices and faces. `drop(points)` tells how high what lies under places (n x 2) reaches."""
    from .scene import stream

    rng, view = stream(scene.recipe.seed, "dust"), scene.view
    pixels = rng.uniform(0, (view.width, view.height), (scene.recipe.dust, 2))
    places = view.on_tray(pixels)
    heights = drop(places)
    vertices, faces = [], []
    for (x, y), z in zip(places, heights):
        start = sum(len(v) for v in vertices)
        if rng.random() < 0.25:     # a fibre, bent
            long, turn, bend = rng.uniform(1.0, 4.0), rng.uniform(0, 2 * np.pi), rng.normal(0, 0.9)
            s = np.linspace(-0.5, 0.5, 7)
            angle = turn + bend * s
            line = np.stack([np.cumsum(np.cos(angle)), np.cumsum(np.sin(angle))], 1) * long / 7
            beside = np.stack([-np.sin(angle), np.cos(angle)], 1) * rng.uniform(0.02, 0.05)
            ring = np.concatenate([line + beside, line - beside])
            faces += [(start + k, start + 7 + k, start + k + 1) for k in range(6)]
            faces += [(start + k + 1, start + 7 + k, start + 8 + k) for k in range(6)]
        else:
            size, turn = np.exp(rng.normal(-1.9, 0.5)), rng.uniform(0, 2 * np.pi)
            angle = turn + np.arange(6) * np.pi / 3
            ring = size * np.stack([np.cos(angle), np.sin(angle)], 1) * rng.uniform(0.6, 1.2, (6, 1))
            faces += [(start, start + k, start + k + 1) for k in range(1, 5)]
        vertices.append(np.column_stack([ring + (x, y), np.full(len(ring), z + LIFT_MM)]))
    return np.concatenate(vertices), np.array(faces)
