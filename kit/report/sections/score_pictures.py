"""What we found, surest first."""

from collections.abc import Sequence

from kit.model import (
    CANNOT_TELL,
    ScaleFit,
    logits_a_step,
    matched_contrasts,
    refiring_table,
    variation_table,
)
from kit.report.analysis import Analysis
from kit.report.figures.fitted_scale import expected_and_seen
from kit.report.figures.grade_shares import grades_by_firing
from kit.report.figures.interval_lines import (
    colours_apart,
    effects_in_steps,
    family_grades,
    sources_of_variation,
)
from kit.report.findings.finding import Finding
from kit.report.page.document import Block, Bullets, Fold, Paragraph, Point, Section
from kit.series import Scale
from kit.wording import counted

_LEANINGS = 6


def findings_by_score(analysis: Analysis) -> Section:
    """List the findings by certainty, then show each score in pictures."""
    found = [finding for finding in analysis.findings if finding.found]
    blocks: list[Block | Section] = []
    if found:
        blocks.append(Bullets(tuple(Point(f.sentence, f.lead) for f in found)))
    else:
        blocks.append(Paragraph(_nothing_found(analysis)))
    unsure = [finding for finding in analysis.findings if not finding.found]
    if unsure:
        blocks.append(_leanings(unsure))
    blocks += [of_scale(analysis, scale) for scale in analysis.scales]
    return Section("findings", "What we found, surest first", tuple(blocks))


def of_scale(analysis: Analysis, scale: Scale) -> Section:
    """Show one score: as it was seen, then as the model reads it."""
    name = f"findings-{scale.name.replace('_', '-')}"
    seen = grades_by_firing(scale, analysis.graded(scale.name))
    fit = analysis.fits.by_scale.get(scale.name)
    if fit is None:
        why = Paragraph(f"No model was fitted. {analysis.fits.missing[scale.name]}")
        return Section(name, scale.title, (seen, why))
    score = analysis.scores[scale.name]
    pictures = (
        seen,
        family_grades(fit, score),
        effects_in_steps(score.effects, scale),
        colours_apart(score),
        sources_of_variation(variation_table(fit), scale),
        expected_and_seen(fit, scale),
    )
    shown = tuple(p for p in pictures if p is not None)
    said = _of_jars(analysis, fit)
    return Section(name, scale.title, (*shown, *said, *_through_firings(fit)))


def _of_jars(analysis: Analysis, fit: ScaleFit) -> tuple[Block, ...]:
    """What the labels of jars foretell, and families within colours that look alike."""
    matched = matched_contrasts({fit.scale: fit}, analysis.series.colours)["sentence"]
    told = [*matched, *fit.labels.sentences(fit.scale, logits_a_step(fit))]
    return (Bullets(tuple(Point(sentence) for sentence in told)),) if told else ()


def _through_firings(fit: ScaleFit) -> tuple[Block, ...]:
    """Which colours hold their ground through repeated firing, and which give way."""
    told = refiring_table({fit.scale: fit})
    if told.empty:
        return ()
    known = told[told["finding"] != CANNOT_TELL]
    blocks: list[Block] = []
    if len(known):
        blocks.append(Bullets(tuple(Point(sentence) for sentence in known["sentence"])))
    if len(known) < len(told):
        rest = counted(len(told) - len(known), "colour")
        blocks.append(Paragraph(f"Of {rest} in one role or the other it cannot be told yet."))
    title = "Which colours hold their ground through repeated firing, and which give way"
    return (Fold(title, tuple(blocks)),)


def _leanings(unsure: Sequence[Finding]) -> Fold:
    """What is too unsure to be a finding."""
    leaning = [finding for finding in unsure if finding.leaning][:_LEANINGS]
    cannot = [finding for finding in unsure if not finding.leaning]
    points = tuple(Point(finding.sentence, "Perhaps:") for finding in leaning)
    open_points = tuple(Point(finding.sentence) for finding in cannot)
    return Fold(
        "Leanings: less than nine chances in ten, or too few samples; not findings",
        (Bullets((*points, *open_points)),),
    )


def _nothing_found(analysis: Analysis) -> str:
    if not len(analysis.observations):
        return "Nothing has been graded yet, so nothing has been found."
    return (
        "Nothing was found that these samples can tell from chance. That is a result: whatever "
        "differences there are, they are too small to show in this many patches."
    )
