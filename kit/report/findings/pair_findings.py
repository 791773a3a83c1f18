"""What is known of each pair at each firing count, as every output shows and says it."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from kit.drawing import pair_charts
from kit.model import (
    FINE_EDGE,
    HIT_OR_MISS,
    LOOKS,
    NOT_KNOWN,
    Look,
    look,
    shown_chance,
    through,
    verdict_sentence,
)
from kit.series import csv_of, family_pair
from kit.wording import counted, escape, percent, whole_percent

_COLUMNS = (
    "base", "overlay", "base_family", "overlay_family", "firings", "patches", "fine_edge",
    "soft_edge", "broken_through", "verdict", "leans_to", "share_low", "share_high",
    "hit_or_miss", "spread", "spread_low", "spread_high", "pull_through", "pull_through_low",
    "pull_through_high", "foretold",
)  # fmt: skip

PAIRS = "pairs.csv"
"""The file that has every pair."""


@dataclass(frozen=True)
class PairFinding:
    """One pair after one number of firings.

    Parameters
    ----------
    base, overlay, base_family, overlay_family : str
    firings, patches : int
        `patches` of this pair were seen at this count.
    fine_edge, soft_edge, broken_through : float
        Chances of the endings.
    verdict, leans_to : str
    share_low, share_high, hit_or_miss : float
    spread, spread_low, spread_high, pull_through, pull_through_low, pull_through_high : float
        Average of each score with its interval.
    foretold : bool
        Whether it lies beyond what was fired.
    chance : float
        Of what is shown: the verdict, or the ending that the pair leans to.
    """

    base: str
    overlay: str
    base_family: str
    overlay_family: str
    firings: int
    patches: int
    fine_edge: float
    soft_edge: float
    broken_through: float
    verdict: str
    leans_to: str
    share_low: float
    share_high: float
    hit_or_miss: float
    spread: float
    spread_low: float
    spread_high: float
    pull_through: float
    pull_through_low: float
    pull_through_high: float
    foretold: bool
    chance: float

    @property
    def name(self) -> str:
        """The pair as people say it: 'Custard over Attic Rose'."""
        return f"{self.overlay} over {self.base}"

    @property
    def families(self) -> str:
        """Its families: 'unleaded over leaded'."""
        return family_pair(self.base_family, self.overlay_family)

    @property
    def look(self) -> Look:
        """How it is shown."""
        return look(self.verdict, self.leans_to)

    @property
    def number(self) -> int:
        """Its chance in a hundred, as it stands in a cell."""
        return whole_percent(self.chance)

    @property
    def cell(self) -> str:
        """Verdict and chance, for a cell of a table: 'fine 97'."""
        return f"{self.look.short}\u00a0{self.number}"

    @property
    def ground(self) -> str:
        """What it rests on."""
        if self.foretold:
            return "beyond what was fired: expected only"
        if self.patches:
            return f"seen on {counted(self.patches, 'patch', 'patches')}"
        return "not fired: expected from what its two colours did in other pairs"

    @property
    def sentence(self) -> str:
        """What is known of the pair and what differs from patch to patch, with the full stop."""
        after = f"After {counted(self.firings, 'firing')}: {self.look.label} ({self.chance_said})."
        told = verdict_sentence(self.verdict, self.leans_to, self.share_low, self.share_high)
        return f"{after} {told}"

    @property
    def chance_said(self) -> str:
        """Its chance in words: 'chance 97 %'."""
        return f"chance {percent(self.chance)}"


@dataclass(frozen=True)
class Pair:
    """One pair at every firing count.

    Parameters
    ----------
    rows : tuple of PairFinding
        By firing count.
    through : int
        Firings that it keeps a fine edge through; 0 for none.
    headline : str
        A clause without its subject: 'keeps a fine edge through 2 firings'.
    """

    rows: tuple[PairFinding, ...]
    through: int
    headline: str

    @property
    def first(self) -> PairFinding:
        """After the fewest firings."""
        return self.rows[0]

    @property
    def shown(self) -> PairFinding:
        """What stands for the pair: the last count that it keeps a fine edge at, or the first."""
        kept = [row for row in self.rows if row.firings <= self.through]
        return kept[-1] if kept else self.rows[0]

    @property
    def name(self) -> str:
        """The pair as people say it."""
        return self.first.name

    @property
    def patches(self) -> int:
        """Patches of it seen at one firing count, at most."""
        return max(row.patches for row in self.rows)

    @property
    def can_be_settled(self) -> bool:
        """Whether firing more samples could settle it at some count that was fired."""
        return any(row.verdict == NOT_KNOWN and not row.foretold for row in self.rows)

    @property
    def sentence(self) -> str:
        """The pair with its headline, with no full stop."""
        return f"{self.name} {self.headline}" if self.through else f"{self.name}: {self.headline}"


@dataclass(frozen=True, eq=False, repr=False)
class PairFindings:
    """Every pair of a series, or of several.

    Parameters
    ----------
    table : DataFrame
        As `kit.model.pair_table` gives it; no rows when no pair can be judged.
    """

    table: pd.DataFrame

    def __repr__(self) -> str:
        counts = {verdict: len(pairs) for verdict, pairs in self.by_verdict.items() if pairs}
        told = ", ".join(f"{count} {verdict}" for verdict, count in counts.items())
        return f"<{counted(len(self), 'pair')}: {told or 'none judged'}>"

    def _repr_html_(self) -> str:
        """Show the chart, and every pair with its headline."""
        named = (
            self.table[["base", "base_family"]]
            .drop_duplicates()
            .set_axis(["colour", "family"], axis="columns")
        )
        charts = "".join(chart._repr_html_() for chart in pair_charts(self.table, named))
        rows = "".join(
            f"<tr><th>{escape(pair.name)}</th><td>{escape(pair.headline)}</td>"
            f"<td>{pair.shown.number}</td><td>{pair.patches}</td></tr>"
            for pair in self.pairs
        )
        head = "<tr><th>Pair</th><th>It</th><th>Chance in 100</th><th>Patches</th></tr>"
        listed = f"<details><summary>Every pair</summary><table>{head}{rows}</table></details>"
        return f"<p>{escape(repr(self)[1:-1])}</p>{charts}{listed}" if len(self) else repr(self)

    def __len__(self) -> int:
        return len(self.pairs)

    def __iter__(self) -> Iterator[Pair]:
        return iter(self.pairs)

    @cached_property
    def rows(self) -> tuple[PairFinding, ...]:
        """Every pair at every firing count."""
        if self.table.empty:
            return ()
        shown = self.table.assign(chance=shown_chance(self.table))
        records = shown[[*_COLUMNS, "chance"]].to_dict("records")
        return tuple(PairFinding(**{str(k): v for k, v in row.items()}) for row in records)

    @cached_property
    def pairs(self) -> tuple[Pair, ...]:
        """Every pair with its headline."""
        if self.table.empty:
            return ()
        by_pair: dict[tuple[str, str], list[PairFinding]] = defaultdict(list)
        for row in sorted(self.rows, key=lambda row: row.firings):
            by_pair[row.base, row.overlay].append(row)
        return tuple(
            Pair(tuple(by_pair[head.base, head.overlay]), int(head.through), str(head.headline))
            for head in through(self.table).itertuples()
        )

    @cached_property
    def csv(self) -> bytes:
        """Every pair at every firing count as the file `PAIRS`, with its headline.

        The chance of what is shown stands as the number that a chart's cell has; the chances behind
        it with four figures after the point.
        """
        headlines = {(p.first.base, p.first.overlay): p.headline for p in self}
        table = self.table.round(4).assign(
            chance_in_100=[row.number for row in self.rows],
            headline=[headlines[row.base, row.overlay] for row in self.rows],
        )
        return csv_of(table)

    @property
    def firings(self) -> tuple[int, ...]:
        """The firing counts judged."""
        return tuple(sorted({row.firings for row in self.rows}))

    def at(self, firings: int) -> tuple[PairFinding, ...]:
        """Every pair at one firing count."""
        return tuple(row for row in self.rows if row.firings == firings)

    def of(self, base: str, overlay: str) -> Pair | None:
        """One pair; None when it is not among them."""
        places = {(pair.first.base, pair.first.overlay): pair for pair in self.pairs}
        return places.get((base, overlay))

    def back(self, pair: Pair) -> Pair | None:
        """The same two colours laid the other way round."""
        return self.of(pair.first.overlay, pair.first.base)

    @property
    def by_verdict(self) -> dict[str, list[Pair]]:
        """Pairs under the verdict that stands for each, surest first; every verdict is a key."""
        groups: dict[str, list[Pair]] = {verdict: [] for verdict in LOOKS}
        for pair in self.pairs:
            groups[pair.shown.verdict].append(pair)
        for pairs in groups.values():
            pairs.sort(key=lambda p: (-p.through, -round(p.shown.chance, 6), p.name))
        return groups

    @property
    def unknown(self) -> list[Pair]:
        """Pairs with no verdict at any firing count."""
        return [pair for pair in self.pairs if all(r.verdict == NOT_KNOWN for r in pair.rows)]

    @property
    def known(self) -> list[Pair]:
        """Pairs with a verdict after the fewest firings, hit or miss among them."""
        return [pair for pair in self.pairs if pair.shown.verdict != NOT_KNOWN]

    @property
    def open(self) -> list[Pair]:
        """Pairs that firing more samples could settle."""
        return [pair for pair in self.pairs if pair.can_be_settled]

    @property
    def fired(self) -> list[Pair]:
        """Pairs that were fired and graded."""
        return [pair for pair in self.pairs if pair.patches]

    @property
    def varying(self) -> list[Pair]:
        """Pairs known to vary from patch to patch by their nature."""
        return self.by_verdict[HIT_OR_MISS]

    @property
    def fine(self) -> list[Pair]:
        """Pairs that keep a fine edge through at least the first firing count."""
        return self.by_verdict[FINE_EDGE]
