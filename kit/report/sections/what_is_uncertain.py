"""What is uncertain, and how far the graders agree."""

import warnings
from collections.abc import Sequence

from kit.design import held_in_words, order_of_work
from kit.errors import Misuse, StatisticalWarning
from kit.model import (
    FALSE_ALARM,
    NOT_KNOWN,
    PairSetting,
    VerdictRule,
    agreement,
    cuts_differ,
    cuts_sentence,
    drift_in_session,
    grader_influence,
    grader_slips,
    left_out,
    loss_bias,
    proportional_odds_check,
    tile_influence,
    verdicts_by_own_cuts,
)
from kit.report.analysis import Analysis, collected_warnings
from kit.report.figures.grade_shares import graders_side_by_side
from kit.report.findings.headline import spoken_of
from kit.report.findings.pair_findings import Pair
from kit.report.page.document import Block, Bullets, Fold, Paragraph, Point, Section
from kit.series import PULL_THROUGH, SPREAD, Scale
from kit.wording import counted, listed

_CLOSE = 0.05
_NAMED = 4
_FEW_TILES = 2


def doubts(analysis: Analysis) -> Section:
    """Say what the conclusions hang on, and where they stop."""
    with collected_warnings():
        points = [
            *_close_calls(analysis),
            *_uneven_steps(analysis),
            *_losses(analysis),
            *_drifts(analysis),
            *_tiles_unlike_the_rest(analysis),
        ]
    opening = Paragraph(
        "Every verdict here is a chance, worked out from a few samples. These would move it."
    )
    checked = _left_out(analysis)
    mind_changers = (opening, Bullets(tuple(points))) if points else ()
    missed = (Paragraph(_MISSED),) if analysis.fits.by_scale else ()
    limits = (Paragraph("What not to conclude from this series:"), Bullets(_limits(analysis)))
    return Section(
        "doubts", "What would change our minds", (*checked, *mind_changers, *missed, *limits)
    )


_MISSED = (
    "The checks behind this cannot see everything. Of invented series of 96 patches graded by two, "
    "they named a slipped row in 24 series of 24, swapped scores in 24 of 24, a drift in 44 of 44, "
    "the loss of the worse half of mixed families in 44 of 44, a mixed-up tile in 20 of 20, and "
    "steps of the scale that come later for one pair of families in 99 of 124. Where nothing was "
    "wrong they named something in 4 series of 100. From fewer patches they see less: that they "
    "say nothing is no proof."
)
"""From tests/benchmarks/bench_checks.py."""


def _left_out(analysis: Analysis) -> tuple[Paragraph, ...]:
    """Say how the chances did for tiles and pairs that were left out when they were worked out."""
    fits = analysis.fits.by_scale
    if SPREAD.name not in fits or PULL_THROUGH.name not in fits:
        return ()
    rule = VerdictRule.of(analysis.series.settings.verdict)
    both = {name: fits[name] for name in (SPREAD.name, PULL_THROUGH.name)}
    aside = any(len(fit.measured) for fit in both.values())
    said = " Photographs are set aside where tiles are left out." if aside else ""
    told = [left_out(both, rule, by).sentence for by in ("tile", "pair")]
    return tuple(Paragraph(sentence) for sentence in (f"{told[0]}{said}", told[1]))


def _close_calls(analysis: Analysis) -> list[Point]:
    if analysis.observations.empty:
        return []
    found = analysis.pairs_found
    if not len(found):
        return [Point(analysis.judged.missing, "Any grade at all:")]
    confidence = analysis.series.settings.verdict.confidence
    known = [pair for pair in spoken_of(analysis, found) if pair.shown.verdict != NOT_KNOWN]
    close = sorted(
        (pair for pair in known if pair.shown.chance < confidence + _CLOSE),
        key=lambda pair: (pair.shown.chance, pair.name),
    )
    if not close:
        return []
    return [
        Point(
            f"{counted(len(close), 'verdict')} of {len(known)} would fall to '{NOT_KNOWN}' if "
            f"the chance were a little lower: {_named(close)}. One more patch could do it.",
            "Close calls:",
        )
    ]


def _uneven_steps(analysis: Analysis) -> list[Point]:
    """Effects that differ along the scale, which the model takes to be alike."""
    points = []
    uneven = False
    for scale in analysis.scales:
        fit = analysis.fits.by_scale.get(scale.name)
        if fit is None or cuts_differ(fit) >= FALSE_ALARM["cuts"] / 2:
            continue
        uneven = uneven or scale.name in (SPREAD.name, PULL_THROUGH.name)
        checked = proportional_odds_check(fit)
        odd = checked.loc[checked["stands_out"], "sentence"]
        lead = f"{scale.title}, steps unlike each other:"
        points += [Point(sentence, lead) for sentence in odd]
        if odd.empty:
            points.append(Point("What factors do differs from step to step of the scale.", lead))
    if uneven and len(analysis.pairs):
        setting = PairSetting.of(analysis.series.settings.verdict)
        try:
            other = verdicts_by_own_cuts(analysis.fits.by_scale, analysis.series.stock, setting)
        except Misuse:
            return points
        points.append(Point(cuts_sentence(other), "What that does to the verdicts:"))
    return points


def _losses(analysis: Analysis) -> list[Point]:
    """What lost patches may hide."""
    if analysis.pairs.empty:
        return []
    fits = analysis.fits.by_scale
    # Fits beside earlier rounds know tiles by other names, and have lost patches of their own.
    by_grades = None if analysis.before else {name: fit.by_grades for name, fit in fits.items()}
    found = loss_bias(analysis.series, by_grades=by_grades)
    return [Point(said, "Lost patches:") for said in found.sentences]


def _drifts(analysis: Analysis) -> list[Point]:
    """Scales that move as a session goes on."""
    work = order_of_work(analysis.series)
    fired = work.loc[work["action"] == "fire", ["tile", "firing", "step"]]
    if any(fit.frame["series"].nunique() > 1 for fit in analysis.fits.by_scale.values()):
        # Beside the rounds before it a tile goes by its series too.
        fired = fired.assign(tile=f"{analysis.series.name} " + fired["tile"].astype(str))
    each = [drift_in_session(fit, fired) for fit in analysis.fits.by_scale.values()]
    return [Point(drift.sentence, "Drift:") for drift in each if drift.stands_out]


def _tiles_unlike_the_rest(analysis: Analysis) -> list[Point]:
    """Tiles whose grades are far from what the others let expect."""
    fits = {
        name: fit
        for name, fit in analysis.fits.by_scale.items()
        if fit.frame["tile"].nunique() > _FEW_TILES
    }
    if not fits:
        return []
    tiles = tile_influence(fits)
    found = tiles.loc[tiles["stands_out"], "sentence"]
    return [Point(said, "A tile unlike the rest:") for said in found]


def _limits(analysis: Analysis) -> tuple[Point, ...]:
    settings = analysis.series.settings
    kept = {
        name: levels[0]
        for name, levels in settings.factors.items()
        if len(levels) == 1 and not isinstance(levels[0], str)
    }
    heat = sorted(set(analysis.series.firings["heat"]) - {""})
    points = [
        Point("Other jars, even of the same name, may behave differently. Fire one patch first."),
        Point(
            "A chance is about one patch. A piece with twenty stencils meets it twenty times over."
        ),
    ]
    if kept:
        told = held_in_words(kept)
        points.append(Point(f"Nothing here tells what another setting would do; kept were {told}."))
    if heat:
        points.append(
            Point(f"All firings were by {listed(heat)}. Another heat is another question.")
        )
    points.append(
        Point("That a fine edge holds says nothing about what is safe to eat or drink from.")
    )
    return tuple(points)


def _named(pairs: Sequence[Pair]) -> str:
    names = [pair.name for pair in pairs[:_NAMED]]
    more = len(pairs) - len(names)
    return listed([*names, *([f"{more} more"] if more else [])])


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
