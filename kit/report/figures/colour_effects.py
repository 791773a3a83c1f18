"""How each colour differs: how far it departs from its family, as overlay and as base."""

import pandas as pd
from matplotlib.axes import Axes

from kit.drawing import HAIR, INK
from kit.report.findings.effect_findings import ScoreFindings
from kit.report.page.picture import Picture
from kit.report.page.style import FAMILY_COLOURS, drawn_with, new_figure
from kit.series import Scale
from kit.wording import listed

_MARKS = {"leaded": "o", "unleaded": "s"}
_LONG_NAME = 14
_ROLES = {"overlay": "as overlay", "base": "as base"}


@drawn_with()
def colours_apart(found: ScoreFindings) -> Picture | None:
    """Draw every colour's departure from the average of its family.

    Parameters
    ----------
    found : ScoreFindings

    Returns
    -------
    Picture or None
        None when the fit has no term for colours.
    """
    departures, scale = found.departures, found.scale
    if departures.empty:
        return None
    none = f"No colour clearly stands out from its family for {scale.title.lower()}"
    top = next((finding for finding in found.colours if finding.found), None)
    roles = [role for role in _ROLES if role in set(departures["role"])]
    longest = max(departures.groupby("role").size())
    # Long names leave no room for two panels side by side.
    down = len(roles) if departures["colour"].str.len().max() > _LONG_NAME else 1
    figure = new_figure(height_in=0.55 + down * (0.2 + 0.23 * longest))
    panels = figure.subplots(down, len(roles) // down, sharex=True, squeeze=False).flat
    for axes, role in zip(panels, roles, strict=True):
        _draw(axes, departures[departures["role"] == role], role)
    figure.supxlabel("steps of the scale below or above its family's average", fontsize=9.5)
    return Picture(
        f"colours-{scale.name.replace('_', '-')}",
        top.title(none) if top else none,
        _told(scale, departures),
        figure,
        note="A dot is the best guess for a colour, the line is where it lies 9 times in 10. Blue "
        "discs are leaded, ochre squares unleaded. A line that crosses zero: the colour may well "
        "be like the rest of its family.",
    )


def _draw(axes: Axes, departures: pd.DataFrame, role: str) -> None:
    axes.axvline(0, color=HAIR, linewidth=1)
    placed = departures.assign(row=range(len(departures)))
    for family, mark in _MARKS.items():
        own = placed[placed["family"] == family]
        ink = FAMILY_COLOURS[family]
        axes.hlines(own["row"], own["low"], own["high"], color=ink, linewidth=1.4)
        axes.scatter(own["value"], own["row"], marker=mark, color=ink, s=30, zorder=3)
    axes.set_yticks(range(len(departures)), list(departures["colour"]), fontsize=8.5)
    axes.set_ylim(len(departures) - 0.4, -0.6)
    axes.locator_params(axis="x", nbins=4)
    axes.set_title(_ROLES[role], loc="left", color=INK)
    axes.tick_params(axis="y", length=0)


def _told(scale: Scale, departures: pd.DataFrame) -> str:
    parts = []
    for role, table in departures.groupby("role", sort=False):
        lines = [f"{c.colour} {c.value:+.1f}".replace("-", "−") for c in table.itertuples()]
        parts.append(f"{_ROLES[str(role)]}: {listed(lines)}")
    return f"Departure from the family's average for {scale.title.lower()}, {'; '.join(parts)}."
