"""Writing so that nothing is lost: whole files or none, and never over somebody else's change.

Several files that belong together are first written beside the old ones, then listed in a note,
then renamed. A crash before the note leaves all the old files; a crash after it leaves the note,
by which readers see the new files and the next writer finishes the renaming.
"""

import contextlib
import hashlib
import json
import os
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from filelock import FileLock, Timeout

from kit.errors import ChangedMeanwhile, Misuse

_LOCK = ".lock"
_NOTE = ".pending.json"
_PATIENCE_S = 20
_LOOKS = 50
SPREADSHEET_PATIENCE_S = 2.0


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Keep other writers from a folder meanwhile, after finishing what a crash interrupted.

    Raises
    ------
    Misuse
        When another session holds the folder for too long.
    """
    folder.mkdir(parents=True, exist_ok=True)
    if (folder / _LOCK).is_symlink():
        raise Misuse(f"{folder / _LOCK} is a link to another place. Delete it and try again.")
    try:
        with FileLock(folder / _LOCK, timeout=_PATIENCE_S):
            _finish(folder)
            yield
    except Timeout:
        raise Misuse(
            f"{folder} is being written by another session. Try again when it has finished."
        ) from None


def replace_files(
    folder: Path,
    files: Mapping[str, bytes],
    seen: Mapping[str, bytes | None],
    added: Callable[[], Mapping[str, bytes]] = dict,
) -> None:
    """Write files, all or none, unless one of them has changed since it was seen.

    Parameters
    ----------
    folder : Path
    files : mapping of str to bytes
        Name and new content. A file that already has the content is left alone.
    seen : mapping of str to bytes or None
        Content when last read; None for a file that was not there.
    added : callable, optional
        Gives further files to write with them, worked out while nobody else can write.

    Raises
    ------
    ChangedMeanwhile
        When a file on disk is not as it was seen. Nothing is written then.
    Misuse
        When the disk is full or may not be written to. The old files stand then.
    """
    with writing(folder), locked(folder):
        now = {name: _content(folder / name) for name in files}
        changed = [n for n, content in now.items() if content not in (seen.get(n), files[n])]
        if changed:
            raise ChangedMeanwhile(
                f"{', '.join(changed)} in {folder} changed since it was read. "
                "Nothing was written. Read the series again and repeat the change."
            )
        new = {n: content for n, content in files.items() if now[n] != content}
        _wait_for_spreadsheets(folder, new)
        _replace_all(folder, {**added(), **new})


def write_whole(path: Path, content: bytes) -> None:
    """Put `content` at `path` at one stroke: a crash leaves the old file or the new one."""
    scratch = _write_beside(path, content)
    try:
        scratch.replace(path)
    except BaseException:
        scratch.unlink(missing_ok=True)
        raise
    _flush_folder(path.parent)


def read_together(folder: Path, names: Sequence[str]) -> dict[str, bytes]:
    """Read files as they stood at one moment, without writing anything.

    Returns
    -------
    dict of str to bytes
        The files that are there. Links are not followed.
    """
    for _ in range(_LOOKS):
        before = _look(folder, names)
        try:
            renamed = pending(folder)
            paths = {name: folder / renamed.get(name, name) for name in names}
            found = {n: p.read_bytes() for n, p in paths.items() if _is_plain_file(p)}
        except FileNotFoundError:
            continue
        if _look(folder, names) == before:
            return found
        time.sleep(0.01)
    raise Misuse(f"{folder} keeps changing while it is read. Try again in a moment.")


def is_begun(folder: Path) -> bool:
    """Whether a folder holds anything but what a write that was cut short has left."""
    if folder.is_symlink() or not folder.is_dir():
        return folder.exists() or folder.is_symlink()
    return any(not path.name.startswith(".") for path in folder.iterdir()) or bool(pending(folder))


def leftovers(folder: Path) -> list[str]:
    """Say what an interrupted write or an open spreadsheet has left in a series folder.

    Returns
    -------
    list of str
        One sentence for each, with what to do about it.
    """
    said = []
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.name.endswith(".part") and path.name not in pending(folder).values():
            said.append(
                f"{name} is left from a write that was cut short. The file it was to replace is "
                "whole; look whether you miss anything in it, then delete it."
            )
        elif path.name == _NOTE:
            said.append(
                "A write was cut short after everything was safely down. The kit reads the new "
                "files and will finish by itself the next time it writes."
            )
        elif path.name.startswith((".~lock.", "~$")):
            table = path.name.removeprefix(".~lock.").removeprefix("~$").removesuffix("#")
            said.append(
                f"{name} says that a spreadsheet program has {table} open. "
                "Save and close it there before the kit writes to it."
            )
    return said


@contextlib.contextmanager
def writing(folder: Path) -> Iterator[None]:
    """Turn the system's refusal to write (full disk, no permission) into a sentence."""
    try:
        yield
    except OSError as cannot:
        raise Misuse(
            f"{folder} cannot be written: {cannot.strerror or cannot}. What was there before "
            "still stands. Free some space or allow writing, and repeat."
        ) from cannot


def open_in_spreadsheet(folder: Path, name: str) -> Path | None:
    """The file by which a spreadsheet program says that it has a table open, if there is one."""
    marks = (folder / f".~lock.{name}#", folder / f"~${name}")
    return next((mark for mark in marks if mark.exists()), None)


def _wait_for_spreadsheets(folder: Path, names: Iterable[str]) -> None:
    """Wait a little for a table to be closed, for its old state would be saved over the new.

    Raises
    ------
    Misuse
        When it stays open.
    """
    until = time.monotonic() + SPREADSHEET_PATIENCE_S
    while is_open := [n for n in names if open_in_spreadsheet(folder, n)]:
        if time.monotonic() > until:
            mark = open_in_spreadsheet(folder, is_open[0])
            raise Misuse(
                f"{is_open[0]} is open in a spreadsheet, which would later save its old state over "
                "the new one. Nothing was written. Save and close it there, and repeat. (If it is "
                f"open nowhere, delete {mark and mark.name}.)"
            )
        time.sleep(0.1)


def _replace_all(folder: Path, files: Mapping[str, bytes]) -> None:
    if not files:
        return
    if len(files) == 1:
        write_whole(folder / next(iter(files)), next(iter(files.values())))
        return
    scratch: dict[str, str] = {}
    try:
        for name, content in files.items():
            scratch[name] = _write_beside(folder / name, content).name
        old = {name: _digest(folder / name) for name in files}
        note = [{"file": n, "scratch": scratch[n], "old": old[n]} for n in files]
        write_whole(folder / _NOTE, json.dumps(note).encode())
    except BaseException:
        (folder / _NOTE).unlink(missing_ok=True)
        for name in scratch.values():
            (folder / name).unlink(missing_ok=True)
        raise
    _finish(folder)


def _finish(folder: Path) -> None:
    for name, scratch in pending(folder).items():
        (folder / scratch).replace(folder / name)
    if (folder / _NOTE).exists():
        _flush_folder(folder)
        (folder / _NOTE).unlink()


def pending(folder: Path) -> dict[str, str]:
    """Final name to scratch name of what still is to be renamed.

    A file that somebody has changed since is not among them, and a strange note counts as none.
    """
    note = folder / _NOTE
    if not _is_plain_file(note):
        return {}
    try:
        told = [
            (entry["file"], entry["scratch"], entry["old"])
            for entry in json.loads(note.read_bytes())
        ]
    except (ValueError, TypeError, KeyError, FileNotFoundError):
        return {}
    return {
        name: scratch
        for name, scratch, old in told
        if _belongs(name, scratch)
        and _is_plain_file(folder / scratch)
        and _digest(folder / name) == old
    }


def _belongs(name: object, scratch: object) -> bool:
    if not isinstance(name, str) or not isinstance(scratch, str) or name.startswith("."):
        return False
    climbs = any(sign in scratch for sign in "/\\")
    return scratch.startswith(f".{name}.") and scratch.endswith(".part") and not climbs


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest() if _is_plain_file(path) else ""


def _write_beside(path: Path, content: bytes) -> Path:
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    scratch = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        scratch.chmod(0o644)
    except BaseException:
        scratch.unlink(missing_ok=True)
        raise
    return scratch


def _flush_folder(folder: Path) -> None:
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _look(folder: Path, names: Sequence[str]) -> list[tuple[int, int, int] | None]:
    seen: list[tuple[int, int, int] | None] = []
    for name in (*names, _NOTE):
        try:
            stat = (folder / name).lstat()
        except FileNotFoundError:
            seen.append(None)
        else:
            seen.append((stat.st_ino, stat.st_mtime_ns, stat.st_size))
    return seen


def _is_plain_file(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _content(path: Path) -> bytes | None:
    return path.read_bytes() if path.exists() else None
