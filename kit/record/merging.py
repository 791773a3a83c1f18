"""Copies that a synchronising drive or a person made of a table, merged row by row.

A value is superseded when an event of the journal replaced it. Of two values for one cell the one
that is not superseded counts; where neither is, two people changed the same cell without knowing
of each other, and a person must choose.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from kit.errors import Misuse
from kit.record.amending import Amendment, changes_in_words, row_in_words
from kit.record.past_events import MERGED, RECEIVED, kept_name, when_in_words
from kit.series import (
    SETTINGS,
    Journal,
    Occasion,
    RowChange,
    RowName,
    Rows,
    files_of,
    inside,
    read_journal,
    rows_of_files,
    series_tables,
)
from kit.wording import counted, listed

_COPY = re.compile(r"(?P<table>[a-z]+)[^a-z].*\.csv", re.IGNORECASE)

CellName = tuple[RowName, str]


@dataclass(frozen=True)
class Conflict:
    """Two or more values for one cell, none of which replaced another.

    Parameters
    ----------
    row : RowName
    column : str
    values : tuple of (str, str)
        Each value, and in words where it stands or who entered it.
    """

    row: RowName
    column: str
    values: tuple[tuple[str, str], ...]

    def describe(self) -> str:
        """Show the values side by side."""
        what = row_in_words(RowChange(*self.row, None, None))
        told = [f"{n}: {v or 'blank'} ({who})" for n, (v, who) in enumerate(self.values, start=1)]
        return f"{what}, {self.column}:  {'   '.join(told)}"


@dataclass(frozen=True)
class Merge:
    """What the copies of a series' tables would add, and what a person must choose.

    Parameters
    ----------
    folder : Path
    copies : mapping of str to str
        Name of each file, to the name under which it is kept in received/ once it is merged.
    changes : tuple of RowChange
        What needs no choice.
    conflicts : tuple of Conflict
    """

    folder: Path
    copies: Mapping[str, str]
    changes: tuple[RowChange, ...]
    conflicts: tuple[Conflict, ...]

    def describe(self) -> str:
        """Say what the copies hold, and show side by side what a person must choose."""
        if not (self.copies or self.conflicts):
            return "There are no copies to merge, and nothing conflicts."
        lines = [f"{name} is a copy." for name in self.copies]
        return "\n".join(
            [*lines, *changes_in_words(self.changes), *(c.describe() for c in self.conflicts)]
        )

    def settled(self, chosen: Sequence[str] = (), by: str = "") -> Amendment:
        """Prepare to write it, with one value for each conflict, in their order.

        Raises
        ------
        Misuse
            When a choice is missing or is none of the values.
        """
        if len(chosen) != len(self.conflicts):
            count = counted(len(self.conflicts), "conflict")
            raise Misuse(f"There is {count} to settle; choose a value for each.")
        seen = files_of(self.folder)
        rows = rows_of_files(seen)
        changes, turned_down, said = list(self.changes), [], []
        for conflict, value in zip(self.conflicts, chosen, strict=True):
            values = [v for v, _ in conflict.values]
            if value not in values:
                raise Misuse(f"'{value}' is none of {', '.join(values)}.")
            others = [other for other in values if other != value]
            now = {conflict.column: value}
            stands = rows[conflict.row].get(conflict.column, "")
            if stands != value:
                changes.append(RowChange(*conflict.row, {conflict.column: stands}, now))
            turned_down += [RowChange(*conflict.row, {conflict.column: v}, now) for v in others]
            cell = f"{row_in_words(RowChange(*conflict.row, None, None))}, {conflict.column}"
            no = listed([other or "blank" for other in others])
            said.append(f"{cell}: {value or 'blank'} counts, not {no}.")
        what = Occasion(MERGED, by, source=", ".join(self.copies.values()))
        return Amendment(
            self.folder,
            seen,
            tuple(changes),
            what,
            tuple(said),
            by_hand=(),
            settled=tuple(turned_down),
        )

    def put_copies_away(self) -> None:
        """Move the copies to received/, where they are kept as they were."""
        for name, kept_as in self.copies.items():
            kept = inside(self.folder, RECEIVED, kept_as)
            kept.parent.mkdir(exist_ok=True)
            (self.folder / name).replace(kept)


def copies_of_tables(folder: Path) -> dict[str, str]:
    """Find files that look like copies of a table: 'grades (conflicted copy).csv', 'tiles-1.csv'.

    Returns
    -------
    dict of str to str
        File name to the table's name.
    """
    known = series_tables(())
    found = {}
    for path in sorted(folder.iterdir()):
        match = _COPY.fullmatch(path.name)
        table = match["table"].lower() if match else ""
        if table in known and path.name != known[table].file and path.is_file():
            found[path.name] = table
    return found


def rows_of_copy(folder: Path, name: str, table: str, files: Mapping[str, bytes]) -> Rows:
    """Rows of a file that is a copy of a table."""
    content = (folder / name).read_bytes()
    rows = rows_of_files({**files, series_tables(())[table].file: content})
    return {row: cells for row, cells in rows.items() if row[0] == table}


def merge(folder: Path | str) -> Merge:
    """Work out what copies of tables hold that the tables do not, and what conflicts.

    Parameters
    ----------
    folder : Path
        Of the series.
    """
    folder = Path(folder)
    seen = files_of(folder)
    ours = rows_of_files(seen)
    journal = read_journal(folder)
    replaced = superseded(journal)
    copies = copies_of_tables(folder)
    said = {cell: list(values.items()) for cell, values in rival_values(journal).items()}
    changes: dict[RowName, RowChange] = {}
    kept = {}
    for name, table in copies.items():
        kept[name] = kept_name(name, (folder / name).read_bytes())
        theirs = rows_of_copy(folder, name, table, seen)
        for row in theirs:
            _merge_row(row, ours, theirs, replaced, name, changes, said)
    conflicts = [
        Conflict(row, column, tuple(_once(values)))
        for (row, column), values in said.items()
        if row in ours
    ]
    return Merge(folder, kept, tuple(changes.values()), tuple(conflicts))


def _merge_row(
    row: RowName,
    ours: Rows,
    theirs: Rows,
    replaced: Mapping[CellName, set[str]],
    name: str,
    changes: dict[RowName, RowChange],
    said: dict[CellName, list[tuple[str, str]]],
) -> None:
    if row not in ours:
        changes.setdefault(row, RowChange(*row, None, theirs[row]))
        return
    take: dict[str, str] = {}
    for column in dict.fromkeys((*ours[row], *theirs[row])):
        mine, other = ours[row].get(column, ""), theirs[row].get(column, "")
        old = replaced.get((row, column), {""})
        if mine == other or other in old:
            continue
        if mine in old:
            take[column] = other
        else:
            file = f"{row[0]}.csv"
            known = said.setdefault((row, column), [])
            known += [(mine, file), (other, name)]
    if take:
        was = {column: ours[row].get(column, "") for column in take}
        changes[row] = RowChange(*row, was, take)


def superseded(journal: Journal) -> dict[CellName, set[str]]:
    """Values of each cell that an event of the journal replaced by another, blank included."""
    old: dict[CellName, set[str]] = {}
    now = journal.rows()
    for event in journal.events:
        for change in event.changes:
            for column in dict.fromkeys((*(change.was or {}), *(change.now or {}))):
                cell = old.setdefault((change.row, column), {""})
                cell.add((change.was or {}).get(column, ""))
    for (row, column), values in old.items():
        values.discard(now.get(row, {}).get(column, ""))
    return old


def rival_values(journal: Journal) -> dict[CellName, dict[str, str]]:
    """Cells that two machines changed without knowing of each other: each value, and who."""
    live: dict[CellName, dict[str, tuple[str, str]]] = {}
    for event in journal.events:
        for change in event.changes:
            for column, value in (change.now or {}).items():
                cell = live.setdefault((change.row, column), {})
                was = (change.was or {}).get(column, "")
                cell.pop(was, None)
                by = event.occasion.by or "somebody"
                cell[value] = (event.machine, f"{by}, {when_in_words(event.at)}")
            if change.now is None:
                for cell_name in [c for c in live if c[0] == change.row]:
                    del live[cell_name]
    return {
        cell: {value: who for value, (_, who) in values.items()}
        for cell, values in live.items()
        if len({machine for machine, _ in values.values()}) > 1 and cell[0][0] != SETTINGS
    }


def _once(values: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    seen: dict[str, str] = {}
    for value, who in values:
        seen.setdefault(value, who)
    return list(seen.items())
