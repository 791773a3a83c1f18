"""Picking instead of typing: small forms for the notebooks."""

from dataclasses import replace
from pathlib import Path

import ipywidgets

from kit.design import NEXT_TILES, Plan
from kit.errors import DataProblems, Misuse
from kit.record import GradingForm
from kit.report.analysis import Analysis
from kit.report.document import Bullets, Paragraph, Point, Shown
from kit.report.html import fragment
from kit.report.parts.next_round import suggest, suggestion_table
from kit.report.verdicts import leanings
from kit.series import read_series
from kit.wording import counted, percent

_WIDE = ipywidgets.Layout(width="20rem")
_BUTTON = ipywidgets.Layout(width="20rem", height="3rem")
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


def plan_saver(folder: Path | str, plan: Plan) -> ipywidgets.Widget:
    """Offer to write a plan into its series; a series that has tiles keeps them."""
    series = read_series(folder)
    if len(series.tiles):
        kept = (
            f"{series.name} has its {counted(len(series.tiles), 'tile')} already. Nothing is "
            "written over: start a new series to use this plan."
        )
        return ipywidgets.HTML(fragment(Paragraph(kept)))
    button = ipywidgets.Button(description="Write this plan into the series", layout=_BUTTON)
    told = ipywidgets.HTML()

    def save(_: ipywidgets.Button) -> None:
        try:
            replace(series, tiles=plan.tiles, patches=plan.patches).write(folder)
        except (Misuse, DataProblems) as problem:
            told.value = fragment(Paragraph(str(problem)))
            return
        button.disabled = True
        said = "Written. Now print the bench paper: kit sheets " + series.name
        told.value = fragment(Paragraph(said))

    button.on_click(save)
    return ipywidgets.VBox([button, told])


def grading_picker(folder: Path | str) -> ipywidgets.Widget:
    """Pick who grades, and after which firing; then grade patch by patch."""
    series = read_series(folder)
    names = series.settings.graders or tuple(sorted(set(series.grades["grader"]))) or ("me",)
    firings = sorted(set(series.firings["firing"]) - {0}) or [1]
    grader = ipywidgets.Combobox(
        options=names, value=names[0], description="Grader", continuous_update=False, layout=_WIDE
    )
    firing = ipywidgets.Dropdown(options=firings, description="Firing", layout=_WIDE)
    place = ipywidgets.VBox()

    def show(_: object = None) -> None:
        try:
            place.children = (GradingForm(folder, grader.value, int(firing.value)),)
        except (Misuse, DataProblems) as problem:
            place.children = (ipywidgets.HTML(fragment(Paragraph(str(problem)))),)

    grader.observe(show, "value")
    firing.observe(show, "value")
    show()
    return ipywidgets.VBox([ipywidgets.HBox([grader, firing]), place])


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
