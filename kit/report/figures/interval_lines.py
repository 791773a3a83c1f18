"""Estimates with their intervals, one to a line: of factors, families and sources of variation."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
from matplotlib.axes import Axes

from kit.drawing import HAIR, INK, PAPER, QUIET
from kit.model import ScaleFit, family_table
from kit.report.findings.effect_findings import Effect, ScoreFindings, surest_effect
from kit.report.page.picture import FAMILY_COLOURS, Picture, drawn_with, new_figure
from kit.series import Scale
from kit.wording import SOURCE_NAMES, counted, listed, percent


@dataclass(frozen=True)
class Line:
    """One estimate.

    Parameters
    ----------
    words : str
        What it is of, written above it.
    value, low, high : float
    found : bool
        Whether its direction is sure enough to be stated; drawn hollow if it is not.
    """

    words: str
    value: float
    low: float
    high: float
    found: bool = True


_LINE_IN, _MORE_WORDS_IN = 0.36, 0.15
_LETTERS = 58
_AXIS_IN = 0.75
_OTHERWISE = "a single grade varies by itself"


def height_for(lines: Sequence[Line]) -> float:
    """Height that a figure of these lines needs, in inches."""
    most = max(_wrapped(line).count("\n") for line in lines)
    return _AXIS_IN + (_LINE_IN + most * _MORE_WORDS_IN) * len(lines)


def _wrapped(line: Line) -> str:
    return textwrap.fill(line.words, _LETTERS)


def draw_lines(axes: Axes, lines: Sequence[Line], unit: str, zero: float | None = 0.0) -> None:
    """Draw estimates, hollow where nothing may be claimed; `zero` is where there is no effect."""
    if zero is not None:
        axes.axvline(zero, color=HAIR, linewidth=1.2, zorder=0)
    rows = range(len(lines))
    inks = [INK if line.found else QUIET for line in lines]
    fills = [INK if line.found else PAPER for line in lines]
    lows, highs = [line.low for line in lines], [line.high for line in lines]
    axes.hlines(rows, lows, highs, colors=inks, linewidth=1.8)
    axes.scatter([line.value for line in lines], rows, s=49, c=fills, edgecolors=inks, zorder=3)
    for row, line in enumerate(lines):
        axes.annotate(
            _wrapped(line), (0, row), xycoords=("axes fraction", "data"), xytext=(0, 6),
            textcoords="offset points", va="bottom", fontsize=8.5, color=INK,
        )  # fmt: skip
    axes.set_ylim(len(lines) - 0.5, -0.85)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(unit)


@drawn_with()
def effects_in_steps(effects: tuple[Effect, ...], scale: Scale) -> Picture | None:
    """Draw how far each factor moves the average grade.

    A factor that raises it in one case and lowers it in another has a line for each case.

    Parameters
    ----------
    effects : tuple of Effect
    scale : Scale

    Returns
    -------
    Picture or None
        None when no factor was varied.
    """
    if not effects:
        return None
    lines = [line for effect in effects for line in _lines(effect)]
    figure = new_figure(height_in=height_for(lines))
    name = scale.title.lower()
    draw_lines(figure.subplots(), lines, f"steps of {name}, down or up")
    none = f"Nothing that was varied clearly moves {name}"
    top = surest_effect(effects)
    return Picture(
        f"effects-{scale.name.replace('_', '-')}",
        top.finding.title(none) if top else none,
        " ".join(effect.sentence for effect in effects),
        figure,
        note="A dot is the best guess, its line holds the truth 9 times in 10. A hollow dot may be "
        "no effect at all: these samples do not make its direction 9 times in 10 sure.",
    )


def _lines(effect: Effect) -> list[Line]:
    cases = effect.by_context or (("", effect.finding),)
    return [
        Line(
            f"{effect.change}{f', {where}' if where else ''}",
            one.value, one.low, one.high, found=one.directed,
        )
        for where, one in cases
    ]  # fmt: skip


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
