"""The average grade of each family on each family, with intervals."""

from kit.model import ScaleFit, family_table
from kit.report.figures.interval_lines import Line, draw_lines, height_for
from kit.report.findings.score_findings import ScoreFindings
from kit.report.page.picture import Picture
from kit.report.page.style import drawn_with, new_figure
from kit.wording import counted, listed


@drawn_with()
def family_grades(fit: ScaleFit, found: ScoreFindings) -> Picture | None:
    """Draw the average grade of the family pairs.

    Parameters
    ----------
    fit : ScaleFit
    found : ScoreFindings
        What it shows.

    Returns
    -------
    Picture or None
        None when only one family was fired on one family.
    """
    if found.families is None:
        return None
    scale, families = found.scale, family_table(fit)
    ranked = families.sort_values("grade", ascending=False, ignore_index=True)
    lines = [
        Line(
            f"{row.family_pair} ({counted(int(row.patches), 'patch', 'patches')})",
            row.grade, row.low, row.high,
        )
        for row in ranked.itertuples()
    ]  # fmt: skip
    figure = new_figure(height_in=height_for(lines))
    axes = figure.subplots()
    draw_lines(axes, lines, f"average grade for {scale.title.lower()}", zero=None)
    axes.set_xlim(-0.1, len(scale.steps) - 0.9)
    axes.set_xticks(list(scale.grades))
    said = [
        f"{r.family_pair} {r.grade:.1f} ({r.low:.1f} to {r.high:.1f})" for r in ranked.itertuples()
    ]
    return Picture(
        f"families-{scale.name.replace('_', '-')}",
        found.families.title(f"No pair of families clearly has the most {scale.title.lower()}"),
        f"Average grade for {scale.title.lower()}: {listed(said)}.",
        figure,
        note="The average over all colours of a family, fired or not, at the middle of the "
        "settings fired. The line holds it 9 times in 10.",
    )
