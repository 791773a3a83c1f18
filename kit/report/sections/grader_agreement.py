"""The graders: how well they agree."""

import warnings

from kit.errors import StatisticalWarning
from kit.model import PairSetting, agreement, grader_influence, grader_slips
from kit.report.analysis import Analysis, collected_warnings
from kit.report.figures.grader_bars import graders_side_by_side
from kit.report.page.document import Block, Bullets, Fold, Paragraph, Point, Section
from kit.series import PULL_THROUGH, SPREAD, Scale
from kit.wording import listed


def graders(analysis: Analysis) -> Section:
    """Put the graders side by side."""
    names = sorted(set(analysis.observations["grader"]))
    if len(names) < 2:
        told = (
            f"{listed(names)} graded alone, so nobody can say how far the grades are the patch's "
            "and how far they are the eye's. A second grader on some of the patches would show."
            if names
            else "Nobody has graded yet."
        )
        return Section("graders", "How well the graders agree", (Paragraph(told),))
    points = tuple(
        Point(" ".join(sentences_on(analysis, scale)), f"{scale.title}:")
        for scale in analysis.scales
    )
    picture = graders_side_by_side(analysis.observations, analysis.scales)
    pictures = (picture,) if picture else ()
    blocks: tuple[Block, ...] = (
        *pictures,
        *_slips(analysis),
        *_what_each_does(analysis),
        Fold("Agreement as a number, for the curious", (Bullets(points),)),
    )
    return Section("graders", "How well the graders agree", blocks)


def _slips(analysis: Analysis) -> tuple[Block, ...]:
    """Say whose sheets read better a row further, exchanged or turned over."""
    fits = analysis.fits.by_scale
    both = {name: fits[name] for name in (SPREAD.name, PULL_THROUGH.name) if name in fits}
    if not both:
        return ()
    with collected_warnings():
        slips = grader_slips(both)
    found = slips.loc[slips["stands_out"], "sentence"]
    if found.empty:
        return (Paragraph("No sheet reads as if a row was slipped or two scores were exchanged."),)
    return (Bullets(tuple(Point(sentence, "A slip of the pen:") for sentence in found)),)


def _what_each_does(analysis: Analysis) -> tuple[Block, ...]:
    """Say which verdicts would change without one of the graders."""
    if analysis.pairs.empty:
        return ()
    setting = PairSetting.of(analysis.series.settings.verdict)
    left_out = grader_influence(analysis.fits.by_scale, analysis.series.stock, setting)
    points = tuple(Point(sentence) for sentence in left_out["sentence"])
    return (Paragraph("What it does to the verdicts:"), Bullets(points))


def sentences_on(analysis: Analysis, scale: Scale) -> tuple[str, ...]:
    """Say how well the graders agree on one scale; what would warn is among the sentences."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", StatisticalWarning)
        return agreement(analysis.observations, scale.name, list(scale.grades)).sentences
