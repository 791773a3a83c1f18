"""A card with the steps of each scale, drawn as large as they are, to hold beside a tile."""

from typing import Any

from kit.series import Series
from kit.sheets.paper import MARGIN_MM, MM_PER_INCH, Paper
from kit.sheets.to_scale import scale_key

_EDGE_MM = 6.0


def grade_card_data(series: Series, paper: Paper) -> dict[str, Any]:
    """Gather what the card says; it is printed as often as it fits on a page."""
    settings = series.settings
    scales = [scale_key(scale, settings) for scale in settings.scales]
    widest = max((p.width_in * MM_PER_INCH for s in scales for p in s["pictures"]), default=0.0)
    room = paper.width_mm - 2 * (MARGIN_MM + _EDGE_MM)
    return {"scales": scales, "shrink": min(1.0, room / widest) if widest else 1.0}
