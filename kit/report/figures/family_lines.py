"""The average grade of each family on each family, with intervals."""

import pandas as pd

from kit.report.figures.interval_lines import LINE_IN, Line, draw_lines
from kit.report.page.picture import Picture
from kit.report.page.style import drawn_with, new_figure
from kit.series import Scale
from kit.wording import claim, counted, listed


@drawn_with()
def family_grades(families: pd.DataFrame, contrasts: pd.DataFrame, scale: Scale) -> Picture:
    """Draw the average grade of the family pairs.

    Parameters
    ----------
    families : DataFrame
        As `kit.model.family_table` gives it.
    contrasts : DataFrame
        As `kit.model.family_contrasts` gives it.
    scale : Scale
    """
    ranked = families.sort_values("grade", ascending=False, ignore_index=True)
    lines = [
        Line(
            f"{row.family_pair} ({counted(int(row.patches), 'patch', 'patches')})",
            row.grade, row.low, row.high,
        )
        for row in ranked.itertuples()
    ]  # fmt: skip
    figure = new_figure(height_in=0.75 + LINE_IN * len(lines))
    axes = figure.subplots()
    draw_lines(axes, lines, f"average grade for {scale.title.lower()}", zero=None)
    axes.set_xlim(-0.1, len(scale.steps) - 0.9)
    axes.set_xticks(list(scale.grades))
    said = [
        f"{r.family_pair} {r.grade:.1f} ({r.low:.1f} to {r.high:.1f})" for r in ranked.itertuples()
    ]
    return Picture(
        f"families-{scale.name.replace('_', '-')}",
        _finding(ranked, contrasts, scale),
        f"Average grade for {scale.title.lower()}: {listed(said)}.",
        figure,
        note="The average over all colours of a family, fired or not, at the middle of the "
        "settings fired. The line holds it 9 times in 10.",
    )


def _finding(ranked: pd.DataFrame, contrasts: pd.DataFrame, scale: Scale) -> str:
    top, second = ranked["family_pair"].iloc[0], ranked["family_pair"].iloc[1]
    row = contrasts[
        contrasts["first"].isin([top, second]) & contrasts["second"].isin([top, second])
    ].iloc[0]
    chance = row["chance_more"] if row["first"] == top else 1 - row["chance_more"]
    does = f"has more {scale.title.lower()} than any other pair of families"
    none = f"No pair of families clearly has the most {scale.title.lower()}"
    return claim(float(chance), top, does, none)
