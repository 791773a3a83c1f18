"""Telling whether a report is still the report of its data."""

import hashlib
from collections.abc import Iterable
from importlib.metadata import version
from pathlib import Path

PACKAGE = "enamel-tile-kit"
MARK = "made-from.txt"


def fingerprint(folder: Path) -> str:
    """Condense the files of a series, and the kit's version, into one line.

    Only the files a report is made from count: series.toml and the tables.
    """
    digest = hashlib.sha256(version(PACKAGE).encode())
    for path in sorted([folder / "series.toml", *folder.glob("*.csv")]):
        if path.is_file():
            content = path.read_bytes()
            digest.update(f"{path.name}\0{len(content)}\0".encode() + content)
    return digest.hexdigest()


def joined(marks: Iterable[str]) -> str:
    """Condense several fingerprints into one."""
    return hashlib.sha256("\n".join(marks).encode()).hexdigest()


def is_current(reports: Path, mark: str) -> bool:
    """Say whether the report in a folder was made from data with this fingerprint."""
    made = reports / MARK
    return made.is_file() and made.read_text("utf-8").strip() == mark
