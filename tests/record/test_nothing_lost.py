"""Kill, fill the disk, write at once: nothing that was on record is lost, and nothing is half."""

import errno
import importlib.util
import json
import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from itertools import repeat
from pathlib import Path
from types import ModuleType

import pytest

from kit.errors import ChangedMeanwhile, Misuse
from kit.record import apply, reconcile, take_in
from kit.series import leftovers, read_journal, read_series


def beside(name: str) -> ModuleType:
    """A module that lies beside this one."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


steps = beside("every_write_step")


@pytest.fixture
def graded(folder: Path) -> Path:
    """The series with two grades on record."""
    steps.prepare(folder, "enter")
    return folder


@pytest.fixture
def second(tmp_path: Path) -> Path:
    """A file that changes one grade, adds another, and with it two firings."""
    file = tmp_path / "second.csv"
    file.write_text(steps.SECOND)
    return file


needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a forked process")


@needs_fork
@pytest.mark.parametrize("action", steps.ACTIONS)
def test_killed_at_any_step_it_leaves_the_old_state_or_the_new(
    folder: Path, tmp_path: Path, action: str
) -> None:
    steps.prepare(folder, action)
    act = steps.ACTIONS[action]
    old, before = steps.contents(folder.parent), steps.state(folder)
    snapshots = steps.left_by_a_kill(folder, act)
    new, after = steps.contents(folder.parent), steps.state(folder)
    assert len(snapshots) >= 10 and snapshots[-1] == new
    seen = set()
    for number, left in enumerate(steps.told_apart(snapshots)):
        place = tmp_path / f"killed-{number}" / "data"
        place.parent.mkdir()
        steps.put(place, left)
        halves = [
            name
            for name, content in left.items()
            if not name.split("/")[-1].startswith((".", "journal-"))
            and content not in (old.get(name), new.get(name))
        ]
        assert halves == []
        killed = place / folder.name
        found = steps.state(killed)
        seen.add(steps.read_as(found, before, after, action))
        differs = reconcile(killed)
        assert action == "accept" or not differs.changes
        assert not read_journal(killed).damage
        if found != after or action == "accept":
            act(killed)
        with suppress(Misuse):  # it is done already
            act(killed)
        assert steps.state(killed) == after
        shutil.rmtree(place.parent)
    assert seen == steps.BETWEEN.get(action, {"old", "new"})


@needs_fork
@pytest.mark.parametrize("step", [3, 14, 24])
def test_a_real_kill_leaves_what_the_copy_of_that_step_shows(
    folder: Path, tmp_path: Path, step: int
) -> None:
    steps.prepare(folder, "enter")
    twin = shutil.copytree(folder.parent, tmp_path / "twin" / "data") / folder.name
    snapshots = steps.left_by_a_kill(folder, steps.ACTIONS["enter"])
    steps.kill_at(step, twin, steps.ACTIONS["enter"])
    assert steps.renamed(steps.contents(twin.parent)) == steps.renamed(snapshots[step - 1])


@pytest.mark.parametrize("action", steps.ACTIONS)
def test_a_full_disk_at_any_flush_leaves_the_old_state_or_the_new(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, action: str
) -> None:
    steps.prepare(folder, action)
    act = steps.ACTIONS[action]
    before = steps.state(folder)
    old = steps.contents(folder.parent)
    seen = set()
    failing, full = 0, True
    while full:
        failing += 1
        full = False
        place = tmp_path / f"full-{failing}" / "data"
        place.parent.mkdir()
        steps.put(place, old)
        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", full_at(failing))
            try:
                act(place / folder.name)
            except Misuse as refused:
                assert "No space left" in str(refused)
                full = True
        seen.add(json.dumps(sorted(map(str, steps.state(place / folder.name).items()))))
    after = steps.state(place / folder.name)
    copied = {**after, **before} if action == "split" else after
    assert failing >= 3
    assert seen <= {json.dumps(sorted(map(str, s.items()))) for s in (before, copied, after)}


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
