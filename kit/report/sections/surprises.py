"""What surprised us."""

from typing import Any

import pandas as pd

from kit.model import BROKEN_THROUGH, FINE_EDGE, SOFT_EDGE, residuals
from kit.report.analysis import Analysis
from kit.report.page.document import Block, Bullets, Paragraph, Point, Section
from kit.report.page.verdict_looks import leanings
from kit.series import Scale, family_pair
from kit.wording import adverb, counted, percent

_MOST = 6
_PATCHES = 2

_USUAL = {
    "leaded over leaded": (FINE_EDGE,),
    "unleaded over unleaded": (FINE_EDGE,),
    "leaded over unleaded": (SOFT_EDGE,),
    "unleaded over leaded": (BROKEN_THROUGH, SOFT_EDGE),
}
"""Common practice, no source: like over like behaves, unlike over unlike does not."""


def surprises(analysis: Analysis) -> Section:
    """Name the pairs that go against the rule of thumb, and the patches that nobody foretold."""
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
    odd = against_the_rule(analysis.pairs)
    if odd.empty:
        told = "No pair with a verdict goes against it." if len(analysis.pairs) else (
            f"No pair can be judged yet: {analysis.judged.missing}"
        )  # fmt: skip
        return [*blocks, Paragraph(told)]
    blocks.append(Bullets(tuple(_point(pair) for pair in odd.head(_MOST).itertuples())))
    if len(odd) > _MOST:
        more = counted(len(odd) - _MOST, "more pair")
        blocks.append(Paragraph(f"{more} against the rule of thumb: see the lists above."))
    return blocks


def _patches(analysis: Analysis) -> list[Block]:
    """Patches whose grades lay furthest from what the model made of everything else."""
    points = []
    for scale in analysis.scales:
        fit = analysis.fits.by_scale.get(scale.name)
        if fit:
            far = far_from_foretold(residuals(fit)).head(_PATCHES)
            points += [_patch_point(row, scale) for row in far.itertuples()]
    if not points:
        return []
    told = (
        "These patches came out otherwise than everything else led to expect. Look at them again."
    )
    return [Paragraph(told), Bullets(tuple(points))]


def far_from_foretold(rows: pd.DataFrame) -> pd.DataFrame:
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
        f"firing {row.firing}, where {row.expected:.1f} was foretold.",
        f"Patch {row.patch}:",
    )


def against_the_rule(pairs: pd.DataFrame) -> pd.DataFrame:
    """Pairs whose verdict is not the usual one for their families, surest first."""
    if pairs.empty:
        return pairs
    judged = leanings(pairs)
    odd = [
        verdict in (FINE_EDGE, BROKEN_THROUGH, SOFT_EDGE)
        and verdict not in _USUAL[family_pair(base, overlay)]
        for verdict, base, overlay in zip(
            judged["verdict"], judged["base_family"], judged["overlay_family"], strict=True
        )
    ]
    return judged[odd].sort_values(["sureness", "base", "overlay"], ascending=[False, True, True])


def _point(pair: Any) -> Point:
    families = family_pair(pair.base_family, pair.overlay_family)
    does = {
        FINE_EDGE: "holds a fine edge all the same",
        BROKEN_THROUGH: "is broken through",
        SOFT_EDGE: "holds no fine edge",
    }[pair.verdict]
    ground = (
        f"seen on {counted(int(pair.patches), 'patch', 'patches')}"
        if pair.patches
        else "not fired: foretold, so fire it before you believe it"
    )
    return Point(
        f"{families}, {adverb(pair.sureness)} {does} (chance {percent(pair.sureness)}; {ground}).",
        f"{pair.overlay} over {pair.base}:",
    )
