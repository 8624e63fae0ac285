"""Trays of three drawn desks (see `drawn`), each in two or three views: two desks to tune on, one to check with, which
nothing is fitted on."""

import dataclasses

from . import drawn


def _of(number, folder, *seeds, views="ab", lessons=1):
    """A desk's first lessons and the named trays, by names that say what lies there."""
    firsts, found = {}, []
    for recipe in drawn.desk(number):
        if recipe.kind == "teach":
            if len(found) < lessons:
                found.append(dataclasses.replace(recipe, folder=folder))
        elif recipe.seed in seeds and recipe.view in views:
            what = recipe.kind if recipe.form == "mixed" else f"{recipe.form}s-{recipe.kind}"
            named = dataclasses.replace(recipe, name=f"{what}-{recipe.world}-{recipe.count}-{recipe.view}", folder=folder,
                                        rests=firsts.get(recipe.seed))
            firsts.setdefault(recipe.seed, named)
            found.append(named)
    return found


PHOTOS = [*_of(304, "tune", 30430, 30450), *_of(305, "tune", 30510, 30530), *_of(311, "check", 31110, 31130, 31150, views="abc", lessons=2)]
