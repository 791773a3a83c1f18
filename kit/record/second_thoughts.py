"""What a file says that is hard to believe, found before it is written.

New grades are held against what other graders gave the same patch after the same firing, or else
against the patch's grades after its neighbouring firings. A person decides; nothing is refused.
The limits are set so that fewer than 1 in 50 good workbooks raise a doubt (tests/benchmarks).
"""

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from kit.record.entries import Entry
from kit.series import Series, tiles_lost
from kit.wording import counted, listed

_FEWEST = 12
"""Fewest grades with something to hold them against before a file is doubted."""
_AGAINST = -0.45
_MOVED_FROM, _MOVED_BETTER_BY = 0.6, 0.35
_TURNED_AT_MOST, _UNTURNED_FROM = 0.6, 2.5
_AS_GIVEN_BY_ANOTHER = 0.9

Numbers = np.ndarray


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
    for (grader, firing), own in new.groupby(["grader", "firing"], sort=False):
        who = f"The grades by {grader} after firing {firing}"
        said += _of_one_sheet(series, own, new, who)
    said += _of_another_grader(series, new)
    return tuple(dict.fromkeys(said))


def _new_grades(series: Series, entries: Iterable[Entry]) -> pd.DataFrame:
    """One row per grade, in the order of the file, with its place on the tile."""
    scales = {scale.name for scale in series.settings.scales}
    told = [e for e in entries if e.table == "grades" and e.column in scales]
    keys = {key: n for n, key in enumerate(dict.fromkeys(e.key for e in told))}
    rows = [(*e.key, e.column, float(e.value), keys[e.key]) for e in told if e.value is not None]
    columns = ["patch", "firing", "grader", "scale", "grade", "row"]
    frame = pd.DataFrame(rows, columns=columns)
    places = series.patches[["patch", "tile", "position"]]
    return frame.merge(places, on="patch", how="left").sort_values("row", kind="stable")


def _on_record(series: Series) -> pd.DataFrame:
    scales = [scale.name for scale in series.settings.scales]
    long = series.grades.melt(["patch", "firing", "grader"], scales, "scale", "grade")
    return long.dropna(subset="grade").astype({"grade": float})


def _references(series: Series, own: pd.DataFrame, new: pd.DataFrame) -> Numbers:
    """What to hold each grade against: others' grades of the same, or the patch's neighbours."""
    known = pd.concat([_on_record(series), new[["patch", "firing", "grader", "scale", "grade"]]])
    grader = own["grader"].iloc[0]
    others = known[known["grader"] != grader]
    same = others.groupby(["patch", "firing", "scale"])["grade"].mean()
    keys = pd.MultiIndex.from_frame(own[["patch", "firing", "scale"]])
    found = same.reindex(keys).to_numpy(dtype=float)
    firing = own["firing"].iloc[0]
    near = known[(known["firing"] - firing).abs() == 1]
    beside = near.groupby(["patch", "scale"])["grade"].mean()
    neighbours = beside.reindex(pd.MultiIndex.from_frame(own[["patch", "scale"]]))
    references: Numbers = np.where(np.isnan(found), neighbours.to_numpy(dtype=float), found)
    return references


def _of_one_sheet(series: Series, own: pd.DataFrame, new: pd.DataFrame, who: str) -> list[str]:
    own = own.assign(against=_references(series, own, new)).dropna(subset="against")
    said = []
    for name, scale in own.groupby("scale", sort=False):
        if len(scale) >= _FEWEST and _alike(scale["grade"], scale["against"]) < _AGAINST:
            title = series.settings.scale(str(name)).title
            said.append(
                f"{who} run the other way round for {title}: high where others gave low. "
                "Was 0 taken for the worst?"
            )
    if said:
        return said
    if slipped := _slipped(own):
        return [
            f"{who} fit better one row {slipped[0]}, from patch {slipped[1]} on. Did a row slip?"
        ]
    if _all_turned(own):
        return [f"{who} fit better with every tile turned round. Were they held upside down?"]
    return [
        f"{who} on tile {tile} fit better with the tile turned round. Was it held upside down?"
        for tile, on_tile in own.groupby("tile")
        if _turned(on_tile)
    ]


def _slipped(own: pd.DataFrame) -> tuple[str, str] | None:
    """Whether the grades from some row on belong one row higher or lower, and from which patch."""
    wide = own.pivot_table(index="row", columns="scale", values=["grade", "against"])
    wide = wide.dropna()
    if len(wide) < _FEWEST:
        return None
    grade, against = (wide[part].to_numpy() for part in ("grade", "against"))
    patches = own.drop_duplicates("row").set_index("row")["patch"].reindex(wide.index)
    straight = ((grade - against) ** 2).sum(axis=1)
    best: tuple[float, str, int] | None = None
    for words, shifted, rows in (
        ("higher", (grade[1:] - against[:-1]) ** 2, np.arange(1, len(wide))),
        ("lower", (grade[:-1] - against[1:]) ** 2, np.arange(len(wide) - 1)),
    ):
        gain = (straight[rows] - shifted.sum(axis=1))[::-1].cumsum()[::-1]
        start = int(gain[: max(1, len(gain) - _FEWEST + 1)].argmax())
        if len(gain) - start >= _FEWEST - 1 and (best is None or gain[start] > best[0]):
            moved = -1 if words == "higher" else 1
            tail = rows[start:]
            fits = _alike(grade[tail].ravel(), against[tail + moved].ravel())
            as_is = _alike(grade[tail].ravel(), against[tail].ravel())
            if fits > _MOVED_FROM and fits - as_is > _MOVED_BETTER_BY:
                best = (float(gain[start]), words, int(tail[0]))
    return None if best is None else (best[1], str(patches.iloc[best[2]]))


def _turned(on_tile: pd.DataFrame) -> bool:
    """Whether a tile's grades fit only when its places are counted from the other end."""
    wide = on_tile.pivot_table(index="position", columns="scale", values=["grade", "against"])
    wide = wide.dropna()
    if len(wide) < 3 or wide["against"].size < 6:
        return False
    grade, against = (wide[part].to_numpy() for part in ("grade", "against"))
    as_is = ((grade - against) ** 2).mean()
    turned = ((grade[::-1] - against) ** 2).mean()
    return bool(as_is >= _UNTURNED_FROM and turned <= _TURNED_AT_MOST)


def _all_turned(own: pd.DataFrame) -> bool:
    """Whether a whole sheet fits only when places are counted from the other end."""
    last = own.groupby("tile")["position"].transform("max")
    there = own.set_index(["tile", "position", "scale"])["against"]
    other = own.assign(position=last - own["position"] + 1)
    other_end = there.reindex(pd.MultiIndex.from_frame(other[["tile", "position", "scale"]]))
    turned = own.assign(turned=other_end.to_numpy()).dropna(subset="turned")
    if len(turned) < 2 * _FEWEST:
        return False
    fits = _alike(turned["grade"], turned["turned"])
    as_is = _alike(turned["grade"], turned["against"])
    return fits > _MOVED_FROM and fits - as_is > _MOVED_BETTER_BY


def _of_another_grader(series: Series, new: pd.DataFrame) -> list[str]:
    """Whether a file's grades are those that another grader has on record."""
    known = _on_record(series)
    said = []
    for grader, own in new.groupby("grader", sort=False):
        both = own.merge(known, on=["patch", "firing", "scale"], suffixes=("", "_known"))
        for other, theirs in both.groupby("grader_known"):
            if other == grader or len(theirs) < 2 * _FEWEST or theirs["grade"].nunique() < 3:
                continue
            same = float((theirs["grade"] == theirs["grade_known"]).mean())
            mine = both[both["grader_known"] == grader]
            own_same = float((mine["grade"] == mine["grade_known"]).mean()) if len(mine) else 0.0
            if same >= _AS_GIVEN_BY_ANOTHER and own_same < same:
                said.append(
                    f"The grades by {grader} are those that {other} has on record "
                    f"({same:.0%} alike). Is it {other}'s file?"
                )
        said += _biases_swapped(known, own, str(grader))
    return said


def _biases_swapped(known: pd.DataFrame, own: pd.DataFrame, grader: str) -> list[str]:
    """Whether a grader who used to be the stricter is now the milder by as much."""
    cell = ["patch", "firing", "scale"]
    wide = known.pivot_table(index=cell, columns="grader", values="grade")
    if grader not in wide:
        return []
    new = own.set_index(cell)["grade"]
    said = []
    for other in wide.columns.drop(grader):
        before = (wide[grader] - wide[other]).dropna()
        before = before[~before.index.isin(new.index)]
        now = (new - wide[other].reindex(new.index)).dropna()
        if min(len(before), len(now)) < 2 * _FEWEST:
            continue
        error = np.sqrt(before.var() / len(before) + now.var() / len(now))
        apart, swapped = now.mean() - before.mean(), now.mean() + before.mean()
        if abs(before.mean()) > 0.25 and abs(apart) > 5 * error > 0 and abs(swapped) < 2 * error:
            said.append(
                f"{grader} used to grade {'higher' if before.mean() > 0 else 'lower'} than "
                f"{other}, and here it is the other way round. Were their files swapped?"
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


def _alike(one: pd.Series | Numbers, other: pd.Series | Numbers) -> float:
    """Correlation; 0 where one of them does not vary."""
    a, b = np.asarray(one, dtype=float), np.asarray(other, dtype=float)
    if a.std() < 0.3 or b.std() < 0.3:
        return 0.0 if len(a) and not np.array_equal(a, b) else 1.0
    return float(np.corrcoef(a, b)[0, 1])
