"""What a file says that is hard to believe, found before it is written.

New grades are held against what is on record: against firings and losses, against the same
grades by the same and by other graders, and against what the model expects (`other_readings`). A
person decides; nothing is refused. The limits are set so that fewer than 1 in 50 good workbooks
raise a doubt (tests/benchmarks).
"""

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
import pandas as pd

from kit.record.comparison import compare, laid_over
from kit.record.entries import Entry
from kit.record.misread_sheets import other_readings
from kit.series import Series, observations, rounds_before, tiles_lost
from kit.wording import counted, listed, percent

_FEWEST = 24
"""Grades that two graders both gave, below which they are not compared."""
_AS_GIVEN_BY_ANOTHER = 0.9
_MANY_CHANGES = 20

_READING = ["patch", "firing", "grader"]


def second_thoughts(series: Series, entries: Sequence[Entry]) -> tuple[str, ...]:
    """Say what of a file's entries may be a mistake.

    Parameters
    ----------
    series : Series
        As it is before.
    entries : sequence of Entry
        In the order of the file.

    Returns
    -------
    tuple of str
        One question for each doubt.
    """
    new = _new_grades(series, entries)
    said = [*_not_fired_yet(series, entries), *_after_the_loss(series, entries)]
    said += _of_another_grader(series, new)
    said += _given_otherwise_before(series, new)
    if not said:
        said += _read_otherwise(series, entries, new)
    return tuple(dict.fromkeys(said))


def _new_grades(series: Series, entries: Iterable[Entry]) -> pd.DataFrame:
    """One row per grade, in the order of the file."""
    scales = {scale.name for scale in series.settings.scales}
    told = [e for e in entries if e.table == "grades" and e.column in scales]
    rows = [(*e.key, e.column, float(e.value)) for e in told if e.value is not None]
    return pd.DataFrame(rows, columns=[*_READING, "scale", "grade"])


def _read_otherwise(series: Series, entries: Sequence[Entry], new: pd.DataFrame) -> Iterator[str]:
    """Ask about sheets that the model finds far likelier when they are read in another way."""
    if new.empty:
        return
    scales = series.settings.scales
    after = _with_rounds_before(series, laid_over(series, compare(series, entries), "", ""))
    wide = new.pivot_table("grade", _READING, "scale", aggfunc="last", sort=False)
    wide = wide.reindex(columns=[scale.name for scale in scales])
    typed = pd.Series(range(len(wide)), wide.index)
    place = typed.reindex(pd.MultiIndex.from_frame(after[_READING])).to_numpy()
    last = series.patches.groupby(series.patches["tile"].astype(str))["position"].max()
    for (grader, firing), _ in new.groupby(["grader", "firing"], sort=False):
        own = (after["grader"] == grader) & (after["firing"] == firing) & ~np.isnan(place)
        sheet = after[own].iloc[np.argsort(place[own])]
        told = wide.loc[pd.MultiIndex.from_frame(sheet[_READING])]
        sheet = sheet.assign(**{name: told[name].to_numpy() for name in told})
        for reading in other_readings(after[~own], sheet, scales, last):
            yield f"The grades by {grader} after firing {firing} {reading.question}"


def _with_rounds_before(series: Series, after: Series) -> pd.DataFrame:
    """All that is graded, with the rounds that the series goes on from: they tell of its colours.

    Tiles are named by text; those of other rounds, and what is on them, by their series too.
    """
    alike = [r for r in rounds_before(series) if r.settings.scales == series.settings.scales]
    each = []
    for one in (*alike, after):
        seen = observations(one).drop(columns="series")
        first = "" if one is after else f"{one.name} "
        own = {
            name: first + seen[name].astype(str) for name in ("tile", "patch", "session", "stripe")
        }
        each.append(seen.assign(**own))
    return pd.concat(each, ignore_index=True)


def _given_otherwise_before(series: Series, new: pd.DataFrame) -> Iterator[str]:
    """Ask about a grader who would change much of what is on record by the same name."""
    both = new.merge(_on_record(series), on=[*_READING, "scale"], suffixes=("", "_known"))
    for grader, own in both.groupby("grader", sort=False):
        changed = int((own["grade"] != own["grade_known"]).sum())
        if changed >= _MANY_CHANGES:
            yield (
                f"{changed} grades that {grader} gave before would change. "
                f"Is it {grader}'s file, and the right firing?"
            )


def _on_record(series: Series) -> pd.DataFrame:
    scales = [scale.name for scale in series.settings.scales]
    long = series.grades.melt(["patch", "firing", "grader"], scales, "scale", "grade")
    return long.dropna(subset="grade").astype({"grade": float})


def _of_another_grader(series: Series, new: pd.DataFrame) -> list[str]:
    """Whether a file's grades are those that another grader has on record."""
    known = _on_record(series)
    said = []
    for grader, own in new.groupby("grader", sort=False):
        both = own.merge(known, on=["patch", "firing", "scale"], suffixes=("", "_known"))
        for other, theirs in both.groupby("grader_known"):
            if other == grader or len(theirs) < _FEWEST or theirs["grade"].nunique() < 3:
                continue
            same = float((theirs["grade"] == theirs["grade_known"]).mean())
            mine = both[both["grader_known"] == grader]
            own_same = float((mine["grade"] == mine["grade_known"]).mean()) if len(mine) else 0.0
            if same >= _AS_GIVEN_BY_ANOTHER and own_same < same:
                said.append(
                    f"The grades by {grader} are those that {other} has on record "
                    f"({percent(same)} alike). Is it {other}'s file?"
                )
    return said


def _not_fired_yet(series: Series, entries: Iterable[Entry]) -> list[str]:
    """Name tiles whose grades skip a firing that nobody wrote down."""
    tile_of = dict(zip(series.patches["patch"], series.patches["tile"], strict=True))
    if series.firings.empty:
        return []
    last = series.firings.groupby("tile")["firing"].max()
    graded: dict[int, set[int]] = {}
    for entry in entries:
        if entry.table in ("grades", "firings"):
            piece = entry.key[0]
            tile = int(tile_of[str(piece)]) if entry.table == "grades" else int(piece)
            graded.setdefault(tile, set()).add(int(entry.key[1]))
    skipped = []
    for tile, firings in graded.items():
        reached = int(last.get(tile, 0))
        later = {firing for firing in firings if firing > reached}
        if later and later != set(range(reached + 1, max(later) + 1)):
            skipped.append(tile)
    if not skipped:
        return []
    tiles = listed([str(tile) for tile in sorted(skipped)[:12]])
    return [
        f"{counted(len(skipped), 'tile')} would skip a firing that nobody wrote down: {tiles}. "
        "Have they been fired that often?"
    ]


def _after_the_loss(series: Series, entries: Iterable[Entry]) -> list[str]:
    """Name what was entered for a tile after the firing at which it was lost."""
    lost = tiles_lost(series)["firing"]
    tile_of = dict(zip(series.patches["patch"], series.patches["tile"], strict=True))
    after: dict[tuple[int, str], int] = {}
    for entry in entries:
        if entry.table == "grades":
            tile, what = int(tile_of[str(entry.key[0])]), "grades"
        elif entry.table == "firings" and entry.column in ("minutes", "heat"):
            tile, what = int(entry.key[0]), entry.column
        else:
            continue
        since = lost.get(tile)
        if since is None:
            continue
        earliest = int(since) if what == "grades" else int(since) + 1
        if int(entry.key[1]) >= earliest:
            after[tile, what] = int(since)
    return [
        f"Tile {tile} was lost at firing {since}, and here are {what} of it after that. "
        "Was another tile meant?"
        for (tile, what), since in after.items()
    ]
