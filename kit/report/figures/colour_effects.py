"""Each colour's own way: how far it departs from its family, as overlay and as base."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from scipy.stats import norm

from kit.model import ScaleFit, variation_table
from kit.report.page.picture import Picture
from kit.report.page.style import FAMILY_COLOURS, HAIR, INK, drawn_with, new_figure
from kit.series import Scale
from kit.wording import claim, listed

_REACH = 1.645
_MARKS = {"leaded": "o", "unleaded": "s"}
_ROLES = {"overlay": "as overlay", "base": "as base"}


@drawn_with()
def own_ways(fit: ScaleFit, scale: Scale, colours: pd.DataFrame) -> Picture | None:
    """Draw every colour's departure from the average of its family.

    Parameters
    ----------
    fit : ScaleFit
    scale : Scale
    colours : DataFrame
        Columns colour, family.

    Returns
    -------
    Picture or None
        None when the fit has no term for colours.
    """
    departures = colour_departures(fit, colours)
    if departures.empty:
        return None
    roles = [role for role in _ROLES if role in set(departures["role"])]
    longest = max(departures.groupby("role").size())
    figure = new_figure(height_in=0.75 + 0.23 * longest)
    panels = figure.subplots(1, len(roles), sharex=True, squeeze=False)[0]
    for axes, role in zip(panels, roles, strict=True):
        _draw(axes, departures[departures["role"] == role], role)
    figure.supxlabel("steps of the scale below or above its family's average", fontsize=9.5)
    return Picture(
        f"own-ways-{scale.name.replace('_', '-')}",
        _finding(scale, departures),
        _told(scale, departures),
        figure,
        note="A dot is the best guess for a colour, the line is where it lies 9 times in 10. Blue "
        "discs are leaded, ochre squares unleaded. A line that crosses zero: the colour may well "
        "be like the rest of its family.",
    )


def colour_departures(fit: ScaleFit, colours: pd.DataFrame) -> pd.DataFrame:
    """How far each colour departs from its family, in each role.

    Returns
    -------
    DataFrame
        Columns role ('overlay' or 'base'), colour, family, value, se, in steps of the scale as
        far as `kit.model.variation_table` makes one; the largest first within a role.
    """
    step = _logits_a_step(fit)
    family = colours.set_index("colour")["family"]
    tables = []
    for role in _ROLES:
        if role in fit.results.random_effects:
            table = fit.results.random_effects[role].rename_axis("colour").reset_index()
            table = table.assign(role=role, family=table["colour"].map(family))
            table[["value", "se"]] /= step
            tables.append(table.sort_values(["value", "colour"], ascending=[False, True]))
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()


def _logits_a_step(fit: ScaleFit) -> float:
    """Length of a step on the model's own ruler."""
    source = variation_table(fit).iloc[-1]
    return float(source["sd"] / source["steps"])


def _draw(axes: Axes, departures: pd.DataFrame, role: str) -> None:
    axes.axvline(0, color=HAIR, linewidth=1)
    placed = departures.assign(row=range(len(departures)), reach=_REACH * departures["se"])
    for family, mark in _MARKS.items():
        own = placed[placed["family"] == family]
        ink = FAMILY_COLOURS[family]
        ends = own["value"] - own["reach"], own["value"] + own["reach"]
        axes.hlines(own["row"], *ends, color=ink, linewidth=1.4)
        axes.scatter(own["value"], own["row"], marker=mark, color=ink, s=30, zorder=3)
    axes.set_yticks(range(len(departures)), list(departures["colour"]), fontsize=8.5)
    axes.set_ylim(len(departures) - 0.4, -0.6)
    axes.set_title(_ROLES[role], loc="left", color=INK)
    axes.tick_params(axis="y", length=0)


def _finding(scale: Scale, departures: pd.DataFrame) -> str:
    chance = norm.cdf(np.abs(departures["value"]) / departures["se"])
    most = departures.loc[int(np.argmax(chance))]
    more = "more" if most["value"] > 0 else "less"
    subject = f"{most['colour']} {_ROLES[most['role']]}"
    does = f"shows {more} {scale.title.lower()} than other {most['family']} colours"
    none = f"No colour clearly stands out from its family for {scale.title.lower()}"
    return claim(float(chance.max()), subject, does, none)


def _told(scale: Scale, departures: pd.DataFrame) -> str:
    parts = []
    for role, table in departures.groupby("role", sort=False):
        lines = [f"{c.colour} {c.value:+.1f}".replace("-", "−") for c in table.itertuples()]
        parts.append(f"{_ROLES[str(role)]}: {listed(lines)}")
    return f"Departure from the family's average for {scale.title.lower()}, {'; '.join(parts)}."
