"""Take a file in and be killed at every step of the writing; print what was found each time.

Run as: python every_write_step.py SERIES FILE. The series folder is copied for every step.
"""

import json
import os
import shutil
import signal
import sys
from dataclasses import replace
from pathlib import Path

from kit.record import Intake, apply, take_in
from kit.series import read_series

WATCHED = {"open", "os.mkdir", "os.rename", "os.remove", "os.chmod"}


def run_until(step: int, intake: Intake) -> bool:
    """Take a file in, killed before the given step. Returns whether it got to the end."""
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
        apply(intake)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    return not os.WIFSIGNALED(status)


def state(folder: Path) -> dict:
    series = read_series(folder)
    corrections = series.corrections[["patch", "column", "was", "now"]]
    return {
        "grades": sorted(map(str, series.grades.to_dict("records"))),
        "firings": sorted(map(str, series.firings.to_dict("records"))),
        "corrections": sorted(map(str, corrections.to_dict("records"))),
    }


def main(original: Path, file: Path) -> None:
    old = {p.name: p.read_bytes() for p in original.iterdir() if p.is_file()}
    before = state(original)
    whole = original.parent / "whole" / original.name
    shutil.copytree(original, whole)
    intake = take_in(whole, file, "Ada")
    apply(intake)
    expected = state(whole)
    same_but_time = {"corrections.csv"}
    new = {p.name: p.read_bytes() for p in whole.iterdir() if p.is_file()}
    found = []
    ended, step = False, 0
    while not ended:
        step += 1
        folder = original.parent / "killed" / original.name
        shutil.rmtree(folder.parent, ignore_errors=True)
        shutil.copytree(original, folder)
        here = replace(intake, folder=folder)
        ended = run_until(step, here)
        halves = [
            p.name
            for p in folder.iterdir()
            if p.is_file()
            and not p.name.startswith(".")
            and not p.name.startswith("journal-")
            and p.name not in same_but_time
            and p.read_bytes() not in (old.get(p.name), new[p.name])
        ]
        after_kill = state(folder)
        apply(here)
        found.append(
            {
                "halves": halves,
                "read as": "old"
                if after_kill == before
                else "new"
                if after_kill == expected
                else "mixed",
                "again": state(folder) == expected,
            }
        )
    print(json.dumps(found))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
