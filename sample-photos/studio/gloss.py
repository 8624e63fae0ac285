"""Glossy surfaces whose body keeps its lightness, however rough they are.

Mitsuba's model of a rough surface follows one bounce between facets and loses the light of further ones, so a rough plastic
comes out too dark: against one of roughness 0.1 by an eighth at 0.2 and by two fifths at 0.5. Worn plastic and coated paper
are no darker than smooth ones, so the body is made that much lighter."""

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
