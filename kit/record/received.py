"""Files as they came, and what handing one in once more would undo."""

import hashlib
import re
from collections.abc import Iterable
from pathlib import Path

from kit.record.comparison import rows_of
from kit.record.entries import Change, Entry, in_text
from kit.series import Journal, RowName, Series, inside, plain_rows

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


def rows_taken_out(journal: Journal) -> set[RowName]:
    """Rows that an event of the journal took out and no later one put back."""
    gone: dict[RowName, bool] = {}
    for event in journal.events:
        for change in event.changes:
            gone[change.row] = change.now is None
    return {row for row, out in gone.items() if out}
