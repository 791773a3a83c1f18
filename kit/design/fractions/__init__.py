"""Fractions of all combinations: generators, aliases, printed arrays, mixed levels, on tiles."""

from kit.design.fractions.fractional import Fraction, fraction
from kit.design.fractions.on_tiles import fraction_on_tiles

__all__ = ["Fraction", "fraction", "fraction_on_tiles"]
