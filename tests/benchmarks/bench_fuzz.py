"""Thousands of disturbed workbooks and tables: how many, how they ended, how long it took.

Run as: python tests/benchmarks/bench_fuzz.py [CASES [workbooks | tables]]. Any case that is
neither read exactly nor refused in words, or that loses a row, stops it with the seed of the case.
"""

import importlib.util
import multiprocessing
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np

from kit.record import apply, take_in, write_workbook
from kit.series import Series, examine, read_series

RECORD = Path(__file__).parents[1] / "record"
WORKERS = 2
PART = 250
KEYS = "\n\r,;\"'\t =-+@0159xT\0é"


def load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, RECORD / f"{name}.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def small_series(place: Path) -> Path:
    """Two tiles with a few grades on record."""
    series: Series = load("conftest").planned(graders=("Ada", "Ben"))
    levels = {**series.settings.factors, "firings": (1, 2)}
    series = replace(
        series,
        settings=replace(series.settings, factors=levels),
        tiles=series.tiles[:2],
        patches=series.patches[series.patches["tile"] < 3],
    )
    folder = series.write(place / "trial")
    first = place / "first.csv"
    first.write_text("patch,firing,grader,spread,note\nT1-1,1,Ada,2,=x\nT2-3,2,Ada,4,\n")
    apply(take_in(folder, first, "Ada"))
    return folder


def workbooks(seeds: range) -> Counter:
    fuzz = load("fuzz_workbooks")
    ended: Counter = Counter()
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        series = read_series(small_series(place))
        template = fuzz.only_grades(write_workbook(series, place / "t.xlsx"))
        for seed in seeds:
            try:
                case = fuzz.workbook_case(template, np.random.default_rng(seed))
                ended[fuzz.check(case, series, place)] += 1
            except Exception as failed:
                raise RuntimeError(f"workbook {seed}") from failed
    return ended


def tables(seeds: range) -> Counter:
    ended: Counter = Counter()
    with tempfile.TemporaryDirectory() as scratch:
        folder = small_series(Path(scratch))
        files = {p.name: p.read_bytes() for p in folder.glob("*.csv")}
        for seed in seeds:
            random = np.random.default_rng(seed)
            name = sorted(files)[random.integers(len(files))]
            content = slipped(files[name], random)
            (folder / name).write_bytes(content)
            try:
                series, problems = examine(folder)
                assert (series is None) == bool(problems) and all(p.wrong for p in problems)
                assert (folder / name).read_bytes() == content
                ended["refused" if series is None else "read"] += 1
            except Exception as failed:
                raise RuntimeError(f"table {seed}") from failed
            (folder / name).write_bytes(files[name])
    return ended


def slipped(content: bytes, random: np.random.Generator) -> bytes:
    """Slips of the keyboard, or in one case of five of the disk."""
    raw = bytearray(content)
    for _ in range(random.integers(1, 4)):
        at = int(random.integers(len(raw) + 1))
        if random.random() < 0.2:
            raw[at : at + 1] = bytes([random.integers(256)])
        else:
            key = KEYS[random.integers(len(KEYS))].encode()
            raw[at : at + int(random.integers(2))] = key
    return bytes(raw)


def measured(kind: Callable[[range], Counter], cases: int) -> str:
    parts = [range(first, min(first + PART, cases)) for first in range(0, cases, PART)]
    start = time.perf_counter()
    ended: Counter = Counter()
    with multiprocessing.Pool(WORKERS) as pool:
        for part in pool.imap_unordered(kind, parts):
            ended += part
            print(f"  {sum(ended.values())} {kind.__name__}", file=sys.stderr, flush=True)
    took = time.perf_counter() - start
    how = ", ".join(f"{count} {word}" for word, count in sorted(ended.items()))
    return (
        f"{kind.__name__}: {sum(ended.values())} cases, {how}, none failed; {took:.0f} s with "
        f"{WORKERS} processes"
    )


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    named = {"tables": tables, "workbooks": workbooks}
    for name in sys.argv[2:3] or named:
        print(measured(named[name], count), flush=True)
