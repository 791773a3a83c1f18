"""What was done to a series, all from its journal: telling it, taking it back, putting it back.

Files that were received are kept as they came; handing one in once more is noticed, and what that
would undo is said.
"""

import datetime as dt
import hashlib
import itertools
import re
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from kit.errors import Misuse
from kit.record.amending import Amendment, amendment, row_in_words
from kit.record.comparison import rows_of
from kit.record.corrections import WITHDRAWN
from kit.record.entries import Change, Entry, in_text
from kit.series import (
    FOUND,
    SETTINGS,
    Event,
    Journal,
    Occasion,
    RowChange,
    RowName,
    Rows,
    Series,
    apply_changes,
    changes_between,
    files_of,
    inside,
    plain_rows,
    read_journal,
    rows_of_files,
    series_tables,
)
from kit.wording import counted, day, listed

MERGED, UNDONE, RESTORED = "merged", "undone", "restored"
PLANNED, DROPPED, CANCELLED, MOVED = "planned", "dropped", "cancelled", "moved"
SPLIT_OFF = "split off"
_ROWS = {
    "colours": ("colour", "colours"),
    "tiles": ("tile", "tiles"),
    "stripes": ("stripe", "stripes"),
    "sessions": ("session", "sessions"),
    "patches": ("patch", "patches"),
    "firings": ("firing", "firings"),
    "grades": ("grade", "grades"),
    "corrections": ("correction", "corrections"),
    "measurements": ("measurement", "measurements"),
    SETTINGS: ("setting file", "setting files"),
}


def history(folder: Path | str) -> list[str]:
    """Say what was done to a series, one line for each event, the first first."""
    journal = read_journal(Path(folder))
    lines = [f"{n:>4}  {event_in_words(event)}" for n, event in enumerate(journal.events, start=1)]
    return [*lines, *(f"      {damage}" for damage in journal.damage)]


def event_in_words(event: Event) -> str:
    """Say what an event was: when, who, what, from which file, and how many rows."""
    said = event.occasion
    parts = [when_in_words(event.at), said.by or "somebody", said.what, rows_in_words(event)]
    if said.source:
        parts.append(f"from {said.source}")
    if said.why:
        parts.append(f"because: {said.why}")
    return "  ".join(part for part in parts if part)


def when_in_words(at: str) -> str:
    """Write a time of the journal out: '25 November 2026, 15:20'."""
    time = dt.datetime.fromisoformat(at)
    return f"{day(time.date())}, {time:%H:%M}"


def rows_in_words(event: Event) -> str:
    """Count the rows that an event changed: '160 grades, 8 firings'."""
    counts = Counter(change.table for change in event.changes)
    return ", ".join(counted(counts[t], *_ROWS.get(t, ("row", "rows"))) for t in _ROWS if counts[t])


def undo(folder: Path | str, number: int | None = None, by: str = "", why: str = "") -> Amendment:
    """Prepare to take back an event; what was changed again since stays as it is.

    Parameters
    ----------
    folder : Path
        Of the series.
    number : int, optional
        As `history` numbers it; by default the last event that has not been taken back.
    by, why : str
        Who takes it back, and why.

    Raises
    ------
    Misuse
        When there is nothing to take back, or the event cannot be.
    """
    folder = Path(folder)
    journal = read_journal(folder)
    event = _chosen(journal.events, number)
    if event.occasion.what == FOUND:
        raise Misuse("The journal begins there; what was before it is not known.")
    rows = rows_of_files(files_of(folder))
    changes, kept = [], []
    for change in _written_by(event, journal):
        now = rows.get(change.row)
        stands = now is not None and all(now.get(c, "") == v for c, v in (change.now or {}).items())
        if (change.now is None and now is None) or (change.now is not None and stands):
            changes.append(_turned_back(change, now))
        else:
            kept.append(f"{row_in_words(change)} was changed since and stays as it is.")
    occasion = Occasion(UNDONE, by, why=why, undoes=event.hash)
    remarks = [f"This takes back: {event_in_words(event)}", *kept]
    return amendment(folder, changes, occasion, remarks)


def restore(
    folder: Path | str, table: str | None = None, at: str = "", by: str = "", why: str = ""
) -> Amendment:
    """Prepare to put back a table, or everything, from the journal.

    Parameters
    ----------
    folder : Path
        Of the series.
    table : str, optional
        Such as 'grades'; everything when left out.
    at : str
        Moment as of which, such as '2026-11-25T12:00' or '2026-11-25'. Without it what is missing
        or was changed outside the kit is put back, and rows that were added by hand stay.
    by, why : str

    Returns
    -------
    Amendment
        What stands there now is taken into the journal before it is written over.

    Raises
    ------
    Misuse
        When there is no journal, or no such table or moment.
    """
    folder = Path(folder)
    journal = read_journal(folder)
    if not journal.events:
        raise Misuse(f"{folder.name} has no journal yet; the kit begins one when it first writes.")
    if at:
        _check_moment(at)
    known = journal.rows(at)
    wanted = _table_named(table) if table else None
    seen = files_of(folder)
    found = rows_of_files(seen)
    changes = [
        change
        for change in changes_between(found, known)
        if wanted in (None, change.table) and (at or change.now is not None)
    ]
    occasion = Occasion(RESTORED, by, why=why or (f"as of {at}" if at else ""))
    every = (*series_tables(()), SETTINGS)
    return Amendment(folder, seen, tuple(changes), occasion, by_hand=every)


def _table_named(name: str) -> str:
    plain = name.removesuffix(".csv").removesuffix(".toml")
    plain = SETTINGS if plain == "series" else plain
    known = (*series_tables(()), SETTINGS)
    if plain not in known:
        raise Misuse(f"'{name}' is not a table of a series. Choose one of: {', '.join(known)}.")
    return plain


def _check_moment(at: str) -> None:
    try:
        dt.datetime.fromisoformat(at)
    except ValueError:
        raise Misuse(
            f"'{at}' is not a moment. Write it as 2026-11-25 or 2026-11-25T15:20."
        ) from None


def _chosen(events: tuple[Event, ...], number: int | None) -> Event:
    undone = {event.occasion.undoes for event in events if event.occasion.undoes}
    if number is None:
        able = [
            event
            for event in events
            if event.hash not in undone and event.occasion.what not in (UNDONE, FOUND)
        ]
        if not able:
            raise Misuse("There is nothing to take back.")
        return able[-1]
    if not 1 <= number <= len(events):
        raise Misuse(f"There is no event {number}; `kit history` lists {len(events)} of them.")
    if events[number - 1].hash in undone:
        raise Misuse(f"Event {number} has been taken back already.")
    return events[number - 1]


def _written_by(event: Event, journal: Journal) -> list[RowChange]:
    """Changes of tables that an event made, without values that it only turned down.

    What a merge turned down stands in the journal as replaced, though it never stood in the table.
    """
    before: Rows = {}
    for earlier in itertools.takewhile(lambda e: e.hash != event.hash, journal.events):
        apply_changes(before, earlier.changes)
    written: dict[tuple[RowName, tuple[str, ...]], RowChange] = {}
    for change in event.changes:
        now = change.now or {}
        stood = before.get(change.row, {})
        only_chosen = event.occasion.what == MERGED and change.was and change.now
        if not (only_chosen and all(stood.get(c, "") == v for c, v in now.items())):
            written.setdefault((change.row, tuple(now)), change)
    return list(written.values())


def _turned_back(change: RowChange, now: dict[str, str] | None) -> RowChange:
    """Take a change back; a new row goes whole, with what was added to it by hand."""
    if change.was is None:
        return RowChange(change.table, change.key, now, None)
    return change.turned_back()


def last_events(folder: Path) -> dict[tuple[str, tuple[str, ...]], Event]:
    """The event that last touched each row."""
    return {change.row: event for event in read_journal(folder).events for change in event.changes}


def tables_in_words(tables: set[str]) -> str:
    """List the files that some tables are kept in."""
    return listed(sorted("series.toml" if t == SETTINGS else f"{t}.csv" for t in tables))


RECEIVED = "received"


def kept_name(name: str, content: bytes) -> str:
    """Name a file is kept under: a fingerprint of its content, and a harmless form of its name."""
    stem = re.sub(r"[^A-Za-z0-9._-]+", "_", name).strip("._") or "file"
    return f"{_fingerprint(content)}-{stem[-80:]}"


def handed_in_before(folder: Path, content: bytes) -> str:
    """Name in received/ of a file with the very same content; blank if there is none."""
    received = folder / RECEIVED
    if received.is_symlink() or not received.is_dir():
        return ""
    alike = sorted(path.name for path in received.glob(f"{_fingerprint(content)}-*"))
    return next((n for n in alike if inside(folder, RECEIVED, n).read_bytes() == content), "")


def undoing(series: Series, entries: Iterable[Entry], journal: Journal) -> tuple[Change, ...]:
    """Find the entries of an earlier file that were corrected since.

    Only what corrections.csv shows to have stood there and been replaced counts, and rows that the
    journal shows to have been taken out. So a file that was received, but not written because of a
    crash, can still be taken in.

    Parameters
    ----------
    series : Series
    entries : iterable of Entry
    journal : Journal

    Returns
    -------
    tuple of Change
        What each entry would make of the cell, and what stands there now.
    """
    corrected: dict[tuple[object, ...], set[str]] = {}
    for row in plain_rows(series.corrections):
        corrected.setdefault(_place(row), set()).add(in_text(row["was"]))
    gone = rows_taken_out(journal)
    stands = {name: rows_of(series, name) for name in ("grades", "firings", "patches")}
    found = []
    for entry in entries:
        named = dict(zip(series.tables[entry.table].key, entry.key, strict=True))
        place = _place({"table": entry.table, "column": entry.column, **named})
        now = stands[entry.table].get(entry.key, {}).get(entry.column)
        withdrawn = now is None and (entry.table, tuple(map(str, entry.key))) in gone
        if withdrawn or (now != entry.value and in_text(entry.value) in corrected.get(place, ())):
            found.append(Change(entry, now))
    return tuple(found)


def _place(row: dict[str, object]) -> tuple[object, ...]:
    """What a correction is of; a patch says its tile."""
    tile = None if row.get("patch") else row.get("tile")
    return (
        row["table"],
        row["column"],
        tile,
        row.get("patch"),
        row.get("firing"),
        row.get("grader"),
    )


def _fingerprint(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:12]


def rows_taken_out(journal: Journal) -> dict[RowName, Event]:
    """Rows that an event of the journal took out and no later one put back, with that event."""
    gone: dict[RowName, Event | None] = {}
    for event in journal.events:
        for change in event.changes:
            gone[change.row] = event if change.now is None else None
    return {row: event for row, event in gone.items() if event}


_ENDS = {
    DROPPED: "was dropped from the plan",
    CANCELLED: "was cancelled with its sitting",
    MOVED: "was moved to another sitting",
    SPLIT_OFF: "was split off",
    PLANNED: "is no longer in the plan, which was made anew",
    WITHDRAWN: "was withdrawn",
    UNDONE: "went when something was taken back",
}


def end_in_words(event: Event) -> str:
    """Say what an event made of a piece: 'was dropped from the plan on 3 May 2026, 15:20 (flu)'."""
    said = event.occasion
    what = _ENDS.get(said.what, f"is no longer on record ({said.what})")
    return f"{what} on {when_in_words(event.at)}{f' ({said.why})' if said.why else ''}"
