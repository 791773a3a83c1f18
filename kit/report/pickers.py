"""Picking a pair, or a number of tiles, instead of typing: small forms for the notebooks."""

import ipywidgets

from kit.design import NEXT_TILES
from kit.errors import Misuse
from kit.report.analysis import Analysis
from kit.report.page.document import Bullets, Paragraph, Point, Shown
from kit.report.page.html import fragment
from kit.report.page.verdict_looks import leanings
from kit.report.sections.next_round import suggest, suggestion_table
from kit.wording import counted, percent

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
    """Say what is known of two colours, both ways round."""
    points = [_told_of(analysis, overlay, base)]
    if overlay != base:
        points.append(_told_of(analysis, base, overlay))
    return Bullets(tuple(points))


def _told_of(analysis: Analysis, overlay: str, base: str) -> Point:
    judged = leanings(analysis.pairs)
    pair = judged[(judged["overlay"] == overlay) & (judged["base"] == base)].iloc[0]
    fired = (
        f"fired on {counted(int(pair['patches']), 'patch', 'patches')}"
        if pair["patches"]
        else "never fired, foretold"
    )
    return Point(
        f"{pair['verdict']}. A fine edge with a chance of {percent(pair['fine_edge'])}, broken "
        f"through with a chance of {percent(pair['broken_through'])}; spread about "
        f"{pair['spread']:.1f}, pull-through about {pair['pull_through']:.1f}; {fired}.",
        f"{overlay} over {base}:",
    )


def _suggestion(analysis: Analysis, tiles: int) -> Shown:
    try:
        return suggestion_table(suggest(analysis, tiles))
    except Misuse as reason:
        return Paragraph(str(reason))
