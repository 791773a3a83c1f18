"""What a kill, or a disk that fills, would leave at every step of every command that writes.

A command is run once, in a forked process, and before each step that changes anything on the disk
the folder is copied as it stands: that is what a kill just then would leave. A test kills in
earnest now and then, to see that the copies are right.
"""

import json
import os
import pickle
import signal
import sys
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from kit.record import (
    apply,
    change_plan,
    correct,
    merge,
    restore,
    split,
    take_in,
    undo,
    withdraw,
)
from kit.record.plan_changes import replanned
from kit.series import (
    files_of,
    read_journal,
    read_series,
    rows_of_files,
    start_series,
    take_in_by_hand,
)

WATCHED = {"open", "os.mkdir", "os.rename", "os.remove", "os.chmod"}
HEAD = "patch,firing,grader,spread,pull_through,note\n"
FIRST = HEAD + "T1-1,1,Ada,2,1,\nT2-1,1,Ada,0,0,matt\n"
SECOND = HEAD + "T1-1,1,Ada,3,1,\nT3-1,2,Ada,4,4,\n"

Files = dict[str, bytes]
"""What lies below a folder, by path; a folder by itself ends with '/'."""


def _enter(folder: Path) -> None:
    file = folder.parent.parent / "second.csv"
    file.write_text(SECOND)
    apply(take_in(folder, file, "Ada"))


def _plan(folder: Path) -> None:
    series = read_series(folder)
    replanned(folder, replace(series, tiles=series.tiles.assign(coats=3)), "Ada")


def _merge(folder: Path) -> None:
    found = merge(folder)
    found.settled([conflict.values[-1][0] for conflict in found.conflicts]).write()
    found.put_copies_away()


ACTIONS: dict[str, Callable[[Path], object]] = {
    "new": lambda f: start_series(f.parent / "fresh", 1),
    "plan": _plan,
    "enter": _enter,
    "correct": lambda f: correct(f, "T1-1", "overlay", "Moss", why="wrong jar").write(),
    "withdraw": lambda f: withdraw(f, "T1-1", why="never fired").write(),
    "undo": lambda f: undo(f, 2).write(),
    "restore": lambda f: restore(f, "grades", at=read_journal(f).events[0].at).write(),
    "drop": lambda f: change_plan(f, "drop", [4]).write(),
    "split": lambda f: split(f, [2], "apart"),
    "merge": _merge,
    "accept": lambda f: take_in_by_hand(f, files_of(f), "Ada"),
}
"""Every command that writes into a series, on the series that `prepare` leaves."""

BETWEEN = {"accept": {"old"}, "split": {"old", "copied", "new"}}
"""As what a folder may be read meanwhile, where that is more or less than as the old or the new."""


def prepare(folder: Path, action: str) -> None:
    """Bring a planned series to where an action has something to do."""
    if action == "plan":
        return
    file = folder.parent.parent / "first.csv"
    file.write_text(FIRST)
    apply(take_in(folder, file, "Ada"))
    grades = folder / "grades.csv"
    if action == "accept":
        grades.write_text(grades.read_text().replace("matt", "glossy"))
    if action == "merge":
        more = grades.read_text().replace("T1-1,1,Ada,2", "T1-1,1,Ada,4")
        (folder / "grades (conflicted copy).csv").write_text(f"{more}T2-2,1,Ben,2,1,\n")


def contents(place: Path) -> Files:
    """All that lies below a folder but locks."""
    found = {}
    for path in sorted(place.rglob("*")):
        name = path.relative_to(place).as_posix()
        if path.is_dir():
            found[f"{name}/"] = b""
        elif path.name != ".lock":
            found[name] = path.read_bytes()
    return found


def put(place: Path, files: Files) -> None:
    """Lay files down below a folder that is not there yet."""
    place.mkdir()
    for name, content in files.items():
        path = place / name
        if name.endswith("/"):
            path.mkdir()
        else:
            path.write_bytes(content)


@contextmanager
def every_step(seen: Callable[[], None]):
    """Call back before each step that changes the disk; for a process that ends soon after."""
    busy = False

    def step(event: str, args: tuple) -> None:
        nonlocal busy
        reads = event == "open" and not args[2] & (os.O_WRONLY | os.O_RDWR)
        if event in WATCHED and not reads and not busy:
            busy = True
            seen()
            busy = False

    flush = os.fsync

    def fsync(handle: int) -> None:
        step("os.rename", ())
        flush(handle)
        step("os.rename", ())

    os.fsync = fsync
    sys.addaudithook(step)
    yield
    os.fsync = flush


def left_by_a_kill(folder: Path, act: Callable[[Path], object]) -> list[Files]:
    """What lies beside a series before each step of what is done to it, and at the end."""
    kept = folder.parent.parent / "snapshots"
    child = os.fork()
    if child == 0:
        snapshots: list[Files] = []
        try:
            with every_step(lambda: snapshots.append(contents(folder.parent))):
                act(folder)
            snapshots.append(contents(folder.parent))
            told = pickle.dumps(snapshots)
            kept.write_bytes(told)
        finally:
            os._exit(0)
    os.waitpid(child, 0)
    found: list[Files] = pickle.loads(kept.read_bytes())
    return found


def kill_at(step: int, folder: Path, act: Callable[[Path], object]) -> None:
    """Do something in another process, which is killed before the given step."""
    child = os.fork()
    if child == 0:
        count = 0

        def one_more() -> None:
            nonlocal count
            count += 1
            if count == step:
                os.kill(os.getpid(), signal.SIGKILL)

        try:
            with every_step(one_more):
                act(folder)
        finally:
            os._exit(0)
    os.waitpid(child, 0)


def told_apart(snapshots: list[Files]) -> list[Files]:
    """Of snapshots that differ only in files that no reader looks at, the last.

    Those are files still being written: they end in .part, and no note names them yet.
    """
    last: dict[str, Files] = {}
    for files in snapshots:
        named = "".join(
            entry["scratch"]
            for name, note in files.items()
            if name.endswith(".pending.json")
            for entry in json.loads(note)
        )
        seen = {
            name: content
            for name, content in files.items()
            if not name.endswith(".part") or name.split("/")[-1] in named
        }
        last[repr(sorted(seen.items()))] = files
    return list(last.values())


def state(folder: Path) -> dict:
    """The rows of a series and of what was split off it; when and by which number is left out."""
    series = [f for f in (folder, folder.parent / "apart", folder.parent / "fresh") if files_in(f)]
    return {
        one.name: {
            (table, key[1:] if table == "corrections" else key): cells
            for (table, key), cells in rows_of_files(files_of(one)).items()
        }
        for one in series
    }


def files_in(folder: Path) -> bool:
    return folder.is_dir() and bool(files_of(folder))


def read_as(found: dict, before: dict, after: dict, action: str) -> str:
    """Which state a folder is read as."""
    if found == before:
        return "old"
    if found == after:
        return "new"
    if action == "split" and found == {**after, **before}:
        return "copied"
    return "mixed"


def renamed(files: Files) -> Files:
    """Files under names that are the same each time: what is random in them is left out."""
    return {
        name if not name.endswith(".part") else name.rsplit(".", 2)[0]: content
        for name, content in files.items()
        if not name.endswith((".pending.json", "/")) and "journal-" not in name
    }
