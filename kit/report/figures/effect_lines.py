"""What each factor does, in steps of the scale, with intervals."""

from collections.abc import Iterator
from typing import Any

import pandas as pd

from kit.report.figures.interval_lines import LINE_IN, Line, draw_lines
from kit.report.page.picture import Picture
from kit.report.page.style import drawn_with, new_figure
from kit.series import Scale
from kit.wording import change_of, claim, of_a_step, upper_first


@drawn_with()
def effects_in_steps(effects: pd.DataFrame, scale: Scale) -> Picture | None:
    """Draw how far each factor moves the average grade.

    Parameters
    ----------
    effects : DataFrame
        As `kit.model.effects_table` gives it.
    scale : Scale

    Returns
    -------
    Picture or None
        None when no factor was varied.
    """
    if effects.empty:
        return None
    rows = list(moves(effects))
    lines = [Line(_change(r), r.effect, r.low, r.high) for r in rows]
    figure = new_figure(height_in=0.75 + LINE_IN * len(lines))
    draw_lines(figure.subplots(), lines, f"steps of {scale.title.lower()}, down or up")
    return Picture(
        f"effects-{scale.name.replace('_', '-')}",
        effect_claim(max(rows, key=sureness), scale),
        " ".join(effects["sentence"]),
        figure,
        note="A dot is the best guess, its line holds the truth 9 times in 10. A hollow dot may be "
        "no effect at all: its line crosses zero.",
    )


def moves(effects: pd.DataFrame) -> Iterator[Any]:
    """Rows of the effects with fields factor, start, to, effect, low, high and chance_up."""
    return effects.rename(columns={"from": "start"}).itertuples()


def sureness(row: Any) -> float:
    """Chance that an effect goes the way that it seems to go."""
    return float(row.chance_up if row.effect > 0 else 1 - row.chance_up)


def effect_claim(row: Any, scale: Scale) -> str:
    """State one effect, as surely as it is known."""
    none = f"Nothing that was varied clearly moves {scale.title.lower()}"
    return claim(
        sureness(row), change_of(row.factor, row.start, row.to), what_it_does(row, scale), none
    )


def what_it_does(row: Any, scale: Scale) -> str:
    """Say which way an effect goes and how far: 'raises spread by 0.8 of a step'."""
    way = "raises" if row.effect > 0 else "lowers"
    return f"{way} {scale.title.lower()} by {of_a_step(row.effect)}"


def _change(row: Any) -> str:
    return upper_first(change_of(row.factor, row.start, row.to))
