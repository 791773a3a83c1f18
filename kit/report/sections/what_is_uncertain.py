"""What would change our minds, and what not to conclude."""

from collections.abc import Sequence

from kit.model import NOT_KNOWN, VerdictRule, left_out, proportional_odds_check
from kit.record import loss_balance
from kit.report.analysis import Analysis
from kit.report.findings.pair_findings import Pair
from kit.report.page.document import Bullets, Paragraph, Point, Section
from kit.series import PULL_THROUGH, SPREAD
from kit.wording import counted, listed

_CLOSE = 0.05
_NAMED = 4


def doubts(analysis: Analysis) -> Section:
    """Say what the conclusions hang on, and where they stop."""
    points = [*_close_calls(analysis), *_uneven_steps(analysis)]
    balance = loss_balance(analysis.series)
    if balance.uneven:
        points.append(Point(balance.sentence(), "Uneven losses:"))
    opening = Paragraph(
        "Every verdict here is a chance, worked out from a few samples. These would move it."
    )
    checked = _left_out(analysis)
    mind_changers = (opening, Bullets(tuple(points))) if points else ()
    limits = (Paragraph("What not to conclude from this series:"), Bullets(_limits(analysis)))
    return Section("doubts", "What would change our minds", (*checked, *mind_changers, *limits))


def _left_out(analysis: Analysis) -> tuple[Paragraph, ...]:
    """Say how the chances did for tiles that were left out when they were worked out."""
    fits = analysis.fits.by_scale
    if SPREAD.name not in fits or PULL_THROUGH.name not in fits:
        return ()
    rule = VerdictRule.of(analysis.series.settings.verdict)
    both = {name: fits[name] for name in (SPREAD.name, PULL_THROUGH.name)}
    return (Paragraph(left_out(both, rule).sentence),)


def _close_calls(analysis: Analysis) -> list[Point]:
    if analysis.observations.empty:
        return []
    found = analysis.pairs_found
    if not len(found):
        return [Point(analysis.judged.missing, "Any grade at all:")]
    confidence = analysis.series.settings.verdict.confidence
    known = found.known
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
    for scale in analysis.scales:
        fit = analysis.fits.by_scale.get(scale.name)
        if fit:
            checked = proportional_odds_check(fit)
            odd = checked.loc[checked["stands_out"], "sentence"]
            points += [
                Point(sentence, f"{scale.title}, a step unlike the others:") for sentence in odd
            ]
    return points


def _limits(analysis: Analysis) -> tuple[Point, ...]:
    settings = analysis.series.settings
    kept = [f"{name.replace('_', ' ')} {levels[0]:g}" for name, levels in settings.factors.items()
            if len(levels) == 1 and not isinstance(levels[0], str)]  # fmt: skip
    heat = sorted(set(analysis.series.firings["heat"]) - {""})
    points = [
        Point("Other jars, even of the same name, may behave differently. Fire one patch first."),
        Point(
            "A chance is about one patch. A piece with twenty stencils meets it twenty times over."
        ),
    ]
    if kept:
        points.append(
            Point(f"Nothing here tells what another setting would do; kept were {listed(kept)}.")
        )
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
