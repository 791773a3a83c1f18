"""What would change our minds, and what not to conclude."""

import pandas as pd

from kit.model import FINE_EDGE, NOT_KNOWN, proportional_odds_check
from kit.record import loss_balance
from kit.report.analysis import Analysis
from kit.report.page.document import Bullets, Paragraph, Point, Section
from kit.report.page.verdict_looks import leanings
from kit.wording import counted, listed, percent

_CLOSE = 0.05
_NAMED = 4


def doubts(analysis: Analysis) -> Section:
    """Say what the conclusions hang on, and where they stop."""
    points = [*_close_calls(analysis), *_hidden_link(analysis), *_uneven_steps(analysis)]
    balance = loss_balance(analysis.series)
    if balance.uneven:
        points.append(Point(balance.sentence(), "Uneven losses:"))
    opening = Paragraph(
        "Every verdict here is a chance, worked out from a few samples. These would move it."
    )
    mind_changers = (opening, Bullets(tuple(points))) if points else ()
    limits = (Paragraph("What not to conclude from this series:"), Bullets(_limits(analysis)))
    return Section("doubts", "What would change our minds", (*mind_changers, *limits))


def _close_calls(analysis: Analysis) -> list[Point]:
    if analysis.observations.empty:
        return []
    if analysis.pairs.empty:
        return [Point(analysis.judged.missing, "Any grade at all:")]
    confidence = analysis.series.settings.verdict.confidence
    judged = leanings(analysis.pairs)
    decided = judged[judged["verdict"] != NOT_KNOWN]
    close = decided[decided["sureness"] < confidence + _CLOSE].sort_values("sureness")
    if close.empty:
        return []
    return [
        Point(
            f"{counted(len(close), 'verdict')} of {len(decided)} would fall to 'not known yet' if "
            f"the chance were a little lower: {_named(close)}. One more patch could do it.",
            "Close calls:",
        )
    ]


def _hidden_link(analysis: Analysis) -> list[Point]:
    """Suited pairs that rest on how spread and pull-through go together."""
    if "fine_edge" not in analysis.pairs:
        return []
    confidence = analysis.series.settings.verdict.confidence
    suited = analysis.pairs[analysis.pairs["verdict"] == FINE_EDGE]
    resting = suited[suited["fine_edge"] < confidence]
    if resting.empty:
        return []
    return [
        Point(
            f"{len(resting)} of {counted(len(suited), 'suited pair')} would not be called suited "
            f"if spread and pull-through never went wrong on the same patch: then the chance "
            f"of a fine edge would be as low as {percent(resting['fine_edge'].min())}.",
            "How the two scores go together:",
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


def _named(pairs: pd.DataFrame) -> str:
    names = [f"{pair.overlay} over {pair.base}" for pair in pairs.head(_NAMED).itertuples()]
    more = len(pairs) - len(names)
    return listed([*names, *([f"{more} more"] if more else [])])
