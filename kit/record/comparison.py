"""Entries laid over a series: what is new, what changes, what is the same already."""

import random
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from kit.errors import ChangedMeanwhile
from kit.record.corrections import with_corrections
from kit.record.entries import Change, Entry, Value
from kit.record.worklist import planned_firings
from kit.series import Occasion, Series, plain_rows, read_series, typed_frame

_TRIES = 40


@dataclass(frozen=True)
class Comparison:
    """Entries sorted by what they would do to a series.

    Parameters
    ----------
    new : tuple of Entry
        Fill a blank cell, or a row that is not there yet.
    changed : tuple of Change
        Differ from what stands there.
    same : int
        How many say what stands there already.
    implied : tuple of Entry
        Firings that nobody wrote down but that grades or accidents prove.
    """

    new: tuple[Entry, ...]
    changed: tuple[Change, ...]
    same: int
    implied: tuple[Entry, ...]


def compare(
    series: Series, entries: Iterable[Entry], sessions: Mapping[tuple[int, int], int] | None = None
) -> Comparison:
    """Sort entries into new, changed and same.

    Parameters
    ----------
    series : Series
    entries : iterable of Entry
    sessions : mapping of (tile, firing) to session
        For firings that are new; otherwise the plan decides.
    """
    stands = {name: rows_of(series, name) for name in ("grades", "firings", "patches")}
    new, changed, same = [], [], 0
    for entry in entries:
        was = stands[entry.table].get(entry.key, {}).get(entry.column)
        if was == entry.value:
            same += 1
        elif was is None:
            new.append(entry)
        else:
            changed.append(Change(entry, was))
    implied = _implied_firings(series, new, sessions or {})
    return Comparison(tuple(new), tuple(changed), same, implied)


def standing(series: Series, entry: Entry) -> Value:
    """Return what a series has in the cell of an entry; None for a blank or a missing row."""
    return rows_of(series, entry.table).get(entry.key, {}).get(entry.column)


def laid_over(series: Series, comparison: Comparison, by: str, source: str) -> Series:
    """Return the series with the entries in it, and with a correction for each change.

    Parameters
    ----------
    series : Series
    comparison : Comparison
        Made against the same series.
    by, source : str
        Who entered it, and from where.
    """
    entries = [*comparison.implied, *comparison.new, *(c.entry for c in comparison.changed)]
    frames = {
        name: _with(series, name, [e for e in entries if e.table == name])
        for name in ("grades", "firings", "patches")
    }
    corrections = with_corrections(series, comparison.changed, by, source)
    return replace(series, **frames, corrections=corrections)


def enter(
    folder: Path, entries: Sequence[Entry], by: str, source: str, agreed: Comparison | None = None
) -> Series:
    """Write entries into a series on disk, whoever else is writing to it.

    Parameters
    ----------
    folder : Path
    entries : sequence of Entry
    by, source : str
    agreed : Comparison, optional
        What the person has seen and agreed to. Entries that are on disk by now are no matter.

    Returns
    -------
    Series
        As it is on disk afterwards.

    Raises
    ------
    ChangedMeanwhile
        When somebody else has entered something different for the same cells meanwhile.
    DataProblems
        When the series could not hold the entries. Nothing is written then.
    """
    sessions = _sessions(agreed)
    for attempt in range(_TRIES):
        series = read_series(folder)
        comparison = compare(series, entries, sessions)
        if agreed is not None and not set(comparison.changed) <= set(agreed.changed):
            raise ChangedMeanwhile(
                f"Somebody else has graded some of the same patches in {folder.name} meanwhile. "
                "Nothing was written. Take the file in again to see the difference."
            )
        if not (comparison.new or comparison.changed):
            return series
        after = laid_over(series, comparison, by, source)
        try:
            what = "corrected" if comparison.changed and not comparison.new else "entered"
            after.write(folder, Occasion(what, by, source))
        except ChangedMeanwhile:
            time.sleep(random.uniform(0.01, 0.05) * (1 + attempt / 4))
        else:
            return read_series(folder)
    raise ChangedMeanwhile(f"{folder} is being written all the time. Try again in a moment.")


def _sessions(agreed: Comparison | None) -> dict[tuple[int, int], int]:
    implied = () if agreed is None else agreed.implied
    return {(int(e.key[0]), int(e.key[1])): int(e.value or 0) for e in implied}


def rows_of(series: Series, name: str) -> dict[tuple[Any, ...], dict[str, Value]]:
    """Rows of a table as plain values, by the values of its key."""
    key = series.tables[name].key
    return {tuple(row[k] for k in key): row for row in plain_rows(getattr(series, name))}


def _implied_firings(
    series: Series, new: Sequence[Entry], sessions: Mapping[tuple[int, int], int]
) -> tuple[Entry, ...]:
    """List every firing that must have happened and has no row yet, up to the ones entered."""
    tile_of = dict(zip(series.patches["patch"], series.patches["tile"], strict=True))
    latest: dict[int, int] = {}
    for entry in new:
        if entry.table == "patches" and entry.column != "lost_at":
            continue
        named = entry.key[0]
        tile = int(named if entry.table == "firings" else tile_of[named])
        firing = entry.value if entry.table == "patches" else entry.key[1]
        latest[tile] = max(latest.get(tile, 0), int(firing or 0))
    have = set(zip(series.firings["tile"], series.firings["firing"], strict=True))
    told = {e.key for e in new if e.table == "firings" and e.column == "session"}
    base = {e.key for e in new if e.table == "firings" and e.key[1] == 0}
    plan = planned_firings(series)
    planned = dict(
        zip(zip(plan["tile"], plan["firing"], strict=True), plan["session"], strict=True)
    )
    return tuple(
        Entry(
            "firings",
            (int(tile), firing),
            "session",
            int(sessions.get((tile, firing)) or planned.get((tile, firing)) or _last(series, tile)),
            "follows from what was entered",
        )
        for tile, last in sorted(latest.items())
        for firing in range(last + 1)
        if (firing > 0 or (tile, 0) in base) and (tile, firing) not in have | told
    )


def _last(series: Series, tile: int) -> int:
    """Session of a firing beyond the plan: the tile's last."""
    plan = planned_firings(series)
    return int(plan.loc[plan["tile"] == tile, "session"].max())


def _with(series: Series, name: str, entries: Sequence[Entry]) -> pd.DataFrame:
    frame: pd.DataFrame = getattr(series, name)
    if not entries:
        return frame
    table = series.tables[name]
    rows = {tuple(row[k] for k in table.key): row for row in plain_rows(frame)}
    for entry in entries:
        key = dict(zip(table.key, entry.key, strict=True))
        row = rows.setdefault(entry.key, dict.fromkeys(frame.columns) | key)
        row[entry.column] = entry.value
    kept = list(rows.values())
    if name == "grades":
        told = [*(scale.name for scale in series.settings.scales), "note"]
        emptied = {e.key for e in entries if e.value is None}
        kept = [
            row
            for key, row in rows.items()
            if key not in emptied or any(row[c] is not None for c in told)
        ]
    return typed_frame({c: [row[c] for row in kept] for c in frame.columns}, frame)
