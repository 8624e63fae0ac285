"""The plastic of each piece: its body colour and how rough its surface is. Pieces of one colour
come from three batches where a recipe has them differ (`spread`), and wear changes their gloss."""

import numpy as np

from . import palette, spectra
from .gloss import glossy

BATCHES = 3


def of_pieces(scene):
    """For each piece the key of its coat, and for each key (Lab, roughness)."""
    from .scene import stream

    recipe = scene.recipe
    gloss = stream(recipe.seed, "gloss")
    rough = {name: gloss.uniform(0.04, 0.09)
             for names in (palette.PIECES, palette.OTHERS, palette.QUAY) for name in sorted(names)}
    if not (recipe.spread or recipe.wear):
        return [p.colour for p in scene.pieces], {n: (palette.EVERY_NAME[n], rough[n])
                                                  for n in sorted({p.colour for p in scene.pieces})}
    rng, found = stream(recipe.seed, "batches"), {}
    # The third mix draws after the others, and only where it lies there: photos without it stay as they are.
    third = sorted(palette.QUAY) if any(piece.colour in palette.QUAY for piece in scene.pieces) else []
    for name in sorted(palette.EVERY) + third:
        for batch in range(BATCHES):
            shift = rng.normal(0, recipe.spread, 3) * (1.0, 0.7, 0.7)
            alpha = float(np.clip(rough[name] * np.exp(recipe.wear * rng.normal(0.3, 0.6)), 0.03, 0.35))
            found[f"{name}-{batch}"] = (tuple(np.array(palette.EVERY_NAME[name]) + shift), alpha)
    keys = [f"{piece.colour}-{rng.integers(BATCHES)}" for piece in scene.pieces]
    return keys, {key: found[key] for key in sorted(set(keys))}


def plastic(lab, roughness):
    return glossy(spectra.plastic(lab), 1.54, roughness)
