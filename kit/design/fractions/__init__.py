"""Fractions of all combinations: generators, aliases, printed arrays, mixed levels, on tiles."""

from kit.design.fractions.fractional import Fraction, fraction, fraction_on_tiles

__all__ = ["Fraction", "fraction", "fraction_on_tiles"]
