"""Taking a file in: first what it would do, in words, then doing it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from kit.errors import DataProblems, Misuse, Problem
from kit.record.comparison import Comparison, compare, enter, laid_over
from kit.record.entries import Change, Entered, Entry, in_text
from kit.record.grid import read_csv
from kit.record.lost_patches import grades_of_lost_pieces
from kit.record.matching import entries_of
from kit.record.past_events import RECEIVED, handed_in_before, kept_name, last_events, undoing
from kit.record.plausibility import second_thoughts
from kit.record.workbook_in import read_workbook
from kit.series import (
    ACCIDENTS,
    MOST_BYTES,
    Event,
    RowName,
    Series,
    inside,
    read_journal,
    read_series,
    write_whole,
    writing,
)
from kit.wording import counted


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
    return _read(series, path.name, _content(path), {})


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
    entered = _read(series, path.name, content, last_events(folder))
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


def _read(series: Series, name: str, content: bytes, past: Mapping[RowName, Event]) -> Entered:
    scales = series.settings.scales
    if name.lower().endswith((".csv", ".txt", ".tsv")):
        grids, problems = read_csv(name, content, series.name, scales)
        missing: list[str] = []
    else:
        grids, problems, missing = read_workbook(name, content, series.name, scales)
    parts = [entries_of(grid, series, past) for grid in grids]
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


_SHOWN = 40
_OF_A_FIRING = {"session": "session", "minutes": "minutes", "heat": "heat", "note": "notes"}


def describe(
    comparison: Comparison, problems: Sequence[Problem], ignored: Sequence[str] = ()
) -> str:
    """Say what is new, what changes an earlier entry, what is wrong and what was left aside."""
    lines: list[str] = []
    if problems:
        lines += [f"WRONG ({len(problems)}): nothing is taken in until this is mended."]
        lines += _shortened([str(problem) for problem in problems])
    lines += [f"NEW: {_new_in_words(comparison.new)}."]
    noted = {entry.key for entry in comparison.new if entry.table == "firings"}
    implied = [entry for entry in comparison.implied if entry.key not in noted]
    if implied:
        lines += [f"  {_implied_in_words(implied)}"]
    if comparison.changed:
        lines += [
            f"CHANGED ({len(comparison.changed)}): what stood there is kept in corrections.csv."
        ]
        lines += _shortened(
            [
                f"{c.entry.row_in_words}: {c.entry.column} was {in_text(c.was)}, "
                f"becomes {in_text(c.entry.value) or 'blank'} ({c.entry.place})"
                for c in comparison.changed
            ]
        )
    if comparison.same:
        lines += [f"SAME: {counted(comparison.same, 'entry', 'entries')} on record already."]
    if ignored:
        lines += ["LEFT ASIDE (the file itself is kept as it came):", *_shortened(ignored)]
    return "\n".join(lines)


def before_in_words(before: str, held_back: Sequence[Change]) -> list[str]:
    """Say that the same file came before, and which later corrections it would undo."""
    if not before:
        return []
    lines = [f"BEFORE: this very file was handed in before (as received/{before})."]
    if held_back:
        count = counted(len(held_back), "later correction", "later corrections")
        lines += [f"  Taking it in now would undo {count}, so these stay as they stand:"]
        lines += _shortened(
            [
                f"{c.entry.row_in_words}: {c.entry.column} stays {in_text(c.was) or 'blank'}; this "
                f"file says {in_text(c.entry.value)} ({c.entry.place})"
                for c in held_back
            ]
        )
        lines += ["  To go back to an earlier grade, type it into a newer file and hand that in."]
    return lines


def notices(
    missing: Sequence[str], of_lost_pieces: Sequence[str], comparison: Comparison
) -> list[str]:
    """Say what may be an oversight: none of it stands in the way of taking the file in."""
    lines: list[str] = []
    if missing:
        lines += ["MISSING from the file:", *_shortened(missing)]
    if of_lost_pieces:
        lines += [
            "KEPT, BUT LEFT OUT by the models, for nothing can be learnt from a lost piece:",
            *_shortened(of_lost_pieces),
        ]
    entries = (*comparison.new, *(c.entry for c in comparison.changed))
    words = dict.fromkeys(str(e.value) for e in entries if e.column == "accident")
    if own := [f"'{word}'" for word in words if word not in ACCIDENTS]:
        lines += [
            f"YOUR OWN WORDS for an accident are kept: {', '.join(own)}. The usual ones, which "
            f"are counted together, are: {', '.join(ACCIDENTS)}."
        ]
    return lines


def doubts_in_words(doubts: Sequence[str]) -> list[str]:
    """Ask about what may be a mistake."""
    return ["PLEASE LOOK AGAIN before this is written:", *_shortened(doubts)] if doubts else []


def _new_in_words(new: Sequence[Entry]) -> str:
    if not new:
        return "nothing"
    grades = {e.key for e in new if e.table == "grades"}
    firings = {e.key for e in new if e.table == "firings" and e.column != "accident"}
    accidents = {e.key for e in new if e.column in ("accident", "lost_at")}
    parts = []
    if grades:
        patches = len({key[0] for key in grades})
        by = ", ".join(sorted({str(key[2]) for key in grades}))
        parts.append(f"grades for {counted(patches, 'patch', 'patches')} by {by}")
    if firings:
        parts.append(f"{_noted(new)} of {counted(len(firings), 'firing', 'firings')}")
    if accidents:
        parts.append(counted(len(accidents), "accident", "accidents"))
    return f"{', '.join(parts)} ({counted(len(new), 'cell', 'cells')} in all)"


def _noted(new: Sequence[Entry]) -> str:
    columns = {e.column for e in new if e.table == "firings"}
    words = [word for column, word in _OF_A_FIRING.items() if column in columns]
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def _implied_in_words(implied: Sequence[Entry]) -> str:
    tiles = len({e.key[0] for e in implied})
    return (
        f"{counted(len(implied), 'firing', 'firings')} of {counted(tiles, 'tile', 'tiles')} will "
        "be put on record too, because something was entered that came after."
    )


def _shortened(lines: Sequence[str]) -> list[str]:
    shown = [f"  {line}" for line in lines[:_SHOWN]]
    return shown + ([f"  ... and {len(lines) - _SHOWN} more"] if len(lines) > _SHOWN else [])
