"""What the fit of a score shows of families, factors and colours."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.errors import Misuse
from kit.model import (
    ScaleFit,
    common_practice_check,
    effects_table,
    effects_within,
    family_contrasts,
    family_table,
    logits_a_step,
)
from kit.report.findings.finding import FEWEST_OF_A_COLOUR, Finding
from kit.series import Scale, Series
from kit.wording import (
    TELLING,
    change_of,
    interval,
    listed,
    lower_first,
    of_a_step,
    upper_first,
)

_COLOURS_NAMED = 3
_LITTLE = 0.2
_CONFIDENCE = 0.9
"""Of the intervals of `kit.model.effects_table`."""

_REACH = float(norm.ppf(0.5 + _CONFIDENCE / 2))
_ROLES = ("overlay", "base")


@dataclass(frozen=True)
class Effect:
    """What one factor does to the average grade of a score.

    Parameters
    ----------
    factor, start, to : str
    scale : Scale
    finding : Finding
        What may be said of it over all families that were fired.
    by_context : tuple of (str, Finding)
        Where it turns round with something else: what it does in each case; else none.
    """

    factor: str
    start: str
    to: str
    scale: Scale
    finding: Finding
    by_context: tuple[tuple[str, Finding], ...] = ()

    @property
    def change(self) -> str:
        """The change that it speaks of: 'Going from 1 to 3 firings'."""
        return upper_first(change_of(self.factor, self.start, self.to))

    @property
    def sentence(self) -> str:
        """The effect for a reader who cannot see the picture."""
        name = self.scale.title.lower()
        told = [f"{where}, {_moves(one, name)}" for where, one in self.by_context]
        return f"{self.change}: {'; '.join(told or [_moves(self.finding, name)])}."


def effects_of(fit: ScaleFit, scale: Scale) -> tuple[Effect, ...]:
    """What each factor of a fit does, the largest move first."""
    within = effects_within(fit)
    return tuple(
        _effect(fit, scale, row, within[within["factor"] == row.factor])
        for row in _rows(effects_table(fit))
    )


def surest_effect(effects: tuple[Effect, ...]) -> Effect | None:
    """The effect that a picture of all of them is headed by; None when none may be stated."""
    stated = [effect for effect in effects if effect.finding.directed]
    return max(stated, key=lambda effect: effect.finding.chance, default=None)


def _effect(fit: ScaleFit, scale: Scale, row: Any, within: pd.DataFrame) -> Effect:
    name, change = scale.title.lower(), change_of(row.factor, row.start, row.to)
    patches = _behind(fit, row.factor)
    one = _moved(row, change, name, patches)
    for _, held in within.groupby("held", sort=False):
        if held["chance_up"].max() >= TELLING and held["chance_up"].min() <= 1 - TELLING:
            each = tuple((r.context, _moved(r, change, name, patches)) for r in _rows(held))
            turned = _turned(change, name, each, patches)
            return Effect(row.factor, row.start, row.to, scale, turned, each)
    return Effect(row.factor, row.start, row.to, scale, one)


def _moved(row: Any, change: str, name: str, patches: int) -> Finding:
    """Say which way a move goes and how far: 'raises spread by 0.8 of a step'."""
    numbers = {"value": row.effect, "low": row.low, "high": row.high, "patches": patches}
    sure = float(row.chance_up if row.effect > 0 else 1 - row.chance_up)
    most = max(abs(row.low), abs(row.high))
    if most < _LITTLE:
        little = f"moves {name} by less than {most + 0.05:.1f} of a step, if at all"
        return Finding(_CONFIDENCE, change, little, little=True, **numbers)
    if sure < TELLING:
        return Finding(sure, change, f"changes {name}", **numbers)
    ends = (row.low, row.high) if row.effect > 0 else (-row.high, -row.low)
    way = "raises" if row.effect > 0 else "lowers"
    does = f"{way} {name} by {of_a_step(row.effect)}"
    return Finding(sure, change, does, f" {interval(*ends)}", **numbers)


def _turned(change: str, name: str, each: tuple[tuple[str, Finding], ...], patches: int) -> Finding:
    """Say that a change does one thing in some cases and the opposite in others."""
    raised = [(where, one) for where, one in each if one.value > 0]
    lowered = [(where, one) for where, one in each if one.value <= 0]
    # The chance that both hold is at least one less the chances that each does not (Boole).
    both = sum(max(one.chance for _, one in side) for side in (raised, lowered)) - 1
    ways = [listed([where for where, _ in side]) for side in (raised, lowered)]
    does = f"raises {name} {ways[0]}, and lowers it {ways[1]}"
    return Finding(max(0.0, both), change, does, patches=patches, turns=True)


def _moves(one: Finding, name: str) -> str:
    way = "up" if one.value > 0 else "down"
    sure = "" if one.directed else ", which these grades cannot tell from nothing"
    ends = f"{one.low:.1f} to {one.high:.1f}".replace("-", "−")
    return f"{name} goes {way} by {of_a_step(one.value)} ({ends}){sure}"


def _behind(fit: ScaleFit, factor: str) -> int:
    """Patches at the end of a factor's range that has the fewer."""
    levels = fit.frame[factor]
    ends = [levels.min(), levels.max()] if pd.api.types.is_numeric_dtype(levels) else set(levels)
    return min(int(fit.frame.loc[levels == end, "patch"].nunique()) for end in ends)


def _rows(table: pd.DataFrame) -> Iterator[Any]:
    rows: Iterator[Any] = table.rename(columns={"from": "start"}).itertuples()
    return rows


def practice_findings(fits: Mapping[str, ScaleFit]) -> list[Finding]:
    """What the grades say of the trade's sayings about families."""
    found = []
    for row in common_practice_check(fits).itertuples():
        patches = int(family_table(fits[row.scale])["patches"].min())
        saying = lower_first(row.claim.rstrip("."))
        subject, does = _parted(saying)
        numbers = {"value": row.difference, "low": row.low, "high": row.high, "patches": patches}
        if row.chance_more >= 0.5:
            size = f", by {of_a_step(row.difference)} {interval(row.low, row.high)}"
            found.append(Finding(row.chance_more, subject, does, size, **numbers))
        else:
            against = f"is not so, as the trade has it, that {saying}"
            found.append(Finding(1 - row.chance_more, "it", against, **numbers))
    return found


def _parted(saying: str) -> tuple[str, str]:
    """Part a saying into its pair of families and what they do."""
    first, over, second, *does = saying.split(" ")
    return f"{first} {over} {second}", " ".join(does)


def family_finding(fit: ScaleFit, scale: Scale) -> Finding | None:
    """Which pair of families has the most of a score, by how surely it beats every other."""
    try:
        ranked = family_table(fit).sort_values("grade", ascending=False, ignore_index=True)
    except Misuse:
        return None
    top = ranked["family_pair"].iloc[0]
    contrasts = family_contrasts(fit)
    first = contrasts.loc[contrasts["first"] == top, "chance_more"]
    second = 1 - contrasts.loc[contrasts["second"] == top, "chance_more"]
    # The chance that all hold is at least one less the chances that each does not (Boole).
    chance = max(0.0, 1 - float((1 - first).sum() + (1 - second).sum()))
    does = f"has more {scale.title.lower()} than any other pair of families"
    return Finding(chance, top, does, patches=int(ranked["patches"].min()))


def colour_departures(fit: ScaleFit, colours: pd.DataFrame) -> pd.DataFrame:
    """How far each colour departs from its family, in each role.

    Returns
    -------
    DataFrame
        Columns role ('overlay' or 'base'), colour, family, value, low, high (steps of the scale),
        chance (that it lies on that side of its family's average) and patches (seen in the role);
        the largest value first within a role. No rows when the fit has no term for colours.
    """
    step = logits_a_step(fit)
    family = colours.set_index("colour")["family"]
    tables = []
    for role in _ROLES:
        if role in fit.results.random_effects:
            table = fit.labels.deviations(fit.results, role).rename_axis("colour").reset_index()
            seen = fit.frame.groupby(role, observed=True)["patch"].nunique()
            value, se = table["value"] / step, table["se"] / step
            table = table[["colour"]].assign(
                role=role,
                family=table["colour"].map(family),
                value=value,
                low=value - _REACH * se,
                high=value + _REACH * se,
                chance=norm.cdf(np.abs(value) / se),
                patches=table["colour"].map(seen).fillna(0).astype(int),
            )
            tables.append(table.sort_values(["value", "colour"], ascending=[False, True]))
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()


def colour_findings(departures: pd.DataFrame, scale: Scale) -> list[Finding]:
    """What may be said of each colour, surest first."""
    found = [
        Finding(
            float(row.chance),
            f"{row.colour} as {row.role}",
            f"shows {'more' if row.value > 0 else 'less'} {scale.title.lower()} than other "
            f"{row.family} colours",
            patches=int(row.patches),
            fewest=FEWEST_OF_A_COLOUR,
            value=row.value,
            low=row.low,
            high=row.high,
        )
        for row in departures.itertuples()
    ]
    return sorted(found, key=lambda finding: -finding.chance)


@dataclass(frozen=True, eq=False)
class ScoreFindings:
    """What the fit of one score shows.

    Parameters
    ----------
    scale : Scale
    effects : tuple of Effect
        Of every factor, the largest move first.
    families : Finding or None
        Which pair of families has the most of it; None when only one pair was fired.
    departures : DataFrame
        As `colour_departures` gives it.
    colours : tuple of Finding
        What may be said of each colour, surest first.
    """

    scale: Scale
    effects: tuple[Effect, ...]
    families: Finding | None
    departures: pd.DataFrame
    colours: tuple[Finding, ...]

    @property
    def listed(self) -> list[Finding]:
        """What a list of findings says of the score: factors, and the colours that stand out."""
        factors = [e.finding for e in self.effects if not e.factor.endswith("_family")]
        apart = [finding for finding in self.colours if finding.chance >= TELLING]
        return [*factors, *apart[:_COLOURS_NAMED]]


def score_findings(fit: ScaleFit, series: Series) -> ScoreFindings:
    """Gather what the fit of a score shows.

    Parameters
    ----------
    fit : ScaleFit
        Of one scale of the series.
    series : Series
    """
    scale, departures = series.settings.scale(fit.scale), colour_departures(fit, series.colours)
    return ScoreFindings(
        scale,
        effects_of(fit, scale),
        family_finding(fit, scale),
        departures,
        tuple(colour_findings(departures, scale)),
    )
