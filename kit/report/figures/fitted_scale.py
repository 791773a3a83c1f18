"""How the fit reads the grades: the scale behind them, and whether it follows what was seen."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from kit.drawing import GRADE_COLOURS, HAIR, INK, PAPER, QUIET, ink_on, short_steps
from kit.model import ScaleFit, observed_against_foretold
from kit.report.findings.finding import FEWEST_TO_CHECK
from kit.report.page.picture import Picture, drawn_with, new_figure
from kit.series import FAMILIES, Scale, Settings, family_pair
from kit.wording import listed, percent

_REACH = 1.645
_ROOM = 1.2


@drawn_with()
def behind_the_grades(fit: ScaleFit, scale: Scale, settings: Settings) -> Picture:
    """Draw the thresholds as bands, and the family pairs as they move with every firing.

    Parameters
    ----------
    fit : ScaleFit
    scale : Scale
    settings : Settings
        Its verdict says at which mesh and coat weights.
    """
    places = family_places(fit, settings)
    cuts = fit.results.thresholds.to_numpy()
    families = list(dict.fromkeys(places["families"]))
    figure = new_figure(height_in=1.3 + 0.55 * len(families))
    axes = figure.subplots()
    left = min(cuts[0] - 2, places["low"].min()) - 0.4
    right = max(cuts[-1] + 2, places["high"].max()) + 0.4
    _draw_bands(axes, fit, scale, (left, right))
    for row, name in enumerate(families):
        _draw_family(axes, row, places[places["families"] == name])
    axes.set_yticks(range(len(families)), [name.replace(" over ", "\nover ") for name in families])
    axes.set_ylim(len(families) - 0.4, -_ROOM)
    axes.set_xlim(left, right)
    axes.set_xlabel("hidden value (logits)")
    axes.tick_params(axis="y", length=0)
    return Picture(
        f"behind-the-grades-{scale.name.replace('_', '-')}",
        _finding(scale, places, cuts, fit),
        _told(scale, places),
        figure,
        note="Bands are the grades: a patch whose hidden value falls in a band most likely gets "
        "that grade. A dot is the average of a family pair after 1, 2, ... firings, as numbered; "
        "the line is where that average lies 9 times in 10. Its unit is a logit: 2 "
        "of them turn an even chance into 9 in 10.",
    )


def family_places(fit: ScaleFit, settings: Settings) -> pd.DataFrame:
    """Where the average colours of each family pair stand after each firing count seen.

    Returns
    -------
    DataFrame
        Columns families, firings, value, low, high (90 % interval, measured from the middle
        threshold, since only distances on it mean anything), in logits.
    """
    verdict = settings.verdict
    seen = fit.frame[["base_family", "overlay_family"]].drop_duplicates()
    pairs = [
        (b, o)
        for b in FAMILIES
        for o in FAMILIES
        if ((seen["base_family"] == b) & (seen["overlay_family"] == o)).any()
    ]
    counts = sorted(fit.frame["firings"].unique())
    rows = pd.DataFrame(
        [(b, o, float(f)) for b, o in pairs for f in counts],
        columns=["base_family", "overlay_family", "firings"],
    ).assign(
        mesh=float(verdict.mesh),
        coat_weight=verdict.coat_weight,
        base_mesh=float(verdict.base_mesh),
        base_coat_weight=verdict.base_coat_weight,
        base_coats=float(fit.frame["base_coats"].mean()),
    )
    unsaid = [factor for factor in fit.factors if factor not in rows]
    rows = rows.assign(**{factor: fit.frame[factor].mode().iloc[0] for factor in unsaid})
    cuts = fit.results.thresholds
    middle = cuts.index[len(cuts) // 2]
    above, covariance = fit.results.above(rows, middle)
    mean = above + cuts[middle]
    reach = _REACH * np.sqrt(np.diag(covariance))
    names = [
        family_pair(b, o) for b, o in zip(rows["base_family"], rows["overlay_family"], strict=True)
    ]
    return pd.DataFrame(
        {
            "families": names,
            "firings": rows["firings"].astype(int),
            "value": mean,
            "low": mean - reach,
            "high": mean + reach,
        }
    )


def _draw_bands(axes: Axes, fit: ScaleFit, scale: Scale, ends: tuple[float, float]) -> None:
    cuts = fit.results.thresholds.to_numpy()
    borders = [ends[0], *cuts, ends[1]]
    words = short_steps(scale)
    for n, label in enumerate(fit.results.used_labels):
        colour = GRADE_COLOURS[int(label)]
        axes.axvspan(borders[n], borders[n + 1], color=colour, alpha=0.55, linewidth=0)
        axes.axvspan(borders[n], borders[n + 1], 0.86, 1, color=colour, linewidth=0)
        middle = (borders[n] + borders[n + 1]) / 2
        wide = borders[n + 1] - borders[n] > (ends[1] - ends[0]) * 0.16
        axes.text(
            middle, -_ROOM + 0.28, words[int(label)] if wide else str(label), ha="center",
            va="center", fontsize=8, color=ink_on(colour),
        )  # fmt: skip


def _draw_family(axes: Axes, row: int, places: pd.DataFrame) -> None:
    offsets = np.linspace(-0.24, 0.24, len(places)) if len(places) > 1 else [0.0]
    for offset, place in zip(offsets, places.itertuples(), strict=True):
        y = row + offset
        axes.plot([place.low, place.high], [y, y], color=INK, linewidth=1.3, zorder=3)
        axes.plot(place.value, y, "o", markersize=9, color=PAPER, markeredgecolor=INK, zorder=4)
        axes.text(
            place.value, y, str(place.firings), ha="center", va="center_baseline", fontsize=6.5,
            zorder=5,
        )  # fmt: skip


def _finding(scale: Scale, places: pd.DataFrame, cuts: np.ndarray, fit: ScaleFit) -> str:
    last = places[places["firings"] == places["firings"].max()]
    top = last.loc[last["value"].idxmax()]
    label = int(fit.results.used_labels[int(np.searchsorted(cuts, top["value"]))])
    words = scale.steps[label].split(":")[0]
    return (
        f"The average {top['families']} stands at '{words}' for {scale.title.lower()} after "
        f"{_firings(int(top['firings']))}"
    )


def _firings(count: int) -> str:
    return "1 firing" if count == 1 else f"{count} firings"


def _told(scale: Scale, places: pd.DataFrame) -> str:
    lines = [
        f"{families}: {listed([f'{v:.1f}'.replace('-', '−') for v in here['value']], last='then')}"
        for families, here in places.groupby("families", sort=False)
    ]
    return f"Hidden value for {scale.title.lower()} after each firing. {'; '.join(lines)}."


_MARKS = "osD^v"
_ENOUGH, _MANY = 0.8, 0.9


@drawn_with()
def expected_and_seen(fit: ScaleFit, scale: Scale) -> Picture | None:
    """Draw how often grades stayed at or below a step, against the chance that the fit gives it.

    The grades are those that the fit was made from, so this says whether it describes them, and
    not how well it would do with others.

    Parameters
    ----------
    fit : ScaleFit
    scale : Scale

    Returns
    -------
    Picture or None
        None when there are too few patches to say anything of it.
    """
    if fit.frame["patch"].nunique() < FEWEST_TO_CHECK:
        return None
    compared = observed_against_foretold(fit)
    figure = new_figure(height_in=4.1)
    axes = figure.subplots()
    axes.plot([0, 1], [0, 1], color=HAIR, linewidth=1.2, zorder=0)
    for n, (step, bins) in enumerate(compared.groupby("step", sort=True, observed=True)):
        axes.vlines(bins["foretold"], bins["low"], bins["high"], color=QUIET, linewidth=0.8)
        axes.plot(
            bins["foretold"], bins["observed"], _MARKS[n], markersize=6, markeredgewidth=0.9,
            color=GRADE_COLOURS[int(step)], markeredgecolor=INK, label=f"{step} or below",
        )  # fmt: skip
    ticks = [0, 0.25, 0.5, 0.75, 1]
    words = ["never", "1 in 4", "1 in 2", "3 in 4", "always"]
    axes.set_xticks(ticks, words)
    axes.set_yticks(ticks, words)
    axes.set_aspect("equal")
    axes.set_xlabel("expected: how often a grade stays at or below the step")
    axes.set_ylabel("seen")
    axes.legend(loc="upper left", title="step of the scale", alignment="left", handlelength=1)
    off = float((compared["observed"] - compared["foretold"]).abs().mean())
    return Picture(
        f"expected-{scale.name.replace('_', '-')}",
        _check_finding(compared, scale),
        f"Every point compares a group of grades. On average what was seen lies {percent(off)} "
        "away from what was expected.",
        figure,
        note="Points on the slanted line: just as expected. The upright lines say how far off "
        "chance alone would put them 9 times in 10. The model has seen these grades: how it does "
        "with new ones, only new ones can show.",
    )


def _check_finding(compared: pd.DataFrame, scale: Scale) -> str:
    within = compared["foretold"].between(compared["low"], compared["high"])
    groups = f"{int(within.sum())} of {len(compared)}"
    count = f"{groups} groups of them lie where they should"
    name = f"The model of {scale.title.lower()}"
    if within.mean() >= _MANY:
        return f"{name} describes the grades it was made from: {count}"
    if within.mean() >= _ENOUGH:
        return f"{name} mostly describes the grades it was made from: {count}"
    return f"{name} does not describe the grades it was made from: only {count}"
