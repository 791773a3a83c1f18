"""Links are refused: what a series says stands in its own folder, and nowhere else."""

import os
from pathlib import Path

from kit.errors import Misuse, Problem


def link_problems(folder: Path) -> list[Problem]:
    """Name every link inside the folder of a series, however deep."""
    return [
        Problem(name, None, "", "It is a link to another place.", "Put the file itself here.")
        for name in sorted(_links(folder))
    ]


def inside(folder: Path, *parts: str) -> Path:
    """Join parts to the path of a series' folder.

    Raises
    ------
    Misuse
        When the path would leave the folder or pass through a link.
    """
    path = folder
    for part in parts:
        path = path / part
        if part in ("", ".", "..") or Path(part).name != part or "\\" in part:
            raise Misuse(f"'{part}' cannot name a file inside {folder}. Use a plain file name.")
        if path.is_symlink():
            raise Misuse(f"{path} is a link to another place. Put the file itself there.")
    return path


def _links(folder: Path) -> list[str]:
    found = []
    for place, folders, files in os.walk(folder, followlinks=False):
        for name in (*folders, *files):
            path = Path(place) / name
            if path.is_symlink():
                found.append(path.relative_to(folder).as_posix())
    return found
