"""Write to a series and be killed at every step of the writing; print what was found each time.

Run as: python every_write_step.py SERIES FILE [ACTION]. The action is to take FILE in, or one of
`ACTIONS`. The series folder is copied for every step.
"""

import json
import os
import shutil
import signal
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from kit.errors import Misuse
from kit.record import (
    apply,
    change_plan,
    correct,
    reconcile,
    restore,
    take_in,
    undo,
    withdraw,
)
from kit.series import files_of, read_journal, read_series, take_in_by_hand

WATCHED = {"open", "os.mkdir", "os.rename", "os.remove", "os.chmod"}


ACTIONS: dict[str, Callable[[Path], object]] = {
    "correct": lambda f: correct(f, "T1-1", "overlay", "Moss", why="wrong jar").write(),
    "withdraw": lambda f: withdraw(f, "T1-1", why="never fired").write(),
    "undo": lambda f: undo(f, 2).write(),
    "restore": lambda f: restore(f, "grades", at=read_journal(f).events[0].at).write(),
    "drop": lambda f: change_plan(f, "drop", [4]).write(),
    "accept": lambda f: take_in_by_hand(f, files_of(f), "Ada"),
}


def run_until(step: int, act: Callable[[], object]) -> bool:
    """Do something, killed before the given step. Returns whether it got to the end."""
    child = os.fork()
    if child == 0:
        seen = 0

        def count(event: str, args: tuple) -> None:
            nonlocal seen
            reads = event == "open" and not args[2] & (os.O_WRONLY | os.O_RDWR)
            if event in WATCHED and not reads:
                seen += 1
                if seen == step:
                    os.kill(os.getpid(), signal.SIGKILL)

        flush = os.fsync

        def fsync(handle: int) -> None:
            count("os.rename", ())
            flush(handle)
            count("os.rename", ())

        os.fsync = fsync
        sys.addaudithook(count)
        act()
        os._exit(0)
    _, status = os.waitpid(child, 0)
    return not os.WIFSIGNALED(status)


def state(folder: Path) -> dict:
    series = read_series(folder)
    corrections = series.corrections[["patch", "column", "was", "now"]]
    return {
        "grades": sorted(map(str, series.grades.to_dict("records"))),
        "firings": sorted(map(str, series.firings.to_dict("records"))),
        "plan": [series.tiles.to_csv(), series.patches.to_csv()],
        "corrections": sorted(map(str, corrections.to_dict("records"))),
    }


def main(original: Path, file: Path, action: str = "enter") -> None:
    def act(folder: Path) -> None:
        try:
            ACTIONS[action](folder) if action != "enter" else apply(replace(intake, folder=folder))
        except Misuse:  # it is done already
            pass

    old = {p.name: p.read_bytes() for p in original.iterdir() if p.is_file()}
    before = state(original)
    whole = original.parent / "whole" / original.name
    shutil.copytree(original, whole)
    intake = take_in(whole, file, "Ada")
    act(whole)
    expected = state(whole)
    new = {p.name: p.read_bytes() for p in whole.iterdir() if p.is_file()}
    found = []
    ended, step = False, 0
    while not ended:
        step += 1
        folder = original.parent / "killed" / original.name
        shutil.rmtree(folder.parent, ignore_errors=True)
        shutil.copytree(original, folder)
        ended = run_until(step, lambda folder=folder: act(folder))
        halves = [
            p.name
            for p in folder.iterdir()
            if p.is_file()
            and not p.name.startswith((".", "journal-"))
            and p.name != "corrections.csv"
            and p.read_bytes() not in (old.get(p.name), new[p.name])
        ]
        after_kill = state(folder)
        in_step = reconcile(folder)
        act(folder)
        found.append(
            {
                "halves": halves,
                "read as": "old"
                if after_kill == before
                else "new"
                if after_kill == expected
                else "mixed",
                "again": state(folder) == expected,
                "journal": in_step.in_step or not in_step.changes or action == "accept",
                "whole": not read_journal(folder).damage,
            }
        )
    print(json.dumps(found))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), *sys.argv[3:])
