"""A series: its settings and tables, as one frozen object."""

import datetime as dt
import re
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from kit.errors import DataProblems, Misuse, Problem
from kit.series import datapackage, settings_file
from kit.series.cells import (
    csv_of,
    empty_frame,
    nearest,
    parse_table,
    with_every_column,
)
from kit.series.consistency import settings_problems, table_problems
from kit.series.disk import read_together
from kit.series.journal import Occasion, journal_files
from kit.series.journaled import write_journaled
from kit.series.patch_history import colours_in_stock
from kit.series.paths import checked_name, link_problems, series_folder
from kit.series.settings import Settings, as_html_table
from kit.series.tables import CORRECTIONS, MEASUREMENTS, SESSIONS, STRIPES, Table, series_tables
from kit.wording import counted


@dataclass(frozen=True, eq=False, repr=False)
class Series:
    """One planned set of test tiles with a question, from plan to report.

    Parameters
    ----------
    name : str
        Name of the folder.
    settings : Settings
    colours, tiles, patches, firings, grades : DataFrame
        Columns as in `kit.series.tables`.
    corrections, measurements, stripes, sessions : DataFrame
        Columns as in `kit.series.tables`.
    sources : mapping of str to bytes
        The files as they were read, by file name.
    earlier : tuple of Series
        Those that its settings learn from, without theirs.
    folder : Path or None
        Where it was read from.
    """

    name: str
    settings: Settings
    colours: pd.DataFrame
    tiles: pd.DataFrame
    patches: pd.DataFrame
    firings: pd.DataFrame
    grades: pd.DataFrame
    corrections: pd.DataFrame = field(default_factory=lambda: empty_frame(CORRECTIONS))
    measurements: pd.DataFrame = field(default_factory=lambda: empty_frame(MEASUREMENTS))
    stripes: pd.DataFrame = field(default_factory=lambda: empty_frame(STRIPES))
    sessions: pd.DataFrame = field(default_factory=lambda: empty_frame(SESSIONS))
    sources: Mapping[str, bytes] = field(default_factory=dict, repr=False)
    earlier: tuple["Series", ...] = ()
    folder: Path | None = None

    def __post_init__(self) -> None:
        """Give every table the columns that may be left out, blank."""
        for name, table in self.tables.items():
            object.__setattr__(self, name, with_every_column(table, getattr(self, name)))

    def __repr__(self) -> str:
        return f"Series({self.name!r}: {counts_in_words(self)})"

    def _repr_html_(self) -> str:
        """Show in Jupyter what the series asks and what it holds."""
        settings = self.settings
        graders = sorted(set(self.grades["grader"]))
        told = {
            "Folder": self.name,
            "Question": settings.question,
            "Begun": settings.started or "not said",
            "Goes on from": ", ".join(settings.follows) or "none",
            "Learns from": ", ".join(settings.learns_from) or "none",
            "Holds": counts_in_words(self),
            "Graded by": ", ".join(graders) or "nobody yet",
        }
        return as_html_table(settings.title, told)

    @property
    def stock(self) -> pd.DataFrame:
        """The colours that the series uses: all but those that its settings leave out."""
        return colours_in_stock(self.colours, self.settings)

    @property
    def to_fire(self) -> pd.DataFrame:
        """The colours in use whose jars are not empty."""
        gone = self.stock["colour"].isin(self.settings.used_up)
        return self.stock[~gone].reset_index(drop=True)

    @property
    def tables(self) -> dict[str, Table]:
        """Definitions of the tables, by name."""
        return series_tables(self.settings.scales)

    @property
    def frames(self) -> dict[str, pd.DataFrame]:
        """The data frames by table name."""
        return {name: getattr(self, name) for name in self.tables}

    def write(self, folder: Path | str, occasion: Occasion | None = None) -> Path:
        """Write the series to a folder, and into its journal what changes.

        What has not changed stays byte for byte. A folder of an older format is brought up to
        date, and its files are kept as they were in a folder beside them.

        Parameters
        ----------
        folder : Path
        occasion : Occasion, optional
            What happened, who did it and why, for the journal.

        Raises
        ------
        Misuse
            When the files there are not the ones this series was read from.
        DataProblems
            When the tables do not agree with each other. Nothing is written then.
        """
        folder = Path(folder)
        checked_name(folder.name)
        if problems := self.problems():
            raise DataProblems(problems)
        write_journaled(folder, self.sources, self.files(), occasion)
        return folder

    def problems(self) -> list[Problem]:
        """Find what the tables and settings contradict each other in."""
        frames = _as_rows(self.frames)
        return table_problems(self.tables, frames) + settings_problems(self.settings, frames)

    def files(self) -> dict[str, bytes]:
        """All files of the series as they would be written, by name."""
        tables = {n: t for n, t in self.tables.items() if self._is_written(t)}
        files = {settings_file.FILE: self._settings_bytes()}
        files |= {t.file: self._table_bytes(t) for t in tables.values()}
        held = {
            n: self.frames[n][_held(t, self.frames[n], files[t.file])] for n, t in tables.items()
        }
        package = datapackage.format_datapackage(self.name, self.settings, tables, held)
        return files | {datapackage.FILE: package}

    def _is_written(self, table: Table) -> bool:
        return (
            not table.optional or table.file in self.sources or len(getattr(self, table.name)) > 0
        )

    def _settings_bytes(self) -> bytes:
        source = self.sources.get(settings_file.FILE)
        if source is None:
            return settings_file.format_settings(self.settings)
        said = settings_file.parse_settings(source)[0]
        if said and replace(said, started=said.started or self.settings.started) == self.settings:
            return source
        return settings_file.amend_settings(source, self.settings)

    def _table_bytes(self, table: Table) -> bytes:
        frame = getattr(self, table.name)
        source = self.sources.get(table.file)
        if source is not None:
            as_read, _ = parse_table(table, source)
            if as_read is not None and as_read.reset_index(drop=True).equals(
                frame.reset_index(drop=True)
            ):
                return source
        return csv_of(frame)


def _held(table: Table, frame: pd.DataFrame, content: bytes) -> list[str]:
    """Columns that stand in a file: one from before a column was thought of goes without it."""
    heading = set(re.findall(r"\w+", content.split(b"\n", 1)[0].decode("utf-8", "replace")))
    known = {column.name for column in table.columns}
    return [name for name in frame.columns if name in heading or name not in known]


def counts_in_words(series: Series) -> str:
    """Say how much a series holds: '12 colours, 24 tiles, ...'."""
    names = ("colours", "tiles", "patches", "firings", "grades")
    return ", ".join(f"{len(getattr(series, n))} {n}" for n in names)


def new_series(name: str, settings: Settings, colours: pd.DataFrame) -> Series:
    """Start a series that has colours and nothing else yet; it is dated today unless it says."""
    settings = replace(settings, started=settings.started or dt.date.today())
    tables = series_tables(settings.scales)
    empty = {n: empty_frame(t) for n, t in tables.items() if n != "colours"}
    return Series(checked_name(name), settings, colours, **empty)


def read_series(series: Path | str) -> Series:
    """Read a series from its folder.

    Parameters
    ----------
    series : Path or str
        A folder; or, as text, the name of a series below data/ (`series_folder`).

    Raises
    ------
    Misuse
        When the folder is not there.
    DataProblems
        When anything in the files cannot be right; it lists every problem at once.
    """
    read, problems = examine(series_folder(series) if isinstance(series, str) else series)
    if read is None:
        raise DataProblems(problems)
    return read


def examine(folder: Path | str) -> tuple[Series | None, list[Problem]]:
    """Read a folder and collect its problems; the series is None when there are any.

    Raises
    ------
    Misuse
        When the folder is not there.
    """
    folder = Path(folder)
    sources, missing = _read_files(folder)
    return series_of(folder, sources, missing)


def series_of(
    folder: Path, sources: Mapping[str, bytes], missing: Sequence[Problem] = ()
) -> tuple[Series | None, list[Problem]]:
    """Make a series of the bytes of its files and collect their problems, as `examine` does.

    Parameters
    ----------
    folder : Path
        Where they lie or will lie.
    sources : mapping of str to bytes
    missing : sequence of Problem
        What is wrong with files that are not among them.
    """
    series, problems = _alone(folder, sources, missing)
    if series is None or not series.settings.learns_from:
        return series, problems
    earlier, problems = _earlier(series.settings.learns_from, folder.resolve())
    return (None, problems) if problems else (replace(series, earlier=tuple(earlier)), [])


def _earlier(names: Sequence[str], folder: Path) -> tuple[list[Series], list[Problem]]:
    """Read the series beside a folder that it learns from; theirs are not asked for."""
    found, problems = [], []
    for name in names:
        beside = folder.parent / name
        fix = "Put its name right, or take it out of learns_from."
        others = {p.parent.name for p in folder.parent.glob(f"*/{settings_file.FILE}")}
        if name == folder.name:
            wrong, fix = "A series cannot learn from itself.", "Take its own name out."
        elif name not in others:
            wrong = f"There is no series '{name}' beside this one."
            fix += nearest(name, others - {folder.name})
        else:
            series, own = _alone(beside, *_read_files(beside))
            if series is not None:
                found.append(series)
                continue
            wrong = f"'{name}' has {counted(len(own), 'problem')} of its own."
            fix = f"`kit check {name}` lists what to put right there."
        problems.append(Problem(settings_file.FILE, None, "learns_from", wrong, fix))
    return found, problems


def rounds_before(series: Series) -> tuple[Series, ...]:
    """Read the series that one goes on from, and what those go on from, the earliest first.

    What is no longer beside it, or has problems of its own, is left out.
    """
    found: dict[str, Series] = {}
    met = {series.name}

    def read(names: Sequence[str], beside: Path) -> None:
        for name in names:
            if name in met or Path(name).name != name:
                continue
            met.add(name)
            there = beside / name
            one = _alone(there, *_read_files(there))[0] if there.is_dir() else None
            if one is not None:
                read(one.settings.follows, beside)
                found[name] = one

    if series.folder is not None:
        read(series.settings.follows, series.folder.parent)
    return tuple(found.values())


def _alone(
    folder: Path, sources: Mapping[str, bytes], missing: Sequence[Problem] = ()
) -> tuple[Series | None, list[Problem]]:
    """As `series_of`, without what it learns from."""
    problems = list(missing)
    settings, found = settings_file.parse_settings(sources.get(settings_file.FILE, b""))
    if settings_file.FILE in sources:
        problems += found
    tables = series_tables(settings.scales) if settings else series_tables(())
    parsed = {}
    for name, table in tables.items():
        if table.optional and table.file not in sources:
            parsed[name] = empty_frame(table)
            continue
        parsed[name], found = parse_table(table, sources.get(table.file, b""))
        if table.file in sources:
            problems += found
    unreadable = [name for name, frame in parsed.items() if frame is None]
    frames = {n: empty_frame(tables[n]) if f is None else f for n, f in parsed.items()}
    problems += table_problems(tables, frames, unreadable)
    if settings:
        problems += settings_problems(settings, frames, unreadable)
    if problems or settings is None:
        return None, _in_order(problems)
    settings = _dated(settings, folder)
    bare = {name: frame.reset_index(drop=True) for name, frame in frames.items()}
    place = folder.resolve()
    return Series(place.name, settings, **bare, sources=dict(sources), folder=place), []


def _dated(settings: Settings, folder: Path) -> Settings:
    """Date a series that says no day by the oldest of its files."""
    if settings.started:
        return settings
    files = folder.iterdir() if folder.is_dir() else ()
    oldest = min((path.stat().st_mtime for path in files if path.is_file()), default=time.time())
    return replace(settings, started=dt.date.fromtimestamp(oldest))


def files_of(folder: Path) -> dict[str, bytes]:
    """Read the files of a series as they stood at one moment; those that are not there lack.

    Raises
    ------
    Misuse
        When the folder is not there.
    """
    if not folder.is_dir():
        others = [path.parent.name for path in folder.parent.glob(f"*/{settings_file.FILE}")]
        meant = nearest(folder.name, others)
        raise Misuse(f"There is no series at {folder}.{meant} `kit new NAME` starts one.")
    return read_together(folder, _file_names())


def _file_names() -> list[str]:
    tables = series_tables(()).values()
    return [settings_file.FILE, *(table.file for table in tables), datapackage.FILE]


def _read_files(folder: Path) -> tuple[dict[str, bytes], list[Problem]]:
    tables = series_tables(()).values()
    names = _file_names()
    sources = files_of(folder)
    problems = link_problems(folder)
    may_lack = {datapackage.FILE, *(t.file for t in tables if t.optional)}
    links = {problem.file for problem in problems}
    fix = (
        f"`kit restore {folder.resolve().name}` puts it back."
        if journal_files(folder)
        else "Put it back from your last copy; an empty one would lose what it held."
    )
    problems += [
        Problem(name, None, "", "The file is missing.", fix)
        for name in names
        if name not in sources and name not in may_lack | links
    ]
    return sources, problems


def _as_rows(frames: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Number rows as a spreadsheet would show them."""
    return {n: f.set_axis(range(2, len(f) + 2), axis="index") for n, f in frames.items()}


def _in_order(problems: list[Problem]) -> list[Problem]:
    order = [settings_file.FILE, *(table.file for table in series_tables(()).values())]
    place = {file: i for i, file in enumerate(order)}
    return sorted(problems, key=lambda p: (place.get(p.file, len(place)), p.row or 0))
