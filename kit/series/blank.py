"""The copper blank, the stencil, and where the numbered patches lie on it."""

import math
from dataclasses import dataclass
from typing import Literal

from kit.errors import Misuse

BlankShape = Literal["square", "round", "strip"]
StencilShape = Literal["disc", "square", "bar"]


@dataclass(frozen=True)
class Stencil:
    """The opening that every patch is sifted through.

    Parameters
    ----------
    shape : {'disc', 'square', 'bar'}
        A bar is twice as high as it is wide.
    size_mm : float
        Width of the opening.
    """

    shape: StencilShape = "disc"
    size_mm: float = 14.0

    @property
    def height_mm(self) -> float:
        return self.size_mm * (2 if self.shape == "bar" else 1)

    @property
    def area_cm2(self) -> float:
        if self.shape == "disc":
            return math.pi * self.size_mm**2 / 400
        return self.size_mm * self.height_mm / 100


@dataclass(frozen=True)
class Blank:
    """A bare piece of copper.

    Parameters
    ----------
    shape : {'square', 'round', 'strip'}
        A strip takes its patches in one row.
    width_mm, height_mm : float
        Outer size. A round blank's width is its diameter, and its height the same.
    thickness_mm : float
    clearance_mm : float
        Least distance of a patch from the rim and from its neighbours.
    """

    shape: BlankShape = "square"
    width_mm: float = 50.0
    height_mm: float = 50.0
    thickness_mm: float = 1.2
    clearance_mm: float = 4.0

    @property
    def area_cm2(self) -> float:
        if self.shape == "round":
            return math.pi * self.width_mm**2 / 400
        return self.width_mm * self.height_mm / 100


@dataclass(frozen=True)
class Position:
    """Centre of a numbered patch, in mm from the blank's top left corner (y runs down)."""

    number: int
    x_mm: float
    y_mm: float


def positions(blank: Blank, stencil: Stencil, count: int) -> tuple[Position, ...]:
    """Lay `count` patches out on a blank.

    They are numbered as one reads: left to right, then down (clockwise from the top on a round
    blank of three or more).

    Raises
    ------
    Misuse
        When they do not fit with the blank's clearance; the message says how many do.
    """
    laid = _lay(blank, stencil, count)
    if laid is None:
        most = max((n for n in range(1, count) if _lay(blank, stencil, n)), default=0)
        raise Misuse(
            f"{count} patches of {stencil.size_mm:g} mm do not fit on a {blank.width_mm:g} x "
            f"{blank.height_mm:g} mm {blank.shape} blank with {blank.clearance_mm:g} mm between "
            f"them. {'None fits' if not most else f'{most} would fit'}: choose fewer patches, a "
            "smaller stencil or a larger blank."
        )
    return laid


def _lay(blank: Blank, stencil: Stencil, count: int) -> tuple[Position, ...] | None:
    if blank.shape == "round":
        return _ring(blank, stencil, count)
    if blank.shape == "strip":
        across = blank.width_mm >= blank.height_mm
        return _grid(blank, stencil, count, *((count, 1) if across else (1, count)))
    layouts = (
        _grid(blank, stencil, count, columns, math.ceil(count / columns))
        for columns in sorted(range(1, count + 1), key=lambda c: abs(c - math.sqrt(count)))
    )
    return next((laid for laid in layouts if laid), None)


def _grid(
    blank: Blank, stencil: Stencil, count: int, columns: int, rows: int
) -> tuple[Position, ...] | None:
    gap_x = (blank.width_mm - columns * stencil.size_mm) / (columns + 1)
    gap_y = (blank.height_mm - rows * stencil.height_mm) / (rows + 1)
    if min(gap_x, gap_y) < blank.clearance_mm:
        return None
    return tuple(
        Position(
            n + 1,
            gap_x + (n % columns) * (stencil.size_mm + gap_x) + stencil.size_mm / 2,
            gap_y + (n // columns) * (stencil.height_mm + gap_y) + stencil.height_mm / 2,
        )
        for n in range(count)
    )


def _ring(blank: Blank, stencil: Stencil, count: int) -> tuple[Position, ...] | None:
    middle = blank.width_mm / 2
    half = (
        stencil.size_mm / 2
        if stencil.shape == "disc"
        else math.hypot(stencil.size_mm, stencil.height_mm) / 2
    )
    radius = 0.0 if count == 1 else middle - blank.clearance_mm - half
    apart = 2 * radius * math.sin(math.pi / count) if count > 1 else math.inf
    if half + radius + blank.clearance_mm > middle + 1e-9 or radius < 0:
        return None
    if apart < 2 * half + blank.clearance_mm:
        return None
    turn = -math.pi / 2 if count != 4 else -3 * math.pi / 4
    return tuple(
        Position(
            n + 1,
            middle + radius * math.cos(turn + 2 * math.pi * n / count),
            middle + radius * math.sin(turn + 2 * math.pi * n / count),
        )
        for n in range(count)
    )
