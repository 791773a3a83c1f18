"""Pair surveys: what is known of pairs, verdicts to expect, the search, what to fire next."""

from kit.design.surveys.choose_next import next_patches
from kit.design.surveys.pair_numbers import Floats, checked_colours
from kit.design.surveys.pair_survey import TileFormat, survey

__all__ = ["Floats", "TileFormat", "checked_colours", "next_patches", "survey"]
