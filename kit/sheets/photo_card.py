"""The photo card that a tile is laid on, and the slips that name tile and firing."""

from collections.abc import Collection
from typing import Any

from kit.photo.card import SLIP_MM, card_for
from kit.photo.drawing import card_drawing, firing_slip_drawing, tile_slip_drawing
from kit.photo.marker import MOST_TILES
from kit.series import Series, cautions_for
from kit.sheets.drawing import drawing_data


def photo_card_data(series: Series, tiles: Collection[int]) -> dict[str, Any]:
    """Gather the card for the blanks of a series and the slips for its tiles and firings.

    Raises
    ------
    Misuse
        When the blank is too large for a printed card.
    """
    card = card_for(series.settings.blank)
    firings = range(max(series.settings.factors["firings"]) + 1)
    slips = [tile_slip_drawing(tile) for tile in sorted(tiles) if tile <= MOST_TILES]
    slips += [firing_slip_drawing(firing) for firing in firings]
    return {
        "card": {
            "width": card.width_mm,
            "height": card.height_mm,
            "marks": drawing_data(card_drawing(card)),
        },
        "slips": [drawing_data(slip) for slip in slips],
        "slip-mm": SLIP_MM,
        "cautions": [vars(c) for c in cautions_for("photograph")],
    }
