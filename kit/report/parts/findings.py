"""What we found, surest first."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from kit.errors import Misuse
from kit.model import (
    ScaleFit,
    common_practice_check,
    effects_table,
    family_contrasts,
    family_table,
    variation_table,
)
from kit.report.analysis import Analysis
from kit.report.document import Block, Bullets, Paragraph, Point, Section
from kit.report.factor_words import move
from kit.report.figures.effects import effects_in_steps, moves, sureness, what_it_does
from kit.report.figures.families import family_grades
from kit.report.figures.firing_trend import firing_trend
from kit.report.figures.own_ways import colour_departures, own_ways
from kit.report.figures.variation import sources_of_variation
from kit.report.picture import Picture
from kit.report.words import TELLING, adverb, lower_first, percent, untold, upper_first
from kit.series import Scale

_COLOURS_NAMED = 3


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


def findings(analysis: Analysis) -> Section:
    """List the findings by certainty, then show each score in pictures."""
    found = sorted(all_findings(analysis), key=lambda f: -f.chance)
    told = [f for f in found if f.chance >= TELLING]
    open_ones = [f for f in found if f.chance < TELLING]
    blocks: list[Block | Section] = []
    if told:
        blocks.append(Bullets(tuple(_point(finding) for finding in told)))
    else:
        blocks.append(Paragraph(_nothing_found(analysis)))
    if open_ones:
        blocks.append(Paragraph("What these samples do not settle:"))
        blocks.append(Bullets(tuple(Point(f"{untold(f.statement)}.") for f in open_ones)))
    blocks += [of_scale(analysis, scale) for scale in analysis.scales]
    return Section("findings", "What we found, surest first", tuple(blocks))


def all_findings(analysis: Analysis) -> list[Finding]:
    """Everything the fits say about families, factors and colours."""
    found = list(_common_practice(analysis))
    for scale in analysis.scales:
        fit = analysis.fits.by_scale.get(scale.name)
        if fit:
            found += _factors(fit, scale)
            found += _colours(analysis, fit, scale)
    return found


def of_scale(analysis: Analysis, scale: Scale) -> Section:
    """Show one score: as it was seen, then as the model reads it."""
    name = f"findings-{scale.name.replace('_', '-')}"
    seen = firing_trend(scale, analysis.graded(scale.name))
    fit = analysis.fits.by_scale.get(scale.name)
    if fit is None:
        why = Paragraph(f"No model was fitted. {analysis.fits.missing[scale.name]}")
        return Section(name, scale.title, (seen, why))
    pictures = (
        seen,
        family_picture(fit, scale),
        effects_in_steps(effects_table(fit), scale),
        own_ways(fit, scale, analysis.series.colours),
        sources_of_variation(variation_table(fit), scale),
    )
    return Section(name, scale.title, tuple(p for p in pictures if p is not None))


def _point(finding: Finding) -> Point:
    lead = f"{upper_first(adverb(finding.chance))} ({percent(finding.chance)}):"
    return Point(f"{finding.statement}{finding.size}.", lead)


def _nothing_found(analysis: Analysis) -> str:
    if not len(analysis.observations):
        return "Nothing has been graded yet, so nothing has been found."
    return (
        "Nothing was found that these samples can tell from chance. That is a result: whatever "
        "differences there are, they are too small to show in this many patches."
    )


def _common_practice(analysis: Analysis) -> Iterator[Finding]:
    for row in common_practice_check(analysis.fits.by_scale).itertuples():
        saying = lower_first(row.claim.rstrip("."))
        if row.chance_more >= 0.5:
            size = f", by {row.difference:.1f} of a step ({row.low:.1f} to {row.high:.1f})"
            yield Finding(row.chance_more, saying, size)
        else:
            against = f"it is not so, as the trade has it, that {saying}"
            yield Finding(1 - row.chance_more, against)


def _factors(fit: ScaleFit, scale: Scale) -> Iterator[Finding]:
    for row in moves(effects_table(fit)):
        if not row.factor.endswith("_family"):
            size = f" ({row.low:+.1f} to {row.high:+.1f})".replace("-", "−")
            change = move(row.factor, row.start, row.to)
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


def family_picture(fit: ScaleFit, scale: Scale) -> Picture | None:
    """Draw the families' grades; None when only one family was fired on one family."""
    try:
        return family_grades(family_table(fit), family_contrasts(fit), scale)
    except Misuse:
        return None
