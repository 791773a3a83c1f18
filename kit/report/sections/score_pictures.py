"""What we found, surest first."""

from collections.abc import Sequence

from kit.errors import Misuse
from kit.model import (
    ScaleFit,
    family_contrasts,
    family_table,
    observed_against_foretold,
    variation_table,
)
from kit.report.analysis import Analysis
from kit.report.figures.colour_effects import own_ways
from kit.report.figures.effect_lines import effects_in_steps
from kit.report.figures.family_lines import family_grades
from kit.report.figures.firing_trend import firing_trend
from kit.report.figures.reliability import observed_and_foretold
from kit.report.figures.variation_lines import sources_of_variation
from kit.report.findings.finding import Finding, all_findings
from kit.report.page.document import Block, Bullets, Fold, Paragraph, Point, Section
from kit.report.page.picture import Picture
from kit.series import Scale
from kit.wording import FOUND, TELLING, adverb, percent, untold, upper_first

_LEANINGS = 6


def findings(analysis: Analysis) -> Section:
    """List the findings by certainty, then show each score in pictures."""
    found = all_findings(analysis)
    told = [f for f in found if f.chance >= FOUND]
    leaning = [f for f in found if TELLING <= f.chance < FOUND]
    unsettled = [f for f in found if f.chance < TELLING]
    blocks: list[Block | Section] = []
    if told:
        blocks.append(Bullets(tuple(_point(finding) for finding in told)))
    else:
        blocks.append(Paragraph(_nothing_found(analysis)))
    if leaning or unsettled:
        blocks.append(_leanings(leaning, unsettled))
    blocks += [of_scale(analysis, scale) for scale in analysis.scales]
    return Section("findings", "What we found, surest first", tuple(blocks))


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
        effects_in_steps(analysis.effects[scale.name], scale),
        own_ways(fit, scale, analysis.series.colours),
        sources_of_variation(variation_table(fit), scale),
        observed_and_foretold(observed_against_foretold(fit), scale),
    )
    return Section(name, scale.title, tuple(p for p in pictures if p is not None))


def _point(finding: Finding) -> Point:
    lead = f"{upper_first(adverb(finding.chance))} ({percent(finding.chance)}):"
    return Point(f"{finding.statement}{finding.size}.", lead)


def _leanings(leaning: Sequence[Finding], unsettled: Sequence[Finding]) -> Fold:
    """What is too unsure to be a finding."""
    points = tuple(
        Point(f"{f.statement} ({percent(f.chance)}).", "Perhaps:") for f in leaning[:_LEANINGS]
    )
    cannot = tuple(Point(f"{untold(f.statement)}.") for f in unsettled)
    return Fold(
        "Leanings: less than nine chances in ten, not findings", (Bullets((*points, *cannot)),)
    )


def _nothing_found(analysis: Analysis) -> str:
    if not len(analysis.observations):
        return "Nothing has been graded yet, so nothing has been found."
    return (
        "Nothing was found that these samples can tell from chance. That is a result: whatever "
        "differences there are, they are too small to show in this many patches."
    )


def family_picture(fit: ScaleFit, scale: Scale) -> Picture | None:
    """Draw the families' grades; None when only one family was fired on one family."""
    try:
        return family_grades(family_table(fit), family_contrasts(fit), scale)
    except Misuse:
        return None
