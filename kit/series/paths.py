"""Where things are kept and what may name them: folders, series, and no links to elsewhere.

Series lie below data/, reports below reports/ beside it. What a series says stands in its own
folder and nowhere else, so links are refused.
"""

import os
import re
from pathlib import Path

from kit.errors import Misuse, Problem

_PLAIN = re.compile(r"[a-z0-9][a-z0-9-]{0,62}")
_RESERVED = re.compile(r"con|prn|aux|nul|(com|lpt)[0-9]")


def checked_name(name: str) -> str:
    """Return `name` if it can safely be a folder on any machine.

    Raises
    ------
    Misuse
        When it holds anything but small letters, digits and hyphens.
    """
    if not _PLAIN.fullmatch(name) or _RESERVED.fullmatch(name):
        raise Misuse(
            f"'{name}' cannot name a series. Use small letters, digits and hyphens, "
            "such as 'autumn-stencils'."
        )
    return name


def studio_folder(start: Path | None = None) -> Path:
    """Find the folder that holds data/: this one, or the nearest above it.

    Falls back to `start` itself (default: the current folder), where data/ will then be made.
    """
    here = (start or Path.cwd()).resolve()
    return next((f for f in (here, *here.parents) if (f / "data").is_dir()), here)


def series_folder(name: str, start: Path | None = None) -> Path:
    """Return the folder of a series, given its name or a path to it."""
    if Path(name).name != name:
        return Path(name).resolve()
    return studio_folder(start) / "data" / checked_name(name)


def report_folder(series: Path) -> Path:
    """Return where the reports of a series go: reports/<name> beside data/.

    Raises
    ------
    Misuse
        When the series does not lie in a folder called data.
    """
    if series.parent.name != "data":
        raise Misuse(
            f"{series} does not lie in a folder called 'data'. Move it to data/{series.name}, "
            "so that its report can go to reports/ beside it."
        )
    return series.parent.parent / "reports" / series.name


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
