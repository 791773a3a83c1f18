"""What surprised us."""

from typing import Any

import pandas as pd

from kit.model import BROKEN_THROUGH, FINE_EDGE, SOFT_EDGE, residuals
from kit.report.analysis import Analysis
from kit.report.findings.pair_findings import Pair, PairFindings
from kit.report.page.document import Block, Bullets, Paragraph, Point, Section
from kit.series import Scale
from kit.wording import adverb, counted

_MOST = 6
_PATCHES = 2

_USUAL = {
    "leaded over leaded": (FINE_EDGE,),
    "unleaded over unleaded": (FINE_EDGE,),
    "leaded over unleaded": (SOFT_EDGE,),
    "unleaded over leaded": (BROKEN_THROUGH, SOFT_EDGE),
}
"""Common practice, no source: like over like behaves, unlike over unlike does not."""

_DOES = {
    FINE_EDGE: "keeps a fine edge all the same",
    BROKEN_THROUGH: "is broken through",
    SOFT_EDGE: "gets a soft edge",
}


def surprises(analysis: Analysis) -> Section:
    """Name the pairs that go against the rule of thumb, and the patches that nobody expected."""
    if analysis.observations.empty:
        told = Paragraph("Nothing has been graded yet, so nothing could surprise us.")
        return Section("surprises", "What surprised us", (told,))
    return Section("surprises", "What surprised us", (*_pairs(analysis), *_patches(analysis)))


def _pairs(analysis: Analysis) -> list[Block]:
    blocks: list[Block] = [
        Paragraph(
            "The rule of thumb of the trade (common practice, no source): like over like behaves; "
            "leaded over unleaded spreads; unleaded over leaded is pulled through. These pairs do "
            "otherwise."
        )
    ]
    found = analysis.pairs_found
    odd = against_the_rule(found)
    if not odd:
        told = "No pair with a verdict goes against it." if len(found) else (
            f"No pair can be judged yet: {analysis.judged.missing}"
        )  # fmt: skip
        return [*blocks, Paragraph(told)]
    blocks.append(Bullets(tuple(_point(pair) for pair in odd[:_MOST])))
    if len(odd) > _MOST:
        more = counted(len(odd) - _MOST, "more pair")
        blocks.append(Paragraph(f"{more} against the rule of thumb: see the list of pairs."))
    return blocks


def _patches(analysis: Analysis) -> list[Block]:
    """Patches whose grades lay furthest from what the model made of everything else."""
    points = []
    for scale in analysis.scales:
        fit = analysis.fits.by_scale.get(scale.name)
        if fit:
            far = far_from_expected(residuals(fit)).head(_PATCHES)
            points += [_patch_point(row, scale) for row in far.itertuples()]
    if not points:
        return []
    told = (
        "These patches came out otherwise than everything else led to expect. Look at them again."
    )
    return [Paragraph(told), Bullets(tuple(points))]


def far_from_expected(rows: pd.DataFrame) -> pd.DataFrame:
    """Patches and firings whose grades were off by a step or more on average, furthest first.

    Parameters
    ----------
    rows : DataFrame
        As `kit.model.residuals` gives it.
    """
    keys = ["patch", "firing", "base", "overlay"]
    means = rows.groupby(keys, as_index=False, observed=True)[["grade", "expected", "off"]].mean()
    far = means[means["off"].abs() >= 1]
    order = far["off"].abs().sort_values(ascending=False, kind="stable").index
    return far.loc[order].drop_duplicates("patch")


def _patch_point(row: Any, scale: Scale) -> Point:
    return Point(
        f"{row.overlay} over {row.base} was graded {row.grade:.1f} for {scale.title.lower()} after "
        f"firing {row.firing}, where {row.expected:.1f} was expected.",
        f"Patch {row.patch}:",
    )


def against_the_rule(found: PairFindings) -> list[Pair]:
    """Pairs whose verdict is not the usual one for their families, surest first."""
    odd = [
        pair
        for pair in found
        if pair.shown.verdict in _DOES and pair.shown.verdict not in _USUAL[pair.first.families]
    ]
    return sorted(odd, key=lambda pair: (-round(pair.shown.chance, 6), pair.name))


def _point(pair: Pair) -> Point:
    shown = pair.shown
    fire = "" if pair.patches else "; fire it before you believe it"
    after = counted(shown.firings, "firing")
    return Point(
        f"{shown.families}, {adverb(shown.chance)} {_DOES[shown.verdict]} after {after} "
        f"({shown.chance_said}; {shown.ground}{fire}).",
        f"{pair.name}:",
    )
