"""What an interrupted or hostile folder can do: nothing that is not said."""

import hashlib
import itertools
import json
import threading
from pathlib import Path

import pytest

from kit.errors import ChangedMeanwhile, Misuse
from kit.series import examine, inside, leftovers, locked, replace_files, write_whole
from kit.series.disk import read_together

OLD = {"a.csv": b"old a", "b.csv": b"old b"}
NEW = {"a.csv": b"new a", "b.csv": b"new b"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, content in OLD.items():
        (tmp_path / name).write_bytes(content)
    return tmp_path


def interrupted(folder: Path, note: object = None) -> Path:
    """Leave the folder as a crash would after both files are down and before either is renamed."""
    entries = []
    for name, content in NEW.items():
        scratch = f".{name}.x1.part"
        (folder / scratch).write_bytes(content)
        old = hashlib.sha256(OLD[name]).hexdigest()
        entries.append({"file": name, "scratch": scratch, "old": old})
    (folder / ".pending.json").write_text(json.dumps(entries if note is None else note))
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in OLD}


def test_a_reader_sees_what_a_crash_left_to_rename_and_writes_nothing(folder):
    interrupted(folder)
    before = sorted(p.name for p in folder.iterdir())
    assert read_together(folder, list(OLD)) == NEW
    assert sorted(p.name for p in folder.iterdir()) == before and contents(folder) == OLD


def test_the_next_writer_finishes_what_a_crash_interrupted(folder):
    with locked(interrupted(folder)):
        pass
    assert contents(folder) == NEW and leftovers(folder) == []


def test_what_somebody_typed_after_the_crash_is_not_written_over(folder):
    interrupted(folder)
    (folder / "a.csv").write_bytes(b"typed since")
    assert read_together(folder, list(OLD)) == {"a.csv": b"typed since", "b.csv": b"new b"}
    with locked(folder):
        pass
    assert contents(folder) == {"a.csv": b"typed since", "b.csv": b"new b"}
    (said,) = leftovers(folder)
    assert ".a.csv.x1.part" in said


@pytest.mark.parametrize(
    "note",
    [
        [{"file": "../../up.csv", "scratch": ".a.csv.x1.part", "old": ""}],
        [{"file": "..", "scratch": "...x.part", "old": ""}],
        [{"file": "a.csv", "scratch": ".a.csv./../../b.part", "old": ""}],
        [{"file": "a.csv", "scratch": "/etc/passwd", "old": ""}],
        [{"file": 3, "scratch": None, "old": ""}],
        ["a.csv"],
        {"a.csv": ".a.csv.x1.part"},
        7,
    ],
)
def test_a_strange_note_moves_nothing(folder, note):
    with locked(interrupted(folder, note)):
        pass
    assert contents(folder) == OLD


def test_files_are_replaced_together_or_not_at_all(folder):
    with pytest.raises(ChangedMeanwhile, match=r"b\.csv"):
        replace_files(folder, NEW, seen={**OLD, "b.csv": b"something else"})
    assert contents(folder) == OLD
    replace_files(folder, NEW, seen=OLD)
    assert contents(folder) == NEW


def test_readers_never_see_one_file_new_and_the_other_old(folder):
    versions = [{name: f"{n}".encode() * 999 for name in OLD} for n in range(30)]
    replace_files(folder, versions[0], seen=OLD)
    done = threading.Event()

    def write() -> None:
        for before, after in itertools.pairwise(versions):
            replace_files(folder, after, seen=before)
        done.set()

    writer = threading.Thread(target=write)
    writer.start()
    looks = 0
    while not done.is_set():
        found = read_together(folder, list(OLD))
        assert found["a.csv"] == found["b.csv"]
        looks += 1
    writer.join()
    assert looks > 0


def test_leftovers_are_named_with_what_to_do(folder):
    (folder / ".grades.csv.abc.part").write_bytes(b"")
    (folder / ".~lock.grades.csv#").write_bytes(b"")
    part, spreadsheet = sorted(leftovers(folder))
    assert "cut short" in part and "delete it" in part
    assert "has grades.csv open" in spreadsheet
    interrupted(folder)
    assert any("will finish by itself" in said for said in leftovers(folder))


def test_a_folder_that_may_not_be_written_is_said_plainly(folder, monkeypatch):
    def refuse(*_args: object, **_more: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("kit.series.disk.tempfile.mkstemp", refuse)
    with pytest.raises(Misuse, match="Permission denied"):
        replace_files(folder, NEW, seen=OLD)
    assert contents(folder) == OLD


@pytest.mark.parametrize("part", ["..", ".", "", "a/b", "/etc/passwd", "a\\b"])
def test_a_path_cannot_climb_out_of_the_series(tmp_path, part):
    with pytest.raises(Misuse, match="cannot name a file"):
        inside(tmp_path, "received", part)


def test_links_are_refused_wherever_they_lie(tmp_path, fired):
    folder = fired.write(tmp_path / "data" / "linked")
    secret = tmp_path / "secret.txt"
    secret.write_text("secret")
    (folder / "photos").mkdir(exist_ok=True)
    (folder / "photos" / "T1.jpg").symlink_to(secret)
    (folder / "grades.csv").unlink()
    (folder / "grades.csv").symlink_to(secret)
    series, problems = examine(folder)
    assert series is None
    assert {p.file for p in problems} == {"grades.csv", "photos/T1.jpg"}
    assert all("link" in p.wrong for p in problems)
    with pytest.raises(Misuse, match="link"):
        inside(folder, "photos", "T1.jpg")


def test_a_lock_that_is_a_link_is_not_followed(folder, tmp_path):
    target = tmp_path / "target.txt"
    target.write_text("keep me")
    (folder / ".lock").symlink_to(target)
    with pytest.raises(Misuse, match="link"):
        write_locked(folder)
    assert target.read_text() == "keep me"


def write_locked(folder: Path) -> None:
    with locked(folder):
        write_whole(folder / "a.csv", b"new a")


def test_nothing_in_a_series_folder_is_run(tmp_path, fired, monkeypatch):
    folder = fired.write(tmp_path / "data" / "armed")
    trap = "import pathlib; pathlib.Path('ran').write_text('ran')"
    for name in ("series.py", "conftest.py", "sitecustomize.py", "kit.py", "__init__.py"):
        (folder / name).write_text(trap)
    (folder / "notebook.ipynb").write_text("{}")
    monkeypatch.chdir(folder)
    series, problems = examine(folder)
    assert series is not None and problems == []
    series.write(folder)
    assert not (folder / "ran").exists()


def test_writing_leaves_other_peoples_files_readable(tmp_path):
    write_whole(tmp_path / "x.csv", b"x")
    assert oct((tmp_path / "x.csv").stat().st_mode & 0o777) == "0o644"
    assert [p.name for p in tmp_path.iterdir()] == ["x.csv"]


@pytest.mark.parametrize("name", ["note", "patch", "grader", "firing", "mesh", "session"])
def test_a_scale_cannot_take_the_name_of_another_column(tmp_path, fired, name):
    folder = fired.write(tmp_path / "data" / "scaled")
    more = f'\n[[scale]]\nname = "{name}"\ntitle = "X"\nquestion = "?"\nsteps = {list("abcde")}\n'
    with (folder / "series.toml").open("a") as file:
        file.write(more)
    series, problems = examine(folder)
    assert series is None
    assert any(p.file == "series.toml" and "heads another column" in p.wrong for p in problems)
