"""The journal of a series: every change to its tables, in files that are only added to.

Each machine that writes has a file of its own, so that two machines never write to the same one.
A line is one event in JSON: what happened, who did it, when, from which file, and the cells that
changed, each with what it was before. It holds the hash of the line before it, so that a line that
was changed or taken out is noticed. `step` puts the events of all machines in order: an event
comes after all that its writer could see.
"""

import datetime as dt
import hashlib
import json
import os
import platform
import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from kit.series.disk import pending, read_together
from kit.series.row_changes import Cells, RowChange, Rows, apply_changes
from kit.series.size_limits import MOST_JOURNAL_BYTES

CHANGED_BY_HAND = "changed by hand"
FOUND = "found"
_START = "0" * 64


@dataclass(frozen=True)
class Occasion:
    """Why a series is written.

    Parameters
    ----------
    what : str
        In a word or two: 'entered', 'planned', 'withdrawn'.
    by : str
        Who; blank if nobody said.
    source : str
        File in received/ that it came from, if any.
    why : str
        Reason that was given.
    undoes : str
        Hash of the event that is taken back, if one is.
    """

    what: str = ""
    by: str = ""
    source: str = ""
    why: str = ""
    undoes: str = ""


@dataclass(frozen=True)
class Event:
    """One line of a journal.

    Parameters
    ----------
    machine : str
    number : int
        Of the line in the machine's own file, from 1.
    step : int
        Place among the events of all machines; two events of one step knew nothing of each other.
    at : str
        Local time with the distance from universal time.
    occasion : Occasion
    changes : tuple of RowChange
    before, hash : str
        Hash of the line before, and of this one.
    """

    machine: str
    number: int
    step: int
    at: str
    occasion: Occasion
    changes: tuple[RowChange, ...]
    before: str
    hash: str = ""

    @property
    def order(self) -> tuple[int, str, int]:
        return self.step, self.machine, self.number

    def told(self) -> dict[str, Any]:
        """All but the hash, as it is written."""
        return {
            "machine": self.machine,
            "number": self.number,
            "step": self.step,
            "at": self.at,
            **vars(self.occasion),
            "changes": [[c.table, list(c.key), c.was, c.now] for c in self.changes],
            "before": self.before,
        }

    def line(self) -> str:
        return _as_json({**self.told(), "hash": self.fingerprint()})

    def fingerprint(self) -> str:
        return hashlib.sha256(_as_json(self.told()).encode()).hexdigest()


@dataclass(frozen=True)
class Journal:
    """The events of all machines, in order.

    Parameters
    ----------
    events : tuple of Event
    damage : tuple of str
        Lines that cannot be read or are not as they were written, in words.
    """

    events: tuple[Event, ...] = ()
    damage: tuple[str, ...] = ()

    def rows(self, until: str = "") -> Rows:
        """Return the rows of all tables as the journal has them.

        Parameters
        ----------
        until : str
            Local or universal time in the form of ISO 8601; blank for all that happened.
        """
        moment = dt.datetime.fromisoformat(until).astimezone() if until else None
        rows: Rows = {}
        for event in self.events:
            if moment is None or dt.datetime.fromisoformat(event.at) <= moment:
                apply_changes(rows, event.changes)
        return rows


def read_journal(folder: Path) -> Journal:
    """Read every journal file of a series, copies that a synchronising drive made included."""
    found: dict[str, Event] = {}
    damage: list[str] = []
    for name in journal_files(folder):
        path = folder / name
        if path.is_symlink() or (path.exists() and path.stat().st_size > MOST_JOURNAL_BYTES):
            damage.append(f"{name} is not a journal that can be read.")
            continue
        damage += _read_file(name, read_together(folder, [name]).get(name, b""), found)
    return Journal(tuple(sorted(found.values(), key=lambda e: e.order)), tuple(damage))


def journal_files(folder: Path) -> tuple[str, ...]:
    """Names of the journal files in a folder."""
    there = {path.name for path in folder.glob("journal-*.log")}
    return tuple(sorted(there | {n for n in pending(folder) if n.startswith("journal-")}))


def own_file() -> str:
    """Name of the journal file that this machine writes to."""
    return f"journal-{machine()}.log"


def machine() -> str:
    """Name this machine, the same each time; KIT_MACHINE in the environment overrules it."""
    if told := os.environ.get("KIT_MACHINE"):
        return _plain_name(told)
    number = hashlib.sha256(f"{platform.node()} {uuid.getnode()}".encode()).hexdigest()[:6]
    return f"{_plain_name(platform.node())}-{number}"


def lengthened(
    folder: Path, happened: Sequence[tuple[Occasion, Sequence[RowChange]]]
) -> dict[str, bytes]:
    """Return this machine's journal with more events at its end.

    Parameters
    ----------
    folder : Path
        Of the series. Call this while it is locked.
    happened : sequence of (Occasion, sequence of RowChange)

    Returns
    -------
    dict of str to bytes
        File name to content; empty when nothing changed.
    """
    happened = [(occasion, changes) for occasion, changes in happened if changes]
    if not happened:
        return {}
    path = folder / own_file()
    content = path.read_bytes() if path.is_file() else b""
    if content and not content.endswith(b"\n"):
        content += b"\n"
    events = read_journal(folder).events
    mine = [event for event in events if event.machine == machine()]
    step = max((event.step for event in events), default=0)
    last = max(mine, key=lambda e: e.number, default=None)
    number, before = (last.number, last.hash) if last else (0, _START)
    at = dt.datetime.now().astimezone().isoformat(timespec="milliseconds")
    for n, (occasion, changes) in enumerate(happened, start=1):
        event = Event(machine(), number + n, step + n, at, occasion, tuple(changes), before)
        content += event.line().encode() + b"\n"
        before = event.fingerprint()
    return {path.name: content}


def _read_file(name: str, content: bytes, found: dict[str, Event]) -> list[str]:
    damage = []
    before = _START
    for number, line in enumerate(content.splitlines(), start=1):
        if not line.strip():
            continue
        event = _parsed(line)
        if event is None:
            damage.append(f"{name}, line {number} cannot be read.")
            continue
        if event.hash != event.fingerprint():
            damage.append(f"{name}, line {number} is not as it was written.")
        elif event.before != before:
            damage.append(f"{name}: lines are missing before line {number}.")
        before = event.hash
        found.setdefault(event.hash, event)
    return damage


def _parsed(line: bytes) -> Event | None:
    try:
        told = json.loads(line)
        changes = tuple(
            RowChange(str(table), tuple(map(str, key)), _cells(was), _cells(now))
            for table, key, was, now in told["changes"]
        )
        occasion = Occasion(*(str(told[f]) for f in Occasion.__dataclass_fields__))
        dt.datetime.fromisoformat(told["at"])
        return Event(
            str(told["machine"]),
            int(told["number"]),
            int(told["step"]),
            str(told["at"]),
            occasion,
            changes,
            str(told["before"]),
            str(told["hash"]),
        )
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return None


def _cells(told: Any) -> Cells | None:
    return None if told is None else {str(c): str(v) for c, v in told.items()}


def _as_json(told: Mapping[str, Any]) -> str:
    return json.dumps(told, ensure_ascii=False, separators=(",", ":"))


def _plain_name(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40] or "machine"
