"""Pair surveys: the covariance of pairs, what surer knowledge is worth, search, next patches."""

from kit.design.surveys.choose_next import next_patches
from kit.design.surveys.pair_covariance import Floats, checked_colours
from kit.design.surveys.pair_survey import survey

__all__ = ["Floats", "checked_colours", "next_patches", "survey"]
