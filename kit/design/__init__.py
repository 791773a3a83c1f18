"""What to fire: fractions, optimal split plots, pair surveys, precision and order of work."""

from kit.design.efficiency import Efficiency, RelativeEfficiency, efficiency, relative_efficiency
from kit.design.fraction import Fraction, fraction
from kit.design.optimal import optimal

__all__ = [
    "Efficiency",
    "Fraction",
    "RelativeEfficiency",
    "efficiency",
    "fraction",
    "optimal",
    "relative_efficiency",
]
