"""What to expect of every pair at every firing count and recipe: the data of the look-up."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product, takewhile
from types import MappingProxyType
from typing import Any

import pandas as pd

from kit.drawing import Drawing, ink_on, layouts_of, patch_state
from kit.model import (
    ENDINGS,
    FINE_EDGE,
    LEANINGS,
    LOOKS,
    Look,
    VerdictRule,
    look,
    verdict_sentence,
)
from kit.report.analysis import Analysis, judge_pairs
from kit.report.page.document import LookUp
from kit.report.sections.tile_by_tile import photographs_of_pairs
from kit.series import FAMILIES, Verdict, grade
from kit.wording import (
    FACTOR_NAMES,
    coat_weight,
    counted,
    listed,
    percent,
    upper_first,
    whole_percent,
)

VARIED = ("mesh", "coat_weight")
"""What a person may choose besides colours and firings."""

_MOST_ROWS = 12_000
"""More rows than these would make a page heavy: then only the recipe of the chart is told."""

_WORDS = {
    "best": "How often to fire it:",
    "fired": "What was fired:",
    "turned": "The other way round:",
    "unfired": "nothing of this pair yet. It is expected from what its two colours did with "
    "others.",
    "drawing": "A drawing, not a photograph: what this ending looks like.",
    "untold": "This page does not speak of that pair.",
    "itself": "A colour over itself is a control, and no pair. Choose two colours.",
}
_LOOKS: tuple[tuple[Look, int | None], ...] = (
    *((shown, ENDINGS.index(v) if v in ENDINGS else None) for v, shown in LOOKS.items()),
    *((LEANINGS[ending], n) for n, ending in enumerate(ENDINGS)),
)
_UNDER, _OVER = 0, 100
_HARDLY = 0.1
"""Chance of a fine edge below which no firing count is recommended for one."""


@dataclass(frozen=True, eq=False)
class Expectations:
    """Pair tables at one recipe or several.

    Parameters
    ----------
    tables : tuple of DataFrame
        As `kit.model.pair_table` gives them, one for each combination of levels, the last factor
        changing fastest.
    levels : mapping of str to tuple of float
        Levels of what may be chosen, by factor; empty when nothing may.
    usual : tuple of int
        Which level of each is that of the chart.
    """

    tables: tuple[pd.DataFrame, ...]
    levels: Mapping[str, tuple[float, ...]]
    usual: tuple[int, ...] = ()


def expectations(analysis: Analysis) -> Expectations:
    """Judge the pairs at every combination of sifter and coat that was varied."""
    settings = analysis.series.settings
    levels = {}
    for name in VARIED:
        asked = getattr(settings.verdict, name)
        known = sorted({float(asked), *(float(level) for level in settings.factors[name])})
        if len(known) > 1:
            levels[name] = tuple(known)
    combinations = list(product(*levels.values()))
    if not levels or len(combinations) * len(analysis.pairs) > _MOST_ROWS:
        return Expectations((analysis.pairs,), {})
    usual = tuple(float(getattr(settings.verdict, name)) for name in levels)
    tables = tuple(
        analysis.pairs if at == usual else _judged_at(analysis, dict(zip(levels, at, strict=True)))
        for at in combinations
    )
    return Expectations(
        tables, levels, tuple(levels[n].index(at) for n, at in zip(levels, usual, strict=True))
    )


def _judged_at(analysis: Analysis, at: Mapping[str, float]) -> pd.DataFrame:
    usual = analysis.series.settings.verdict
    verdict = replace(
        usual,
        mesh=int(at.get("mesh", usual.mesh)),
        coat_weight=at.get("coat_weight", usual.coat_weight),
    )
    return judge_pairs(analysis.fits, analysis.series.stock, verdict).table


def look_up(analysis: Analysis, only: Collection[tuple[str, str]] | None = None) -> LookUp:
    """Gather what the look-up tells of a series.

    Parameters
    ----------
    analysis : Analysis
        With pairs that can be judged.
    only : collection of (str, str), optional
        The pairs (base, overlay) that it shall speak of; of all by default.
    """
    expected, fired = expectations(analysis), fired_in_words(analysis)
    if only is not None:
        expected = replace(expected, tables=tuple(_kept(t, only) for t in expected.tables))
        fired = {pair: said for pair, said in fired.items() if pair in only}
    stock, verdict = analysis.series.stock, analysis.series.settings.verdict
    return look_up_of(expected, stock, verdict, fired, photographs_of_pairs(analysis))


def _kept(table: pd.DataFrame, only: Collection[tuple[str, str]]) -> pd.DataFrame:
    return table[[pair in only for pair in zip(table["base"], table["overlay"], strict=True)]]


def look_up_of(
    expected: Expectations,
    stock: pd.DataFrame,
    verdict: Verdict,
    fired: Mapping[tuple[str, str], str],
    photographs: Mapping[tuple[str, str], Sequence[str]] = MappingProxyType({}),
) -> LookUp:
    """Make a look-up.

    Parameters
    ----------
    expected : Expectations
    stock : DataFrame
        Columns colour, family.
    verdict : Verdict
        Its rule says what an ending looks like.
    fired : mapping of (str, str) to str
        What was fired of a pair (base, overlay), in words.
    photographs : mapping of (str, str) to sequence of str
        Names of the photographs of a pair on the page.
    """
    first = expected.tables[0]
    named = set(first["base"]) | set(first["overlay"])
    used = stock[stock["colour"].isin(named)]
    families = {f: tuple(used.loc[used["family"] == f, "colour"]) for f in FAMILIES}
    families = {family: names for family, names in families.items() if names}
    order = [name for names in families.values() for name in names]
    counts = sorted({int(count) for count in first["firings"]})
    packed = _Packed({name: n for n, name in enumerate(order)}, counts)
    data = {
        "colours": order,
        "counts": counts,
        "after": [f"after {counted(count, 'firing')}" for count in counts],
        "percent": ["under 1\u00a0%", *(percent(n / 100) for n in range(1, 100)), "over 99\u00a0%"],
        "looks": [_look_told(shown, ending) for shown, ending in _LOOKS],
        "endings": [_look_told(LOOKS[ending], n) for n, ending in enumerate(ENDINGS)],
        "tables": [packed.rows(table) for table in expected.tables],
        "best": [packed.best(table) for table in expected.tables],
        "fired": {str(packed.pair(*pair)): said for pair, said in fired.items()},
        "photographs": {
            str(packed.pair(*pair)): list(names)
            for pair, names in photographs.items()
            if named.issuperset(pair)
        },
        "sentences": packed.sentences,
        "charts": _charts(first, used, packed.place, counts),
        "words": _WORDS,
        "usual": list(expected.usual),
        "first": _first(first, packed.place, photographs),
    }
    factors = {
        upper_first(FACTOR_NAMES[name].heading): tuple(f"{level:g}" for level in levels)
        for name, levels in expected.levels.items()
    }
    drawn = tuple(ending_drawings(VerdictRule.of(verdict)))
    return LookUp(families, tuple(map(str, counts)), factors, data, drawn)


def ending_drawings(rule: VerdictRule) -> Iterator[Drawing]:
    """Draw what each ending looks like, by the steps at which the rule parts them."""
    low, breaks = rule.fine_edge_at_most, rule.breaks_through_from
    yield patch_state(0, 0, name="fine-edge")
    yield patch_state(min(low + 2, 4), 0, name="soft-edge")
    yield patch_state(min(low, 1), min(breaks + 1, 4), name="broken-through")


def fired_in_words(analysis: Analysis) -> dict[tuple[str, str], str]:
    """Say of each pair (base, overlay) which patches were fired, and how they were graded."""
    grades = analysis.grades
    if grades.empty:
        return {}
    recipes = analysis.series.patches.set_index("patch")
    told: dict[tuple[str, str], list[str]] = {}
    for patch, rows in grades.groupby("patch", sort=False):
        said = [
            f"{scale.title.lower()} {', '.join(grade(value) for value in of_scale['grade'])}"
            for scale in analysis.scales
            if len(of_scale := rows[rows["scale"] == scale.name].sort_values("firings"))
        ]
        weight = coat_weight(recipes.at[patch, "coat_weight"])
        recipe = f"mesh {recipes.at[patch, 'mesh']}, {weight}"
        pair = (str(rows["base"].iloc[0]), str(rows["overlay"].iloc[0]))
        told.setdefault(pair, []).append(f"patch {patch} ({recipe}): {listed(said)}")
    in_turn = "Grades after each firing in turn."
    return {pair: f"{'; '.join(patches)}. {in_turn}" for pair, patches in told.items()}


class _Packed:
    """Rows of pair tables as small lists of numbers; sentences are told once."""

    def __init__(self, place: Mapping[str, int], counts: Sequence[int]) -> None:
        self.place, self.counts = place, counts
        self.sentences: list[str] = []
        self._known: dict[str, int] = {}

    def pair(self, base: str, overlay: str) -> int:
        """Number of a pair."""
        return self.place[base] * len(self.place) + self.place[overlay]

    def rows(self, table: pd.DataFrame) -> list[list[int] | int]:
        """[fine, soft, broken, look, sentence] by pair and count; 0 for a colour over itself."""
        packed: list[list[int] | int] = [0] * (len(self.place) ** 2 * len(self.counts))
        for row in table.itertuples():
            at = self.pair(row.base, row.overlay) * len(self.counts)
            packed[at + self.counts.index(int(row.firings))] = self._row(row)
        return packed

    def _row(self, row: Any) -> list[int]:
        shown = look(row.verdict, row.leans_to)
        said = verdict_sentence(row.verdict, row.leans_to, row.share_low, row.share_high)
        chances = (row.fine_edge, row.soft_edge, row.broken_through)
        where = next(n for n, (known, _) in enumerate(_LOOKS) if known is shown)
        return [*map(_code, chances), where, self._place_of(said)]

    def best(self, table: pd.DataFrame) -> dict[str, int]:
        """By pair: how often it may be fired, as the place of the sentence."""
        each: dict[int, list[Any]] = defaultdict(list)
        for row in table.sort_values("firings", kind="stable").itertuples():
            each[self.pair(row.base, row.overlay)].append(row)
        return {str(pair): self._place_of(best_count(rows)) for pair, rows in each.items()}

    def _place_of(self, sentence: str) -> int:
        if sentence not in self._known:
            self._known[sentence] = len(self.sentences)
            self.sentences.append(sentence)
        return self._known[sentence]


def best_count(rows: Sequence[Any]) -> str:
    """Say how often a pair may be fired for a fine edge, from its rows by firing count."""
    held = list(takewhile(lambda row: row.verdict == FINE_EDGE, rows))
    if not held:
        surest = max(rows, key=lambda row: row.fine_edge)
        count = counted(int(surest.firings), "firing")
        chance = percent(float(surest.fine_edge))
        if surest.fine_edge < _HARDLY:
            return f"at no count is a fine edge to be expected; its chance is {chance} at most."
        return f"no count is sure of a fine edge; the best is {count}, with a chance of {chance}."
    kept = f"it keeps a fine edge through {counted(int(held[-1].firings), 'firing')}"
    if len(held) == len(rows):
        return f"{kept}, the most that was fired."
    after = rows[len(held)]
    shown = look(after.verdict, after.leans_to)
    return f"{kept}; after {counted(int(after.firings), 'firing')}: {shown.label}."


def _code(chance: float) -> int:
    """Whole per cent, with 0 and 100 for what is under 1 % or over 99 %."""
    return _UNDER if chance < 0.01 else _OVER if chance > 0.99 else whole_percent(chance)


def _look_told(shown: Look, ending: int | None) -> dict[str, Any]:
    return {
        "label": shown.label,
        "heading": shown.heading,
        "colour": shown.colour,
        "ink": ink_on(shown.colour),
        "path": shown.path,
        "ending": ending,
    }


def _charts(
    pairs: pd.DataFrame, stock: pd.DataFrame, place: Mapping[str, int], counts: Sequence[int]
) -> list[dict[str, Any]]:
    """Where the cells of each chart lie, so that a tap finds its pair."""
    charts = []
    for part, layout in enumerate(layouts_of(pairs, stock), start=1):
        where = {
            "cell": layout.cell,
            "down": {str(place[name]): at for name, at in layout.down.items()},
            "across": {str(place[name]): at for name, at in layout.across.items()},
        }
        last = "" if part == 1 else f"-{part}"
        charts.append({"name": f"pair-chart{last}", **where})
        charts += [
            {"name": f"chances-{count}{last}", "count": n, **where}
            for n, count in enumerate(counts)
        ]
    return charts


def _first(
    table: pd.DataFrame,
    place: Mapping[str, int],
    photographs: Mapping[tuple[str, str], Sequence[str]],
) -> list[int]:
    """The pair that is shown first: one with photographs, fired most often, as the table has it."""
    pairs = zip(table["base"], table["overlay"], strict=True)
    pictured = table[[pair in photographs for pair in pairs]]
    seen = table if pictured.empty else pictured
    row = seen.loc[seen["patches"].idxmax()]
    return [place[row["base"]], place[row["overlay"]]]
