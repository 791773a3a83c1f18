"""How often good workbooks are doubted, and how many planted mistakes are noticed.

Run by hand: python tests/benchmarks/bench_second_thoughts.py [SERIES] [usual|wide] [FIRST SEED].
Invented series are fired in the studio, in one workshop's ways or in those of many kinds; each
grader's sheet of each firing is one workbook, held against what is on record of the others and of
earlier firings, as it would be at a bench.
"""

import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
from studios import Population

from kit.record import Entry, grading_order
from kit.record.plausibility import second_thoughts
from kit.series import Series, Settings, new_series, patch_name
from kit.studio import draw_truth, fire

Random = np.random.Generator
GRADERS = ("Ada", "Ben")


def invented(seed: int, world: str = "usual", tiles: int = 12, per_tile: int = 4) -> Series:
    """A fired series of eight colours with two graders."""
    random = np.random.default_rng(seed)
    names = [f"Jar {letter}" for letter in "ABCDEFGH"]
    stock = pd.DataFrame({"colour": names, "family": ["leaded", "unleaded"] * 4,
                          "opacity": "", "grain": "", "notes": ""}).astype("str")  # fmt: skip
    series = new_series("bench", Settings("B", "?", graders=GRADERS, seed=seed), stock)
    laid = pd.DataFrame({"tile": range(1, tiles + 1), "base": random.choice(names, tiles),
                         "coats": 2, "mesh": 80, "coat_weight": 60.0,
                         "session": [1 + t // 6 for t in range(tiles)]})  # fmt: skip
    spots = [(t, p) for t in laid["tile"] for p in range(1, per_tile + 1)]
    patches = pd.DataFrame({
        "patch": [patch_name(t, p) for t, p in spots], "tile": [t for t, _ in spots],
        "position": [p for _, p in spots], "overlay": random.choice(names, len(spots)),
        "mesh": 100, "coat_weight": 40.0, "before_firing": 1, "accident": "",
    })  # fmt: skip
    text = {"patch": "str", "overlay": "str", "accident": "str"}
    planned = replace(series, tiles=laid.astype({"base": "str"}), patches=patches.astype(text))
    wide = world == "wide"
    draw = Population().draw if wide else draw_truth
    return fire(planned, draw(stock, seed=seed, loss_rate=0.02), seed=seed + 1)


def sheets(series: Series) -> Iterator[tuple[Series, list[Entry]]]:
    """Each grader's sheet of each firing, with the series as it was before it came in."""
    order = {g: {f: grading_order(series, f, g) for f in (1, 2, 3)} for g in GRADERS}
    done = series.grades.iloc[:0]
    for firing in (1, 2, 3):
        fired = series.firings[series.firings["firing"] <= firing]
        for grader in GRADERS:
            own = series.grades.query("firing == @firing and grader == @grader")
            own = own.set_index("patch").reindex(order[grader][firing]).dropna(subset="spread")
            own = own.reset_index()
            yield replace(series, grades=done, firings=fired), entries_of(own)
            done = pd.concat([done, own[done.columns]], ignore_index=True).astype(done.dtypes)


def entries_of(own: pd.DataFrame) -> list[Entry]:
    return [
        Entry("grades", (row.patch, row.firing, row.grader), scale, int(getattr(row, scale)), "")
        for row in own.itertuples()
        for scale in ("spread", "pull_through")
    ]


def table_of(entries: list[Entry]) -> pd.DataFrame:
    rows = [(*e.key, e.column, e.value) for e in entries]
    return pd.DataFrame(rows, columns=["patch", "firing", "grader", "scale", "grade"])


def slipped(entries: list[Entry], _: Series, random: Random) -> list[Entry]:
    """From some row in the first third on, every grade stands one row too low."""
    rows = len(entries) // 2
    start = 2 * int(random.integers(0, rows // 3))
    moved = [replace(e, value=b.value) for b, e in zip(entries[start:-2], entries[start + 2 :],
                                                       strict=True)]  # fmt: skip
    return [*entries[: start + 2], *moved]


def reversed_scale(entries: list[Entry], _: Series, __: Random) -> list[Entry]:
    return [replace(e, value=4 - e.value) if e.column == "spread" else e for e in entries]


def turned(entries: list[Entry], series: Series, random: Random) -> list[Entry]:
    """Every tile was held upside down."""
    at = series.patches.set_index("patch")["position"]
    by = {(e.key[0], e.column): e.value for e in entries}

    def other(e: Entry) -> Entry:
        tile = str(e.key[0]).split("-")[0]
        value = by.get((f"{tile}-{5 - at[e.key[0]]}", e.column), e.value)
        return replace(e, value=value)

    return [other(e) for e in entries]


def one_turned(entries: list[Entry], series: Series, random: Random) -> list[Entry]:
    """One tile was held upside down."""
    tile = random.choice(sorted({str(e.key[0]).split("-")[0] for e in entries}))
    other = turned(entries, series, random)
    return [b if str(e.key[0]).startswith(f"{tile}-") else e
            for e, b in zip(entries, other, strict=True)]  # fmt: skip


def exchanged(entries: list[Entry], _: Series, __: Random) -> list[Entry]:
    """The two scores stand in each other's columns."""
    other = {"spread": "pull_through", "pull_through": "spread"}
    return [replace(e, column=other[e.column]) for e in entries]


def swapped(entries: list[Entry], series: Series, _: Random) -> list[Entry]:
    """The sheet is another grader's, whose own is on record."""
    others = series.grades[series.grades["grader"] != entries[0].key[2]]
    known = others.set_index(["patch", "firing"])
    return [
        replace(e, value=int(known.at[e.key[:2], e.column]))
        for e in entries
        if e.key[:2] in known.index and not pd.isna(known.at[e.key[:2], e.column])
    ]


MISTAKES: dict[str, Callable[[list[Entry], Series, Random], list[Entry]]] = {
    "rows slipped by one": slipped,
    "scale reversed": reversed_scale,
    "every tile turned": turned,
    "one tile turned": one_turned,
    "two scores exchanged": exchanged,
    "another grader's sheet": swapped,
}


def measure(series: int, world: str = "usual", first_seed: int = 1) -> tuple[Counter, Counter]:
    """Count sheets and doubts: good ones under 'good', and each planted mistake."""
    tried, doubted = Counter(), Counter()
    for seed in range(first_seed, first_seed + series):
        random = np.random.default_rng(seed)
        for n, (before, entries) in enumerate(sheets(invented(seed, world))):
            tried["good"] += 1
            said = second_thoughts(before, entries)
            doubted["good"] += bool(said)
            if said and "-v" in sys.argv:
                print(seed, n, said)
            if n == 0:
                continue
            for name, spoil in MISTAKES.items():
                spoilt = spoil(entries, before, random)
                if len(spoilt) < 20:
                    continue
                tried[name] += 1
                doubted[name] += bool(second_thoughts(before, spoilt))
    return tried, doubted


if __name__ == "__main__":
    begun = time.perf_counter()
    told = [word for word in sys.argv[1:] if word != "-v"]
    count, world, first = [*told, *("100", "usual", "1")[len(told) :]]
    tried, doubted = measure(int(count), world, int(first))
    print("| sheet | tried | doubted |\n| --- | --- | --- |")
    for name, count in tried.items():
        print(f"| {name} | {count} | {doubted[name]} ({doubted[name] / count:.1%}) |")
    print(f"Took {time.perf_counter() - begun:.0f} s.")
