"""Where things are kept: series below data/, reports below reports/ beside it."""

from pathlib import Path

from kit.errors import Misuse
from kit.series.names import checked_name


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
