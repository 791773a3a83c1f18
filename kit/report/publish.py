"""From a series to the files of its report: one way, whoever asks for them."""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from string import ascii_uppercase

import pandas as pd

from kit.errors import Misuse
from kit.photo import PatchPicture, patch_pictures
from kit.report.analysis import analyse
from kit.report.sections.closing import made_by
from kit.report.sections.composition import whole_report
from kit.report.written_files import report_files
from kit.series import (
    Series,
    parse_settings,
    read_series,
    replace_files,
    report_folder,
    rounds_before,
    series_folder,
    series_tables,
    studio_folder,
)

Say = Callable[[str], None]

MARK = "made-from.txt"
"""Holds the fingerprint of the data that a report was made from."""


def write_report(
    series: str | Path | Series,
    into: Path | str | None = None,
    names: bool = False,
    progress: Say | None = None,
) -> Path:
    """Make the report of a series and put its files in place, all or none.

    Writes report.html, report.pdf, summary.pdf, the pair chart and the tables behind the pictures
    (`report_files`). The same data give the same bytes.

    Parameters
    ----------
    series : str, Path or Series
        A name below data/, a folder, or a series that was read already (then without its
        photographs).
    into : Path, optional
        Folder for the report; reports/<series> beside data/ by default.
    names : bool
        Whether graders appear by name; else each has a letter, also in the tables to download.
    progress : callable, optional
        Told what is being done.

    Returns
    -------
    Path
        Of report.html.

    Raises
    ------
    Misuse, DataProblems
        When the series is not there, has problems, or has nothing to report yet.
    """
    say = progress or (lambda text: None)
    into = Path(into) if into else _place_of(series)
    pictures: tuple[PatchPicture, ...] = ()
    if isinstance(series, Series):
        read = series
    else:
        folder = series_folder(str(series))
        read = read_series(folder)
        pictures = patch_pictures(read, folder / "photos")
    say("Fitting the models")
    rounds = rounds_before(checked_ready(read))
    shown = [*rounds, read] if names else lettered(*rounds, read)
    analysis = analyse(shown[-1], before=shown[:-1], pictures=pictures)
    say("Drawing the pictures")
    files = {
        **report_files(analysis, whole_report(analysis)),
        MARK: f"{fingerprint(files_behind(read, rounds), names)}\n".encode(),
    }
    say("Writing the files")
    into.mkdir(parents=True, exist_ok=True)
    replace_files(into, files, {name: _content(into / name) for name in files})
    (into / "report.ipynb").unlink(missing_ok=True)  # It told of the data as they were before.
    return into / "report.html"


def lettered(*several: Series) -> list[Series]:
    """Give every grader a letter in place of a name, for pages that strangers may read.

    Of several series a grader has the same letter in all.
    """
    graders = sorted({g for one in several for g in (*one.settings.graders, *one.grades["grader"])})
    letters = {name: _letter(place) for place, name in enumerate(graders)}
    return [_with_letters(one, letters) for one in several]


def _with_letters(series: Series, letters: Mapping[str, str]) -> Series:
    tables = {
        table: frame.assign(grader=_mapped(frame["grader"], letters))
        for table, frame in (("grades", series.grades), ("corrections", series.corrections))
        if "grader" in frame
    }
    named = tuple(letters[name] for name in series.settings.graders)
    return replace(series, settings=replace(series.settings, graders=named), **tables)


def _mapped(graders: pd.Series, letters: Mapping[str, str]) -> pd.Series:
    """Graders by letter; a blank stays blank."""
    return graders.map(letters).where(graders.isin(list(letters)), graders).astype(graders.dtype)


def _letter(place: int) -> str:
    """'A' to 'Z', then 'A2' to 'Z2', and so on."""
    again, letter = divmod(place, len(ascii_uppercase))
    return ascii_uppercase[letter] + (str(again + 1) if again else "")


def checked_ready(series: Series) -> Series:
    """Hand the series back if a report of it would say something.

    Raises
    ------
    Misuse
        When no colour is listed, or nothing is planned.
    """
    name = series.name
    if series.colours.empty:
        raise Misuse(
            f"Nothing is graded yet in {name}, and no colour is listed: list your jars in "
            f"colours.csv, then kit plan {name}"
        )
    if series.patches.empty:
        raise Misuse(f"Nothing is graded yet in {name}, and nothing is planned: kit plan {name}")
    return series


def files_behind(series: Series, rounds: Sequence[Series]) -> dict[str, bytes]:
    """The files of a series, and of those that it learns or goes on from under '<name>/'."""
    beside = (*series.earlier, *rounds)
    return series.files() | {f"{e.name}/{n}": b for e in beside for n, b in e.files().items()}


def fingerprint(files: Mapping[str, bytes], names: bool = False) -> str:
    """Condense the files that a report is made from, and the kit's version, into one line.

    Parameters
    ----------
    files : mapping of str to bytes
        As from `files_behind`; only series.toml and the tables of each series count.
    names : bool
        Whether the report names the graders.
    """
    digest = hashlib.sha256(f"{made_by()}{' names' if names else ''}".encode())
    for name in sorted(files):
        if name.split("/")[-1] in _made_from():
            digest.update(f"{name}\0{len(files[name])}\0".encode() + files[name])
    return digest.hexdigest()


def fingerprint_on_disk(folder: Path, names: bool = False) -> str:
    """Fingerprint of a series as it lies on disk, whether or not it can be read."""
    there = _there(folder)
    settings, _ = parse_settings(there.get("series.toml", b""))
    names_beside = [*settings.learns_from, *settings.follows] if settings else []
    met = {folder.name}
    while names_beside:
        name = names_beside.pop(0)
        if name in met:
            continue
        met.add(name)
        beside = _there(folder.parent / name)
        there |= {f"{name}/{file}": told for file, told in beside.items()}
        if name in (settings.follows if settings else ()):
            own, _ = parse_settings(beside.get("series.toml", b""))
            names_beside += own.follows if own else ()
    return fingerprint(there, names)


def _there(folder: Path) -> dict[str, bytes]:
    return {n: (folder / n).read_bytes() for n in _made_from() if _is_file(folder / n)}


def is_current(reports: Path, mark: str) -> bool:
    """Say whether the report in a folder was made from data with this fingerprint."""
    made = reports / MARK
    return made.is_file() and made.read_text("utf-8").strip() == mark


def _made_from() -> list[str]:
    return ["series.toml", *sorted(table.file for table in series_tables(()).values())]


def _place_of(series: str | Path | Series) -> Path:
    if isinstance(series, Series):
        return studio_folder() / "reports" / series.name
    return report_folder(series_folder(str(series)).resolve())


def _is_file(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _content(path: Path) -> bytes | None:
    return path.read_bytes() if path.exists() else None
