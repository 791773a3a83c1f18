"""The pairs by verdict: to trust, for broken effects, to avoid, and not known."""

import pandas as pd

from kit.model import BROKEN_THROUGH, FINE_EDGE, NOT_KNOWN, SOFT_EDGE
from kit.report.analysis import Analysis
from kit.report.page.document import Block, Fold, Paragraph, Section, TableBlock, table_of
from kit.report.page.verdict_looks import LOOKS, leanings
from kit.wording import counted, percent

_SHOWN, _ALL_SHOWN = 12, 16
_TO = "\u2060–\u2060"
"""An en dash at which no line breaks."""

_ABOUT = {
    FINE_EDGE: "Use these where the stencil must stay crisp.",
    BROKEN_THROUGH: "The base comes up through these. Use them where that is the effect you want.",
    SOFT_EDGE: "Neither a fine edge nor a dependable broken effect is to be expected of these.",
    NOT_KNOWN: "For these the samples do not decide. Fire one before you rely on it.",
}
_NONE = {
    FINE_EDGE: "No pair can be trusted with a fine edge on these samples.",
    BROKEN_THROUGH: "No pair is sure enough to break through.",
    SOFT_EDGE: "No pair is known to be one to avoid.",
    NOT_KNOWN: "Every pair has a verdict.",
}


def pairs_by_verdict(analysis: Analysis) -> Section:
    """List every pair under its verdict, surest first."""
    if analysis.pairs.empty:
        told = Paragraph(f"No pair can be judged yet: {analysis.judged.missing}")
        return Section("pairs", "The pairs, by verdict", (told,))
    judged = with_other_way(leanings(analysis.pairs))
    sections = tuple(_of_verdict(judged, verdict) for verdict in LOOKS)
    return Section("pairs", "The pairs, by verdict", sections)


def with_other_way(pairs: pd.DataFrame) -> pd.DataFrame:
    """Add a column other_way: the verdict on the same two colours laid the other way round."""
    back = pairs.set_index(["overlay", "base"])["verdict"]
    order = pd.MultiIndex.from_frame(pairs[["base", "overlay"]])
    return pairs.assign(other_way=back.reindex(order).to_numpy())


def _of_verdict(judged: pd.DataFrame, verdict: str) -> Section:
    surest = judged[judged["verdict"] == verdict].sort_values(
        ["sureness", "base", "overlay"], ascending=[False, True, True]
    )
    name = f"pairs-{list(LOOKS).index(verdict) + 1}"
    title = LOOKS[verdict].heading
    if surest.empty:
        return Section(name, title, (Paragraph(_NONE[verdict]),))
    blocks: list[Block] = [Paragraph(f"{counted(len(surest), 'pair')}. {_ABOUT[verdict]}")]
    shown = surest if len(surest) <= _ALL_SHOWN else surest.head(_SHOWN)
    blocks.append(_table(f"{title}, surest first", shown, verdict))
    if len(surest) > len(shown):
        rest = _table(f"{title}, the rest", surest.iloc[_SHOWN:], verdict)
        blocks.append(Fold(f"{title}: {len(surest) - _SHOWN} less sure ones", (rest,)))
    return Section(name, title, tuple(blocks))


def _table(caption: str, pairs: pd.DataFrame, verdict: str) -> TableBlock:
    leaning = {"Leans to": pairs["leaning"]} if verdict == NOT_KNOWN else {}
    frame = pd.DataFrame(
        {
            "Overlay over base": pairs["overlay"] + " over " + pairs["base"],
            **leaning,
            "Chance": [percent(chance) for chance in pairs["sureness"]],
            "Spread": _graded(pairs, "spread"),
            "Pull-through": _graded(pairs, "pull_through"),
            "Patches": pairs["patches"],
            "The other way round": pairs["other_way"],
        }
    )
    return table_of(caption, frame)


def _graded(pairs: pd.DataFrame, scale: str) -> list[str]:
    if scale not in pairs:
        return ["not graded"] * len(pairs)
    low, middle, high = (pairs[name] for name in (f"{scale}_low", scale, f"{scale}_high"))
    return [
        f"{m:.1f}\u00a0({a:.1f}{_TO}{b:.1f})" for m, a, b in zip(middle, low, high, strict=True)
    ]
