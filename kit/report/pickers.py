"""Picking a pair, or a number of tiles, instead of typing: small forms for the notebooks."""

import ipywidgets

from kit.design import NEXT_TILES
from kit.errors import Misuse
from kit.report.analysis import Analysis
from kit.report.findings.pair_findings import Pair
from kit.report.page.document import Bullets, Paragraph, Point, Shown
from kit.report.page.html import fragment
from kit.report.sections.suggested_patches import suggest, suggestion_table
from kit.wording import upper_first

_WIDE = ipywidgets.Layout(width="20rem")
_MOST_TILES = 12


def pair_picker(analysis: Analysis) -> ipywidgets.Widget:
    """Pick an overlay and a base, and read what is known of them both ways round."""
    if analysis.pairs.empty:
        return ipywidgets.HTML(fragment(Paragraph(analysis.judged.missing)))
    overlays, bases = (sorted(set(analysis.pairs[role])) for role in ("overlay", "base"))
    overlay = ipywidgets.Dropdown(options=overlays, description="Overlay", layout=_WIDE)
    base = ipywidgets.Dropdown(
        options=bases, value=bases[-1], description="over base", layout=_WIDE
    )
    told = ipywidgets.HTML()

    def tell(_: object = None) -> None:
        told.value = fragment(pair_told(analysis, overlay.value, base.value))

    overlay.observe(tell, "value")
    base.observe(tell, "value")
    tell()
    return ipywidgets.VBox([ipywidgets.HBox([overlay, base]), told])


def next_picker(analysis: Analysis) -> ipywidgets.Widget:
    """Pick how many tiles you will make next, and see which patches they should carry."""
    tiles = ipywidgets.IntSlider(
        NEXT_TILES, 1, _MOST_TILES, description="Tiles", continuous_update=False, layout=_WIDE
    )
    told = ipywidgets.HTML()

    def tell(_: object = None) -> None:
        told.value = fragment(_suggestion(analysis, tiles.value))

    tiles.observe(tell, "value")
    tell()
    return ipywidgets.VBox([tiles, told])


def pair_told(analysis: Analysis, overlay: str, base: str) -> Bullets:
    """Say what is known of two colours at every firing count, both ways round."""
    ways = (analysis.pairs_found.of(base, overlay), analysis.pairs_found.of(overlay, base))
    points = [point for pair in ways if pair for point in _points(pair)]
    itself = Point("A colour over itself is a control, and is not judged.", f"{overlay}:")
    return Bullets(tuple(points) or (itself,))


def _points(pair: Pair) -> list[Point]:
    told = [f"{row.sentence} {upper_first(row.ground)}." for row in pair.rows]
    return [Point(" ".join([f"{upper_first(pair.headline)}.", *told]), f"{pair.name}:")]


def _suggestion(analysis: Analysis, tiles: int) -> Shown:
    try:
        return suggestion_table(suggest(analysis, tiles))
    except Misuse as reason:
        return Paragraph(str(reason))
