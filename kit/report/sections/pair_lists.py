"""Every pair once, with its firing counts: what keeps a fine edge longest comes first."""

from collections.abc import Iterator

import pandas as pd

from kit.drawing import chance_of
from kit.model import (
    BROKEN_THROUGH,
    FINE_EDGE,
    HIT_OR_MISS,
    LOOKS,
    NOT_KNOWN,
    SOFT_EDGE,
    look,
    through,
)
from kit.report.analysis import Analysis
from kit.report.page.document import PairGroup, PairGroups, PairRow, Paragraph, Section
from kit.wording import counted, percent

_TITLE = "The pairs"
_AFTER_NONE = {
    SOFT_EDGE: "Neither a fine edge nor a broken effect is to be expected of these.",
    BROKEN_THROUGH: "The base comes up through these. Use them where that is the effect you want.",
    HIT_OR_MISS: "These vary from patch to patch by their nature. More samples will not change "
    "that: use them where either outcome will do.",
    NOT_KNOWN: "For these the samples do not decide yet. Fire one before you rely on it.",
}


def pairs_by_verdict(analysis: Analysis) -> Section:
    """List every pair of a series."""
    if analysis.pairs.empty:
        return Section("pairs", _TITLE, (Paragraph(missing_pairs(analysis)),))
    return Section("pairs", _TITLE, (pair_groups(analysis.pairs),))


def missing_pairs(analysis: Analysis) -> str:
    """Say why no pair can be judged."""
    return f"No pair can be judged yet: {analysis.judged.missing}"


def pair_groups(pairs: pd.DataFrame) -> PairGroups:
    """Group the pairs of a table by what they do, the surest of each group first."""
    counts = sorted({int(count) for count in pairs["firings"]})
    told = through(pairs).set_index(["base", "overlay"])
    rows = {
        (base, overlay): of_pair.sort_values("firings")
        for (base, overlay), of_pair in pairs.groupby(["base", "overlay"], sort=False)
    }
    groups: dict[tuple[int, str], list[tuple[float, PairRow]]] = {}
    for pair, of_pair in rows.items():
        reached = int(told.at[pair, "through"])
        first = of_pair.iloc[0]
        key = (reached, FINE_EDGE if reached else str(first["verdict"]))
        row = _row(of_pair, int(told.at[pair, "patches"]), str(told.at[pair, "headline"]))
        groups.setdefault(key, []).append((-_sureness(of_pair, reached), row))
    return PairGroups(
        tuple(counted(count, "firing") for count in counts), tuple(_in_order(groups, counts))
    )


def _in_order(
    groups: dict[tuple[int, str], list[tuple[float, PairRow]]], counts: list[int]
) -> Iterator[PairGroup]:
    keys = [(count, FINE_EDGE) for count in reversed(counts)]
    keys += [(0, verdict) for verdict in LOOKS if verdict != FINE_EDGE]
    for key in keys:
        if key in groups:
            ordered = sorted(groups[key], key=lambda s: (round(s[0], 4), s[1].base, s[1].overlay))
            title, about = _heading(*key, counts)
            yield PairGroup(title, about, tuple(row for _, row in ordered))


def _heading(reached: int, verdict: str, counts: list[int]) -> tuple[str, str]:
    if not reached:
        return LOOKS[
            verdict
        ].heading, f"After {counted(counts[0], 'firing')}. {_AFTER_NONE[verdict]}"
    title = f"{LOOKS[FINE_EDGE].heading} through {counted(reached, 'firing')}"
    more = "" if reached < counts[-1] else ", the most that was fired"
    return title, f"Use these where the stencil must stay crisp, up to that many firings{more}."


def _row(rows: pd.DataFrame, patches: int, headline: str) -> PairRow:
    first = rows.iloc[0]
    verdicts = tuple(
        (look(row.verdict, row.leans_to), percent(chance_of(row))) for row in rows.itertuples()
    )
    return PairRow(str(first["overlay"]), str(first["base"]), verdicts, patches, headline)


def _sureness(rows: pd.DataFrame, reached: int) -> float:
    row = rows[rows["firings"] == reached].iloc[0] if reached else rows.iloc[0]
    return chance_of(row)
