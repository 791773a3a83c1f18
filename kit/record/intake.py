"""Taking a file in: first what it would do, then doing it."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from kit.errors import DataProblems, Misuse, Problem
from kit.record.comparison import Comparison, compare, enter, laid_over
from kit.record.csv_in import read_csv
from kit.record.entries import Change, Entered, Entry
from kit.record.intake_words import before_in_words, describe, doubts_in_words, notices
from kit.record.lost_patches import grades_of_lost_pieces
from kit.record.matching import entries_of
from kit.record.plausibility import second_thoughts
from kit.record.received import RECEIVED, handed_in_before, kept_name, undoing
from kit.record.workbook_in import read_workbook
from kit.series import (
    MOST_BYTES,
    Series,
    inside,
    read_journal,
    read_series,
    write_whole,
    writing,
)


@dataclass(frozen=True)
class Intake:
    """What taking a file in would do to a series. Nothing has been written yet.

    Parameters
    ----------
    folder : Path
        Of the series.
    source : str
        Name under which the file will be kept in received/.
    by : str
        Who hands it in.
    content : bytes
        The file as it came.
    entries : tuple of Entry
        All that it says.
    comparison : Comparison
        What of that is new, changed and the same already.
    problems : tuple of Problem
        What is wrong with it; nothing is taken in while there are any.
    ignored : tuple of str
        What was left aside, in words.
    missing : tuple of str
        Columns and sheets that the file could have had and has not, in words.
    of_lost_pieces : tuple of str
        Grades that are kept but that the models leave out, and why, in words.
    before : str
        Name in received/ under which the very same file was taken in before; blank if it was not.
    held_back : tuple of Change
        What of such a file would undo a later correction. It is not among the entries.
    doubts : tuple of str
        What may be a mistake, each as a question. A person should answer before it is written.
    """

    folder: Path
    source: str
    by: str
    content: bytes
    entries: tuple[Entry, ...]
    comparison: Comparison
    problems: tuple[Problem, ...]
    ignored: tuple[str, ...]
    missing: tuple[str, ...] = ()
    of_lost_pieces: tuple[str, ...] = ()
    before: str = ""
    held_back: tuple[Change, ...] = ()
    doubts: tuple[str, ...] = ()

    @property
    def adds_nothing(self) -> bool:
        """Whether everything in the file is on record already."""
        return not (self.comparison.new or self.comparison.changed or self.problems)

    def describe(self) -> str:
        """Say what is new, what changes and what is wrong."""
        return "\n".join(
            [
                *before_in_words(self.before, self.held_back),
                describe(self.comparison, self.problems, self.ignored),
                *notices(self.missing, self.of_lost_pieces, self.comparison),
                *doubts_in_words(self.doubts),
            ]
        )


def read_file(series: Series, path: Path | str) -> Entered:
    """Read a workbook or CSV that somebody filled in.

    Parameters
    ----------
    series : Series
        That it was filled in for.
    path : Path

    Raises
    ------
    Misuse
        When the file is not there or is too large to have been typed by a person.
    """
    path = Path(path)
    return _read(series, path.name, _content(path))


def take_in(folder: Path | str, path: Path | str, by: str) -> Intake:
    """Work out what taking a file into a series would do. `apply` then does it.

    Parameters
    ----------
    folder : Path
        Of the series.
    path : Path
        A workbook (.xlsx) or CSV.
    by : str
        Who hands it in.

    Raises
    ------
    Misuse
        When the file is not there, or `by` is blank.
    DataProblems
        When the series itself has problems. Those of the file are in the result.
    """
    folder, path = Path(folder), Path(path)
    if not by.strip():
        raise Misuse("Say who hands the file in.")
    content = _content(path)
    series = read_series(folder)
    entered = _read(series, path.name, content)
    before = handed_in_before(folder, content)
    held_back = undoing(series, entered.entries, read_journal(folder)) if before else ()
    undone = {change.entry.cell for change in held_back}
    entries = tuple(entry for entry in entered.entries if entry.cell not in undone)
    comparison = compare(series, entries, entered.sessions)
    source = before or kept_name(path.name, content)
    problems = entered.problems
    of_lost_pieces: tuple[str, ...] = ()
    doubts = entered.doubts
    if not problems:
        doubts += second_thoughts(series, _what_is_new(comparison))
        after = laid_over(series, comparison, by.strip(), source)
        problems, of_lost_pieces = tuple(after.problems()), grades_of_lost_pieces(series, after)
    return Intake(
        folder,
        source,
        by.strip(),
        content,
        entries,
        comparison,
        problems,
        entered.ignored,
        entered.missing,
        of_lost_pieces,
        before,
        held_back,
        doubts,
    )


def apply(intake: Intake) -> Series:
    """Do what the intake says, and keep the file as it came.

    Returns
    -------
    Series
        As it is on disk afterwards.

    Raises
    ------
    DataProblems
        When the file has problems. Nothing is written then.
    ChangedMeanwhile
        When somebody else entered something different for the same cells meanwhile.
    """
    if intake.problems:
        raise DataProblems(intake.problems)
    if intake.adds_nothing:
        return read_series(intake.folder)
    kept = inside(intake.folder, RECEIVED, intake.source)
    with writing(intake.folder):
        kept.parent.mkdir(exist_ok=True)
        if not kept.exists():
            write_whole(kept, intake.content)
    return enter(intake.folder, intake.entries, intake.by, intake.source, intake.comparison)


def _read(series: Series, name: str, content: bytes) -> Entered:
    scales = series.settings.scales
    if name.lower().endswith((".csv", ".txt", ".tsv")):
        grids, problems = read_csv(name, content, series.name, scales)
        missing: list[str] = []
    else:
        grids, problems, missing = read_workbook(name, content, series.name, scales)
    parts = [entries_of(grid, series) for grid in grids]
    entries, contradictions = _once_each(e for part in parts for e in part.entries)
    return Entered(
        entries,
        {key: session for part in parts for key, session in part.sessions.items()},
        (*problems, *(p for part in parts for p in part.problems), *contradictions),
        tuple(said for part in parts for said in part.ignored),
        (*missing, *(said for part in parts for said in part.missing)),
        tuple(said for part in parts for said in part.doubts),
    )


def _what_is_new(comparison: Comparison) -> list[Entry]:
    return [*comparison.new, *(change.entry for change in comparison.changed)]


def _once_each(entries: Iterable[Entry]) -> tuple[tuple[Entry, ...], list[Problem]]:
    """Drop what is said twice alike; what is said twice differently is a problem."""
    first: dict[object, Entry] = {}
    problems = []
    for entry in entries:
        earlier = first.setdefault(entry.cell, entry)
        if earlier.value != entry.value:
            wrong = (
                f"{entry.row_in_words} is {entry.value} here and {earlier.value} in "
                f"{earlier.place}."
            )
            fix = "Decide which it is, and delete the other."
            problems.append(Problem(entry.place, None, entry.column, wrong, fix))
    return tuple(first.values()), problems


def _content(path: Path) -> bytes:
    if not path.is_file():
        raise Misuse(f"There is no file {path}.")
    if path.stat().st_size > MOST_BYTES:
        raise Misuse(f"{path} is larger than anybody can have typed. Is it the right file?")
    try:
        return path.read_bytes()
    except OSError as cannot:
        raise Misuse(f"{path} cannot be read: {cannot.strerror}.") from cannot
