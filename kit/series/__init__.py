"""A series in memory and on disk: words, tables, checks, import and export."""

from kit.series.blank import Blank, Position, Stencil, positions

__all__ = ["Blank", "Position", "Stencil", "positions"]
