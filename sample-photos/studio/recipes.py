"""All sample photos. A name tells what a photo holds; its last number is the count.

A seed is the photo's number in its list: numbered in order, never chosen by how a photo
turns out. Photos to tune on begin at 101, 201, 501 and 701, photos to check
with at 601 and 801; those of drawn desks at a hundred times their number.
"""

from . import set_check, set_cycles, set_drawn, set_failing, set_first, set_more, set_own, set_shapes, set_tune, set_wide

RECIPES = {recipe.name: recipe for recipe in
           set_first.PHOTOS + set_tune.PHOTOS + set_failing.PHOTOS + set_more.PHOTOS
           + set_shapes.PHOTOS + set_own.PHOTOS + set_wide.PHOTOS + set_check.PHOTOS + set_cycles.PHOTOS
           + set_drawn.PHOTOS}
