"""The photo card: what lies where on it, in mm from its top left corner (y runs down)."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.errors import Misuse
from kit.series import Blank

CARD_IDS = (0, 1, 2, 3)
"""Marks at the card's corners: top left, top right, bottom right, bottom left."""

MARKER_MM = 14.0
QUIET_MM = 4.0
"""White paper left round a mark, so that it is found."""

_COLUMN_MM = QUIET_MM + MARKER_MM + QUIET_MM
_STRIP_MM = 12.0
_LEAST_HEIGHT_MM = 80.0
LARGEST_CARD_MM = (265.0, 196.0)
"""What a home printer can cover on both A4 and US Letter, laid sideways, 7 mm left at each rim."""

WINDOW_MARGIN_MM = 3.0
FIELD_CELL_MM = 2.0
"""Side of the black and white bricks of the field that the tile is laid on."""

GREYS = (0.0, 0.2, 0.35, 0.5, 0.65, 0.8)
SLIP_MM = 17.0
SLIP_MARKER_MM = 11.2


@dataclass(frozen=True)
class Box:
    """An upright rectangle on the card, in mm."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float

    @property
    def corners(self) -> NDArray[np.float64]:
        """Corners clockwise from the top left, (4, 2) in mm."""
        right, bottom = self.x_mm + self.width_mm, self.y_mm + self.height_mm
        return np.array(
            [[self.x_mm, self.y_mm], [right, self.y_mm], [right, bottom], [self.x_mm, bottom]]
        )

    def grown(self, margin_mm: float) -> "Box":
        """The same box with a margin added on each side (taken off when negative)."""
        return Box(
            self.x_mm - margin_mm,
            self.y_mm - margin_mm,
            self.width_mm + 2 * margin_mm,
            self.height_mm + 2 * margin_mm,
        )


@dataclass(frozen=True)
class PrintScale:
    """What the printer really made of the card, from two lengths measured with a rule.

    Parameters
    ----------
    across, down : float
        Printed length over planned length, along and down the card.
    """

    across: float = 1.0
    down: float = 1.0

    def __post_init__(self) -> None:
        for name, value in (("across", self.across), ("down", self.down)):
            if not 0.9 <= value <= 1.1:
                raise Misuse(
                    f"The length measured {name} the card is {value:.2f} times what was planned. "
                    "Printers are seldom out by more than a tenth: measure again, in mm, between "
                    "the outer edges of the corner marks, or print again at 'actual size'."
                )


@dataclass(frozen=True)
class Card:
    """Geometry of the card that a tile is laid on to be photographed.

    Parameters
    ----------
    window_width_mm, window_height_mm : float
        The patterned field that the tile is laid on.
    """

    window_width_mm: float = 56.0
    window_height_mm: float = 56.0

    def __post_init__(self) -> None:
        if self.width_mm > LARGEST_CARD_MM[0] or self.height_mm > LARGEST_CARD_MM[1]:
            raise Misuse(
                "On A4 and US Letter no card can be printed whole for so large a blank. "
                f"A card for a {self.window_width_mm - 2 * WINDOW_MARGIN_MM:g} x "
                f"{self.window_height_mm - 2 * WINDOW_MARGIN_MM:g} mm blank does not fit on one "
                f"printed sheet: the blank can be up to "
                f"{LARGEST_CARD_MM[0] - 2 * _COLUMN_MM - 2 * WINDOW_MARGIN_MM:g} x "
                f"{LARGEST_CARD_MM[1] - 2 * _STRIP_MM - 2 * WINDOW_MARGIN_MM:g} mm."
            )

    @property
    def width_mm(self) -> float:
        return self.window_width_mm + 2 * _COLUMN_MM

    @property
    def height_mm(self) -> float:
        return max(self.window_height_mm + 2 * _STRIP_MM, _LEAST_HEIGHT_MM)

    @property
    def window(self) -> Box:
        """The patterned field for the tile."""
        return Box(
            _COLUMN_MM,
            (self.height_mm - self.window_height_mm) / 2,
            self.window_width_mm,
            self.window_height_mm,
        )

    @property
    def bricks(self) -> tuple[Box, ...]:
        """The black bricks of the field: no enamel has this pattern, whatever its colour.

        Each row lies half a brick beside the one above, so that no straight rim can run along the
        pattern's own edges for long.
        """
        window, cell = self.window, FIELD_CELL_MM
        laid = []
        for row in range(int(np.ceil(window.height_mm / cell))):
            top = row * cell
            first = -(row % 4) * cell / 2
            for left in np.arange(first, window.width_mm, 2 * cell):
                start, end = max(float(left), 0.0), min(float(left) + cell, window.width_mm)
                if end - start > 1e-6:
                    laid.append(
                        Box(
                            window.x_mm + start,
                            window.y_mm + top,
                            end - start,
                            min(cell, window.height_mm - top),
                        )
                    )
        return tuple(laid)

    def blackness(self, place: NDArray[np.float64]) -> NDArray[np.float64]:
        """Say where the field is printed black: 1 on a black brick, 0 on white, nan beside it.

        Parameters
        ----------
        place : ndarray (..., 2)
            In planned card mm.
        """
        window, cell = self.window, FIELD_CELL_MM
        x, y = place[..., 0] - window.x_mm, place[..., 1] - window.y_mm
        row = np.floor(y / cell)
        black = np.floor((x + row % 4 * cell / 2) / cell) % 2 == 0
        beside = (x < 0) | (y < 0) | (x > window.width_mm) | (y > window.height_mm)
        return np.where(beside, np.nan, black.astype(float))

    @property
    def markers(self) -> tuple[Box, Box, Box, Box]:
        """The corner marks, in the order of `CARD_IDS`."""
        left, top = QUIET_MM, QUIET_MM
        right = self.width_mm - QUIET_MM - MARKER_MM
        bottom = self.height_mm - QUIET_MM - MARKER_MM
        return (
            Box(left, top, MARKER_MM, MARKER_MM),
            Box(right, top, MARKER_MM, MARKER_MM),
            Box(right, bottom, MARKER_MM, MARKER_MM),
            Box(left, bottom, MARKER_MM, MARKER_MM),
        )

    @property
    def greys(self) -> tuple[Box, ...]:
        """The steps of the grey scale, darkest first, as `GREYS`."""
        step = 6.0
        top = (self.height_mm - step * len(GREYS)) / 2
        return tuple(Box(5.0, top + n * step, 12.0, step) for n in range(len(GREYS)))

    @property
    def slots(self) -> tuple[Box, Box]:
        """Where the tile's slip and the firing's slip are laid."""
        side = SLIP_MM + 1.5
        x = self.width_mm - _COLUMN_MM + 1.75
        middle = self.height_mm / 2
        return Box(x, middle - side - 0.5, side, side), Box(x, middle + 0.5, side, side)

    @property
    def paper(self) -> tuple[Box, ...]:
        """Fields of bare paper round the window, from which the light is judged."""
        window = self.window
        right = window.x_mm + window.width_mm
        bottom = window.y_mm + window.height_mm
        over = Box(window.x_mm, 6.5, window.width_mm, window.y_mm - 7.5)
        under = Box(window.x_mm, bottom + 1.0, window.width_mm, self.height_mm - bottom - 7.5)
        tall = self.height_mm - 2 * QUIET_MM
        beside = (
            Box(window.x_mm - 3.0, QUIET_MM, 2.0, tall),
            Box(right + 0.4, QUIET_MM, 1.0, tall),
        )
        greys = self.greys
        outer = Box(1.5, greys[0].y_mm, 2.0, greys[0].height_mm * len(greys))
        return (over, under, *beside, outer)

    @property
    def across_mm(self) -> float:
        """Planned length between the outer edges of the two upper corner marks."""
        return self.width_mm - 2 * QUIET_MM

    @property
    def down_mm(self) -> float:
        """Planned length between the outer edges of the two left corner marks."""
        return self.height_mm - 2 * QUIET_MM

    def print_scale(self, across_mm: float, down_mm: float) -> PrintScale:
        """Turn the two lengths that a person measured on the print into its scale.

        Parameters
        ----------
        across_mm : float
            Between the outer edges of the two upper corner marks.
        down_mm : float
            Between the outer edges of the two left corner marks.

        Raises
        ------
        Misuse
            When a length is out by more than a tenth.
        """
        return PrintScale(across_mm / self.across_mm, down_mm / self.down_mm)

    def marker_corners(self, scale: PrintScale) -> dict[int, NDArray[np.float64]]:
        """True place of each corner mark on the print: its id, and its corners (4, 2) in mm."""
        stretch = np.array([scale.across, scale.down])
        return {
            identity: box.corners * stretch
            for identity, box in zip(CARD_IDS, self.markers, strict=True)
        }


def card_for(blank: Blank) -> Card:
    """Lay out the card for a blank.

    Raises
    ------
    Misuse
        When the blank is too large for a card on one printed sheet.
    """
    return Card(blank.width_mm + 2 * WINDOW_MARGIN_MM, blank.height_mm + 2 * WINDOW_MARGIN_MM)
