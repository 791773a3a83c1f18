"""Kill, fill the disk, write at once: nothing that was on record is lost, and nothing is half."""

import errno
import json
import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from itertools import repeat
from pathlib import Path

import pytest

from kit.errors import ChangedMeanwhile, Misuse
from kit.record import apply, take_in
from kit.series import leftovers, read_series

HERE = Path(__file__).parent

FIRST = "patch,firing,grader,spread,pull_through,note\nT1-1,1,Ada,2,1,\nT2-1,1,Ada,0,0,matt\n"
SECOND = "patch,firing,grader,spread,pull_through,note\nT1-1,1,Ada,3,1,\nT3-1,2,Ada,4,4,\n"


@pytest.fixture
def graded(folder: Path, tmp_path: Path) -> Path:
    """The series with two grades on record."""
    file = tmp_path / "first.csv"
    file.write_text(FIRST)
    apply(take_in(folder, file, "Ada"))
    return folder


@pytest.fixture
def second(tmp_path: Path) -> Path:
    """A file that changes one grade, adds another, and with it two firings."""
    file = tmp_path / "second.csv"
    file.write_text(SECOND)
    return file


@pytest.mark.skipif(not hasattr(os, "fork"), reason="killing at each step needs a forked process")
@pytest.mark.parametrize(
    "action", ["enter", "correct", "withdraw", "undo", "restore", "drop", "accept"]
)
def test_killed_at_any_step_it_leaves_the_old_state_or_the_new(
    graded: Path, second: Path, action: str
) -> None:
    if action == "accept":
        by_hand = (graded / "grades.csv").read_text().replace("matt", "glossy")
        (graded / "grades.csv").write_text(by_hand)
    ran = subprocess.run(
        [sys.executable, str(HERE / "every_write_step.py"), str(graded), str(second), action],
        capture_output=True,
        text=True,
    )
    assert ran.returncode == 0, ran.stderr
    steps = json.loads(ran.stdout)
    assert len(steps) >= 12
    assert [step["halves"] for step in steps] == [[]] * len(steps)
    states = {"old"} if action == "accept" else {"old", "new"}
    assert {step["read as"] for step in steps} == states
    assert all(step["again"] and step["journal"] and step["whole"] for step in steps)


def test_a_full_disk_at_any_flush_leaves_every_file_as_it_was(
    graded: Path, second: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = contents(graded)
    flush = os.fsync
    failing = 0
    while True:
        failing += 1
        monkeypatch.setattr(os, "fsync", full_at(failing))
        intake = take_in(graded, second, "Ada")
        try:
            apply(intake)
        except Misuse as refused:
            assert "No space left" in str(refused)
        else:
            break
        finally:
            monkeypatch.setattr(os, "fsync", flush)
        after = contents(graded)
        assert {n: after[n] for n in before} in (before, changed(before, after))
        assert len(read_series(graded).grades) in (2, 3)
    assert failing > 5
    assert len(read_series(graded).grades) == 3


def test_a_file_that_may_not_grow_leaves_every_file_as_it_was(graded: Path, second: Path) -> None:
    before = contents(graded)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    intake = take_in(graded, second, "Ada")
    for size in (0, 1, 100, 200):
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
        try:
            with pytest.raises(Misuse, match="cannot be written"):
                apply(intake)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert contents(graded) == before
    assert leftovers(graded) == []


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of a few pages, where the system lets us have one."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=160k", "tmpfs", str(place)]
    if shutil.which("mount") is None or subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("only a privileged user may mount a small disk here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_disk_that_really_is_full_leaves_every_file_as_it_was(
    graded: Path, second: Path, small_disk: Path
) -> None:
    folder = Path(shutil.copytree(graded, small_disk / "data" / "trial"))
    before = contents(folder)
    intake = take_in(folder, second, "Ada")
    fill = small_disk / "holiday-pictures"
    with fill.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space"):
        file.writelines(repeat(bytes(512)))
    with pytest.raises(Misuse, match="No space left"):
        apply(intake)
    assert contents(folder) == before
    fill.unlink()
    apply(intake)
    assert len(read_series(folder).grades) == 3 and leftovers(folder) == []


WRITER = """
import sys
from kit.record import Entry
from kit.record.comparison import enter
from pathlib import Path
folder, grader = Path(sys.argv[1]), sys.argv[2]
for patch in ("T1-1", "T1-2", "T2-1", "T2-2", "T3-1", "T3-2", "T4-1", "T4-2"):
    entry = Entry("grades", (patch, 1, grader), "spread", 2, "here")
    enter(folder, [entry], grader, "form")
"""


def test_two_people_writing_at_once_lose_no_row(folder: Path) -> None:
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder), grader], stderr=subprocess.PIPE, text=True
        )
        for grader in ("Ada", "Ben")
    ]
    errors = [writer.communicate()[1] for writer in writers]
    assert errors == ["", ""]
    grades = read_series(folder).grades
    assert grades.groupby("grader").size().to_dict() == {"Ada": 8, "Ben": 8}


def test_a_change_made_by_somebody_else_meanwhile_is_not_written_over(
    graded: Path, second: Path, tmp_path: Path
) -> None:
    intake = take_in(graded, second, "Ada")
    other = tmp_path / "other.csv"
    other.write_text("patch,firing,grader,spread\nT1-1,1,Ada,4\n")
    apply(take_in(graded, other, "Ben"))
    with pytest.raises(ChangedMeanwhile, match="meanwhile"):
        apply(intake)
    assert read_series(graded).grades["spread"].tolist() == [4, 0]


def full_at(flush_number: int) -> Callable[[int], None]:
    """An fsync that finds the disk full when it is called for the nth time."""
    flush = os.fsync
    calls = 0

    def fsync(handle: int) -> None:
        nonlocal calls
        calls += 1
        if calls == flush_number:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        flush(handle)

    return fsync


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}


def changed(before: dict[str, bytes], after: dict[str, bytes]) -> dict[str, bytes]:
    """The new state, if the write got so far that all of it is down."""
    return (
        {name: after[name] for name in before} if b"T3-1,2,Ada,4,4" in after["grades.csv"] else {}
    )
