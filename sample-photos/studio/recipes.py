"""All sample photos. A name tells what a photo holds; its last number is the count.

A seed is the photo's number in its list: numbered in order, never chosen by how a photo
turns out. Photos to tune on begin at 101, photos to check with at 501.
"""

from . import set_check, set_failing, set_first, set_shapes, set_tune

RECIPES = {recipe.name: recipe for recipe in
           set_first.PHOTOS + set_tune.PHOTOS + set_failing.PHOTOS + set_check.PHOTOS
           + set_shapes.PHOTOS}
