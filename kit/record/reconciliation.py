"""The tables of a series held against its journal and against the files that were received."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from kit.record.amending import row_in_words
from kit.record.corrections import corrections_overwritten
from kit.record.intake import read_file
from kit.record.merging import copies_of_tables, rival_values, rows_of_copy
from kit.record.past_events import RECEIVED, last_events, tables_in_words, when_in_words
from kit.series import (
    SETTINGS,
    Event,
    Journal,
    RowChange,
    Rows,
    Series,
    changes_between,
    files_of,
    inside,
    is_readable,
    read_journal,
    rows_of_files,
    series_of,
    series_tables,
)
from kit.wording import counted

_THINGS = {"grades": "grade", "firings": "firing", "tiles": "tile", "colours": "colour",
           "stripes": "stripe", "sessions": "session",
           "corrections": "correction", "measurements": "measurement"}  # fmt: skip
_SIFTED = ("overlay", "mesh", "coat_weight", "before_firing")
_OF_THE_TILE = ("base", "coats", "mesh", "coat_weight")


@dataclass(frozen=True)
class Reconciliation:
    """What a series' tables say otherwise than its journal and the files that were received.

    Parameters
    ----------
    changes : tuple of RowChange
        From what the journal has to what the tables say.
    sentences : tuple of str
        Each difference, with what to do about it.
    remarks : tuple of str
        What was written by hand as a matter of course: nothing need be done about it.
    """

    changes: tuple[RowChange, ...]
    sentences: tuple[str, ...]
    remarks: tuple[str, ...] = ()

    @property
    def in_step(self) -> bool:
        """Whether nothing differs that somebody must look at."""
        return not self.sentences

    def describe(self) -> str:
        """Say what differs, a line each."""
        lines = (*self.sentences, *self.remarks)
        return "\n".join(lines) or "Nothing differs from what was entered."


def reconcile(folder: Path | str) -> Reconciliation:
    """Compare the tables of a series with its journal and with received/.

    Works on a series with problems too: a table that is missing or cannot be read is named with
    what the journal has of it.

    Parameters
    ----------
    folder : Path
        Of the series.
    """
    folder = Path(folder)
    files = files_of(folder)
    journal = read_journal(folder)
    found = rows_of_files(files)
    series = series_of(folder, files)[0]
    said = list(journal.damage)
    changes: list[RowChange] = []
    remarks: list[str] = []
    if journal.events:
        known = journal.rows()
        absent = _absent_tables(files, known)
        changes = [c for c in changes_between(known, found) if c.table not in absent]
        said += [
            f"{tables_in_words({table})} is not there or cannot be read; the journal has its "
            f"{counted(sum(n[0] == table for n in known), 'row')}: "
            f"kit restore {folder.name} {table}"
            for table in absent
        ]
        of_course = [c for c in changes if _is_matter_of_course(c)]
        remarks = [_remark(folder, table, of_course) for table in {c.table for c in of_course}]
        said += _in_words(folder, [c for c in changes if c not in of_course], known)
    elif series is not None:
        said += corrections_overwritten(series)
    for copy, table in copies_of_tables(folder).items():
        more = len(rows_of_copy(folder, copy, table, files).keys() - found.keys())
        has = f" with {counted(more, *_thing(table))} that {table}.csv has not" if more else ""
        said.append(
            f"{copy} is a copy of {table}.csv, made by a drive or a person,{has}: "
            f"kit merge {folder.name}".replace(",:", ":")
        )
    said += [
        f"{row_in_words(RowChange(*row, None, None))}: {column} was made "
        + " and ".join(f"{value or 'blank'} by {who}" for value, who in values.items())
        + f", neither knowing of the other: kit merge {folder.name}"
        for (row, column), values in rival_values(journal).items()
    ]
    said += _received_and_not_there(folder, journal, series)
    return Reconciliation(tuple(changes), tuple(said), tuple(sorted(remarks)))


def _is_matter_of_course(change: RowChange) -> bool:
    """Whether it is what people write by hand and what changes nothing that was entered."""
    return (change.table == "colours" and change.was is None) or (
        change.table == SETTINGS and None not in (change.was, change.now)
    )


def _remark(folder: Path, table: str, changes: Sequence[RowChange]) -> str:
    later = "enters the journal when the kit next writes"
    if table == SETTINGS:
        last = last_events(folder).get(changes[0].row) or next(iter(last_events(folder).values()))
        return f"series.toml was changed by hand since {when_in_words(last.at)}; that {later}."
    count = sum(change.table == table for change in changes)
    return f"{counted(count, *_thing(table))} in {table}.csv came in by hand; that {later}."


def _absent_tables(files: dict[str, bytes], known: Rows) -> list[str]:
    """Tables that the journal knows and whose file is missing or cannot be read at all."""
    had = {name[0] for name in known}
    return [
        table.name
        for table in series_tables(()).values()
        if table.name in had and not is_readable(table.name, files)
    ]


def _in_words(folder: Path, changes: Sequence[RowChange], known: Rows) -> list[str]:
    last = last_events(folder)
    name = folder.name
    lost = [c for c in changes if c.now is None]
    added = [c for c in changes if c.was is None]
    differ = [c for c in changes if c.was is not None and c.now is not None]
    said = []
    for table, event, rows in _by_event(lost, last):
        by = f" by {event.occasion.by}" if event.occasion.by else ""
        are = "is" if rows == 1 else "are"
        said.append(
            f"{counted(rows, *_thing(table))} {event.occasion.what} on {when_in_words(event.at)}"
            f"{by} {are} no longer in {table}.csv: kit restore {name} {table}"
        )
    for table in dict.fromkeys(c.table for c in added):
        count = sum(c.table == table for c in added)
        said.append(
            f"{counted(count, *_thing(table))} in {table}.csv came from outside the kit: "
            f"kit check {name} --accept takes that into the journal."
        )
    graded = {n[1][0] for n in known if n[0] == "grades"}
    tiles = {cells.get("tile", "") for n, cells in known.items()
             if n[0] == "patches" and n[1][0] in graded}  # fmt: skip
    for change in differ:
        said += _difference(change, graded, tiles, last.get(change.row), name)
    return said


def _difference(
    change: RowChange, graded: set[str], tiles: set[str], last: Event | None, name: str
) -> list[str]:
    was, now = change.was or {}, change.now or {}
    sifted = {"patches": (_SIFTED, graded), "tiles": (_OF_THE_TILE, tiles)}.get(change.table)
    lines = []
    for column in dict.fromkeys((*was, *now)):
        before, after = was.get(column) or "blank", now.get(column) or "blank"
        verb = "was graded as" if sifted and column in sifted[0] and (
            change.key[0] in sifted[1]) else f"had the {column}"  # fmt: skip
        lines.append(
            f"{row_in_words(change)} {verb} {before}, the table now says {after}: "
            f"kit restore {name} {change.table}, or kit check {name} --accept"
        )
    return lines


def _by_event(
    lost: Iterable[RowChange], last: dict[tuple[str, tuple[str, ...]], Event]
) -> list[tuple[str, Event, int]]:
    counts: dict[tuple[str, str], int] = {}
    events = {event.hash: event for event in last.values()}
    for change in lost:
        at = (change.table, last[change.row].hash)
        counts[at] = counts.get(at, 0) + 1
    return [(table, events[name], count) for (table, name), count in counts.items()]


def _thing(table: str) -> tuple[str, str]:
    if table == "patches":
        return "patch", "patches"
    thing = _THINGS.get(table, "row")
    return thing, f"{thing}s"


def _received_and_not_there(folder: Path, journal: Journal, series: Series | None) -> list[str]:
    place = folder / RECEIVED
    kept = sorted(p.name for p in place.glob("*")) if place.is_dir() else []
    used = {name for event in journal.events for name in event.occasion.source.split(", ")}
    said = []
    for name in kept:
        if not re.match(r"[0-9a-f]{12}-", name):
            said.append(f"received/{name} was not put there by the kit.")
        elif name not in used and series is not None:
            said += _not_taken_in(folder, series, name)
    said += [
        f"received/{source} is no longer there; what it said is in the journal."
        for source in sorted(used)
        if re.match(r"[0-9a-f]{12}-", source) and source not in kept
    ]
    return said


def _not_taken_in(folder: Path, series: Series, name: str) -> list[str]:
    """Say what a file in received/ holds that the tables do not."""
    entered = read_file(series, inside(folder, RECEIVED, name))
    grades = {n: row for n, row in rows_of_files(dict(series.sources)).items() if n[0] == "grades"}
    missing = {
        entry.key
        for entry in entered.entries
        if entry.table == "grades" and ("grades", tuple(map(str, entry.key))) not in grades
    }
    if not missing:
        return []
    return [
        f"{counted(len(missing), 'grade')} of received/{name} "
        f"{'is' if len(missing) == 1 else 'are'} not in grades.csv: "
        f"kit enter {series.name} {inside(folder, RECEIVED, name)}"
    ]
