"""The photo card that a tile is laid on, and the slips that name tile and firing."""

from collections.abc import Iterable, Iterator
from typing import Any

from kit.errors import Misuse
from kit.photo import (
    SLIP_MM,
    Mark,
    card_drawing,
    card_for,
    firing_slip_drawing,
    tile_slip_drawing,
)
from kit.series import Series, cautions_for
from kit.sheets.to_scale import drawing_data

_UPRIGHT_MM = (180.0, 115.0)
"""A card up to this size shares an upright sheet with what is written about it, on A4 as on US
Letter; a larger one has a sheet on its side to itself, 7 mm left at each rim."""


def photo_card_data(series: Series, tiles: Iterable[int]) -> dict[str, Any]:
    """Gather the card for the blanks of a series and the slips for its tiles and firings.

    Raises
    ------
    Misuse
        When the blank is too large for a printed card.
    """
    card = card_for(series.settings.blank)
    firings = range(series.settings.last_firing + 1)
    slips = [*_tile_slips(tiles), *(firing_slip_drawing(firing) for firing in firings)]
    return {
        "card": {
            "width": card.width_mm,
            "height": card.height_mm,
            "across": f"{card.across_mm:g}",
            "down": f"{card.down_mm:g}",
            "own-page": card.width_mm > _UPRIGHT_MM[0] or card.height_mm > _UPRIGHT_MM[1],
            "marks": drawing_data(card_drawing(card)),
        },
        "slips": [drawing_data(slip) for slip in slips],
        "slip-mm": SLIP_MM,
        "cautions": [vars(c) for c in cautions_for("photograph")],
    }


def _tile_slips(tiles: Iterable[int]) -> Iterator[list[Mark]]:
    for tile in sorted(tiles):
        try:
            yield tile_slip_drawing(tile)
        except Misuse:  # tiles beyond the last that has a mark are photographed without one
            return
