"""Sources of variation: what else moves a grade, and how far."""

import pandas as pd

from kit.report.figures.interval_lines import Line, draw_lines, height_for
from kit.report.page.picture import Picture
from kit.report.page.style import drawn_with, new_figure
from kit.series import Scale
from kit.wording import SOURCE_NAMES, percent

_OTHERWISE = "a single grade varies by itself"


@drawn_with()
def sources_of_variation(variation: pd.DataFrame, scale: Scale) -> Picture:
    """Draw the size of every source of variation.

    Parameters
    ----------
    variation : DataFrame
        As `kit.model.variation_table` gives it.
    scale : Scale
    """
    step = variation["sd"].iloc[-1] / variation["steps"].iloc[-1]
    lines = [
        Line(
            f"{_varies(row.source)} ({percent(row.share)} of the variation)",
            row.steps, row.low / step, row.high / step,
        )
        for row in variation.itertuples()
    ]  # fmt: skip
    figure = new_figure(height_in=height_for(lines))
    axes = figure.subplots()
    draw_lines(axes, lines, f"steps of {scale.title.lower()} that a typical one is off", zero=None)
    axes.set_xlim(left=0)
    return Picture(
        f"variation-{scale.name.replace('_', '-')}",
        _finding(variation, scale),
        " ".join(variation["sentence"]),
        figure,
        note="How much a typical one departs from the average, after families, firings, sifters "
        "and coats are allowed for. The line holds the true size 9 times in 10.",
    )


def _varies(source: str) -> str:
    return SOURCE_NAMES[source].varies if source in SOURCE_NAMES else _OTHERWISE


def _finding(variation: pd.DataFrame, scale: Scale) -> str:
    known = variation[variation["source"].isin(list(SOURCE_NAMES))]
    if known.empty:
        return f"{scale.title}: nothing was seen to vary but single grades by themselves"
    top = known.loc[known["share"].idxmax()]
    rest = known.drop(index=top.name)
    ahead = rest.empty or bool((rest["high"] < top["low"]).all())
    lead = "mostly because" if ahead else "not least because"
    return f"Beyond what was planned, {scale.title.lower()} varies {lead} {_varies(top['source'])}"
