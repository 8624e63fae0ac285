"""Desks of other people: each world has one printed copy of the card, one mix of colours, makers
of pieces, and a phone or two, all drawn from the world's number. Its photos say what lies where
on which tray in which light; what is not said is drawn from the photo's seed."""

import dataclasses
from dataclasses import dataclass

import numpy as np

from .card import Print
from .lights import Lighting
from .phone import Phone
from .recipe import Recipe
from .tray import Tray

SMALL = ("1x1", "1x2", "1x3", "1x4", "2x2", "2x3", "2x4")
MEDIUM = ("1x1", "1x2", "1x3", "1x4", "1x6", "2x2", "2x3", "2x4")


@dataclass(frozen=True)
class World:
    name: str
    number: int
    mix: str = "PIECES"
    metering: str = ""      # of its phones, where not drawn

    def rng(self, what):
        return np.random.default_rng([self.number, *what.encode()])

    def copy(self):
        """The printed copy of the card: black L* 17 to 32, paper L* 88 to 96, ink errors, sheen."""
        u = self.rng("print").uniform
        sheen = round(u(0.18, 0.5), 3) if u() < 0.5 else 0.0
        return Print(1000 + self.number, round(u(17.5, 32), 1), round(u(88, 96), 1), round(u(0.3, 1.1), 2), sheen)

    def phone(self, which=0):
        """One of its phones."""
        u = self.rng(f"phone{which}").uniform
        number = 10 * self.number + which
        return Phone(f"drawn-{number}", round(u(0.0, 0.05), 3), _other(self.metering, "mean" if u() < 0.6 else "highlights"),
                     round(u(0, 0.02), 4), round(max(0.0, u(-0.3, 1)), 2), round(max(0.0, u(-0.2, 1)), 2),
                     round(u(1.4, 4.2), 2), round(u(0, 12), 1), round(max(0.0, u(-0.4, 0.9)), 2))


def _other(given, drawn):
    return given or drawn


def teach(world, seed, named, lighting, tray, form, size, colours, **given):
    """A photo that a user teaches from: a careful one, with a clean card."""
    own = dict(name=f"teach-{world.name}-{named}-{len(colours)}", sizes=(size,), colours=colours, card_side="top",
               card_turn=0.0, tilt=3.0, dust=40, wear=0.2)
    return photo(world, seed, "teach", form, lighting, tray, **(own | given))


def photo(world, seed, kind, form, lighting, tray, count=0, phone=0, **given):
    """A recipe in a world. Its name tells kind, world and count."""
    rng = np.random.default_rng([seed, *b"photo"])
    u = rng.uniform
    plain = kind if form == "mixed" else f"{kind}-{form}s" if kind in ("poured", "dumped") else f"{form}s-{kind}"
    what = given.pop("what", plain)
    own = dict(
        name=f"{what}-{world.name}-{count}", mix=world.mix,
        phone=world.phone(phone), card_print=world.copy(), moulds=world.number, world=world.name,
        spread=round(u(0.2, 1.0), 2), wear=round(u(0, 0.9), 2), dust=int(u(0, 260)), noise=round(np.exp(u(-5.2, -3.7)), 4),
        distance=round(u(360, 560)), tilt=round(abs(rng.normal(0, 8)), 1), card_side=str(rng.choice(["left", "right", "top", "bottom"])),
        card_turn=float(rng.choice([0, 0, 180])), cast_kept=round(u(0.05, 0.45), 2), quality=int(u(70, 90)), tell_focal=bool(u() < 0.7),
        focal_35mm=int(rng.choice([24, 25, 26, 27, 28])), colour_count=int(rng.integers(6, 15)), depth=6, spp=128)
    return Recipe(seed=seed, kind=kind, form=form, lighting=lighting, tray=tray, count=count, **(own | given))


def again(first, view, lighting=None, **given):
    """Another view of a scene at rest, in its own light or another."""
    return dataclasses.replace(first, name=first.name.removesuffix("-a") + f"-{view}", rests=first, view=view,
                               lighting=lighting or first.lighting, **given)


def small(colour, surface, wide, high, seed, table="pale-wood", **given):
    """A small tray whose rim stands close around the pieces."""
    u = np.random.default_rng([seed, *b"tray"]).uniform
    high_mm = round(u(5, 20), 1)
    own = dict(inside_mm=(wide, high), rim_mm=high_mm, rim_width=round(u(1.5, 9), 1), rim_lean=round(u(0, 0.3 * high_mm), 1),
               corner_mm=round(u(2, 14), 1), turn=round(u(-9, 9), 1),
               gloss=round(u(0.15, 0.45), 2) if surface == "plastic" else 0.0)
    return Tray(colour, 0.5, table, surface=surface, **(own | given))


def open_(colour, surface, seed, **given):
    """A tray, mat or table that is larger than the picture."""
    u = np.random.default_rng([seed, *b"tray"]).uniform
    own = dict(turn=round(u(-12, 12), 1), gloss=round(u(0.2, 0.5), 2) if surface == "plastic" else 0.0)
    return Tray(colour, 0.5, surface=surface, **(own | given))


def light(illuminant, key, seed, **given):
    u = np.random.default_rng([seed, *b"light"]).uniform
    return Lighting(illuminant, key, round(u(0, 360)), walls=(round(u(45, 88), 1), round(u(-3, 5), 1), round(u(-4, 14), 1)), **given)
