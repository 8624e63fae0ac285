"""Glossy surfaces whose body keeps its lightness, however rough they are.

Light that bounces twice between the facets of a rough surface is lost in Mitsuba's model of one, and as most of what a
plastic sends back has met the surface three times or more, a rough one comes out too dark: by an eighth at a roughness of
0.2, by half at 0.5. What is worn, or printed on coated paper, is not; so the body is made as much lighter."""

import numpy as np

from .lights import _spectrum

# The body's light under an even sky at a roughness of 0.1 against that at each of these: Mitsuba 3.9.0, reflectance 0.5,
# mean of the indices 1.49 and 1.54 and of 5 and 30 degrees off the normal, which differ by 2.4 % at most.
ROUGHNESS = (0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5)
MADE_UP = (1.0, 1.072, 1.155, 1.244, 1.338, 1.435, 1.534, 1.632, 1.733)


def glossy(reflectance, index, roughness):
    """A plastic, a coated paper, a glossy floor: its body's reflectance under a surface of this index."""
    lighter = float(np.interp(roughness, ROUGHNESS, MADE_UP))
    return {"type": "roughplastic", "distribution": "ggx", "int_ior": index, "alpha": roughness,
            "diffuse_reflectance": _spectrum(np.asarray(reflectance) * lighter)}
