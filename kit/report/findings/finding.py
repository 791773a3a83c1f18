"""Everything that the fits say, each thing with its chance."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.model import ScaleFit, common_practice_check
from kit.report.analysis import Analysis
from kit.report.figures.colour_effects import colour_departures
from kit.report.figures.effect_lines import moves, sureness, what_it_does
from kit.series import Scale
from kit.wording import TELLING, change_of, interval, lower_first, of_a_step

_COLOURS_NAMED = 3
_LITTLE = 0.2
_CONFIDENCE = 0.9
"""Of the intervals of `kit.model.effects_table`."""


@dataclass(frozen=True)
class Finding:
    """One thing that was found.

    Parameters
    ----------
    chance : float
        Chance that it is so.
    statement : str
        What was found, as it stands in mid-sentence.
    size : str
        How much, as an ending; may be blank.
    """

    chance: float
    statement: str
    size: str = ""


def all_findings(analysis: Analysis) -> list[Finding]:
    """Everything the fits say about families, factors and colours, surest first."""
    found = list(_common_practice(analysis))
    for scale in analysis.scales:
        fit = analysis.fits.by_scale.get(scale.name)
        if fit:
            found += _factors(analysis.effects[scale.name], scale)
            found += _colours(analysis, fit, scale)
    return sorted(found, key=lambda finding: -finding.chance)


def _common_practice(analysis: Analysis) -> Iterator[Finding]:
    for row in common_practice_check(analysis.fits.by_scale).itertuples():
        saying = lower_first(row.claim.rstrip("."))
        if row.chance_more >= 0.5:
            size = f", by {of_a_step(row.difference)} {interval(row.low, row.high)}"
            yield Finding(row.chance_more, saying, size)
        else:
            against = f"it is not so, as the trade has it, that {saying}"
            yield Finding(1 - row.chance_more, against)


def _factors(effects: pd.DataFrame, scale: Scale) -> Iterator[Finding]:
    name = scale.title.lower()
    for row in moves(effects):
        if row.factor.endswith("_family"):
            continue
        change = change_of(row.factor, row.start, row.to)
        most = max(abs(row.low), abs(row.high))
        if most < _LITTLE:
            little = f"{change} moves {name} by less than {most + 0.05:.1f} of a step, if at all"
            yield Finding(_CONFIDENCE, little)
        elif sureness(row) < TELLING:
            yield Finding(sureness(row), f"{change} changes {name}")
        else:
            ends = (row.low, row.high) if row.effect > 0 else (-row.high, -row.low)
            size = f" {interval(*ends)}"
            yield Finding(sureness(row), f"{change} {what_it_does(row, scale)}", size)


def _colours(analysis: Analysis, fit: ScaleFit, scale: Scale) -> list[Finding]:
    """The colours that depart most surely from their family."""
    found = []
    for row in colour_departures(fit, analysis.series.colours).itertuples():
        more = "more" if row.value > 0 else "less"
        does = f"shows {more} {scale.title.lower()} than other {row.family} colours"
        chance = float(norm.cdf(np.abs(row.value) / row.se))
        found.append(Finding(chance, f"{row.colour} as {row.role} {does}"))
    sure = [finding for finding in found if finding.chance >= TELLING]
    return sorted(sure, key=lambda f: -f.chance)[:_COLOURS_NAMED]
