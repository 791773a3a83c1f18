"""Writing so that nothing is lost: whole files or none, and never over somebody else's change."""

import contextlib
import os
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

from filelock import FileLock, Timeout

from kit.errors import Misuse

_LOCK = ".lock"
_PATIENCE_S = 20


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Keep other sessions from writing to a folder meanwhile.

    Raises
    ------
    Misuse
        When another session holds the folder for too long.
    """
    folder.mkdir(parents=True, exist_ok=True)
    try:
        with FileLock(folder / _LOCK, timeout=_PATIENCE_S):
            yield
    except Timeout:
        raise Misuse(
            f"{folder} is being written by another session. Try again when it has finished."
        ) from None


def replace_files(
    folder: Path, files: Mapping[str, bytes], seen: Mapping[str, bytes | None]
) -> None:
    """Write files, each whole, unless one of them has changed since it was seen.

    Parameters
    ----------
    folder : Path
    files : mapping of str to bytes
        Name and new content. A file that already has the content is left alone.
    seen : mapping of str to bytes or None
        Content when last read; None for a file that was not there.

    Raises
    ------
    Misuse
        When a file on disk is not as it was seen. Nothing is written then.
    """
    with locked(folder):
        changed = [
            name for name in files if _content(folder / name) not in _fine(name, files, seen)
        ]
        if changed:
            raise Misuse(
                f"{', '.join(changed)} in {folder} changed since it was read. "
                "Nothing was written. Read the series again and repeat the change."
            )
        for name, content in files.items():
            if _content(folder / name) != content:
                write_whole(folder / name, content)


def write_whole(path: Path, content: bytes) -> None:
    """Put `content` at `path` at one stroke: a crash leaves the old file or the new one."""
    handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(scratch).chmod(0o644)
        Path(scratch).replace(path)
    except BaseException:
        Path(scratch).unlink(missing_ok=True)
        raise
    _flush_folder(path.parent)


def _flush_folder(folder: Path) -> None:
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _content(path: Path) -> bytes | None:
    return path.read_bytes() if path.exists() else None


def _fine(
    name: str, files: Mapping[str, bytes], seen: Mapping[str, bytes | None]
) -> tuple[bytes | None, ...]:
    return (seen.get(name), files[name])
