"""Weights between those of two trainings, the second of which went on from the first: what a short training on other
scenes wins without losing what the long one knew (Wortsman et al. 2022, Robust fine-tuning of zero-shot models)."""

from pathlib import Path

from safetensors.torch import load_file, save_file, safe_open

from . import unfold
from .export import answer_file


def blend(first, second, share, weights, reference):
    """Writes weights this share of the way from `first` to `second`, both exported files, and what they answer."""
    one, two = load_file(first), load_file(second)
    with safe_open(second, "pt") as file:
        told = file.metadata()
    mixed = {name: ((1 - share) * one[name].float() + share * two[name].float()).half().contiguous() for name in two}
    Path(weights).parent.mkdir(parents=True, exist_ok=True)
    save_file(mixed, weights, told)
    answer_file(mixed, unfold.sizes(told)[1], reference)
