"""A change to the rows of a series that is shown first, then written whole or not at all."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from kit.errors import DataProblems, Problem
from kit.series import (
    SETTINGS,
    Cells,
    Occasion,
    RowChange,
    RowName,
    Rows,
    Series,
    apply_changes,
    changes_between,
    files_of,
    files_with_rows,
    read_series,
    row_key,
    rows_of_files,
    series_of,
    series_tables,
    write_journaled,
)
from kit.wording import counted, listed

_SHOWN = 12
_PACKAGE = "datapackage.json"


@dataclass(frozen=True)
class Amendment:
    """What would change in a series. Nothing has been written yet.

    Parameters
    ----------
    folder : Path
        Of the series.
    seen : dict of str to bytes
        The files that it was worked out from.
    changes : tuple of RowChange
    occasion : Occasion
    remarks : tuple of str
        What else the person should know, in words.
    by_hand : tuple of str
        Tables whose changes by hand are taken into the journal before.
    settled : tuple of RowChange
        From each value that was turned down to the one that was chosen, for the journal even where
        the tables say so already.
    """

    folder: Path
    seen: dict[str, bytes]
    changes: tuple[RowChange, ...]
    occasion: Occasion
    remarks: tuple[str, ...] = ()
    by_hand: tuple[str, ...] = ("colours", SETTINGS)
    settled: tuple[RowChange, ...] = ()

    def describe(self) -> str:
        """Say row by row what would change."""
        if not self.changes:
            return "\n".join(["Nothing would change.", *self.remarks])
        return "\n".join([*changes_in_words(self.changes), *self.remarks])

    def outcome(self) -> tuple[dict[str, bytes], list[Problem]]:
        """The files that would differ, as they would be, and what would be wrong then."""
        rows = rows_of_files(self.seen)
        apply_changes(rows, self.changes)
        files = files_with_rows(self.seen, rows, {change.table for change in self.changes})
        series, problems = series_of(self.folder, {**self.seen, **files})
        if series is not None:
            files = {**files, _PACKAGE: series.files()[_PACKAGE]}
        return files, problems

    def write(self, *, even_with_problems: bool = False) -> Series | None:
        """Write what was shown.

        Returns
        -------
        Series or None
            As it is on disk afterwards; None when it still has problems.

        Raises
        ------
        DataProblems
            When the series could not be so. Nothing is written then.
        ChangedMeanwhile
            When the files are no longer the ones that were seen.
        """
        files, problems = self.outcome()
        if problems and not even_with_problems:
            raise DataProblems(problems)
        if self.changes or self.settled:
            write_journaled(
                self.folder, self.seen, files, self.occasion, self.by_hand, self.settled
            )
        return None if problems else read_series(self.folder)


def amendment(
    folder: Path,
    changes: Iterable[RowChange],
    occasion: Occasion,
    remarks: Sequence[str] = (),
) -> Amendment:
    """Prepare changes to a series as it is on disk."""
    return Amendment(folder, files_of(folder), tuple(changes), occasion, tuple(remarks))


def amended(rows: Rows, changed: dict[RowName, Cells | None]) -> list[RowChange]:
    """List the changes that give some rows other cells, or none at all when None."""
    after = {name: dict(cells) for name, cells in rows.items()}
    for name, cells in changed.items():
        if cells is None:
            after.pop(name, None)
        else:
            after[name] = {**after.get(name, {}), **cells}
    for cells in after.values():
        for column in [c for c, value in cells.items() if value == ""]:
            del cells[column]
    return changes_between(rows, after)


def changes_in_words(changes: Sequence[RowChange], shown: int = _SHOWN) -> list[str]:
    """Say what happens to rows: what goes, what comes, what differs."""
    lines = []
    for table in dict.fromkeys(change.table for change in changes):
        own = [change for change in changes if change.table == table]
        gone = [c for c in own if c.now is None]
        come = [c for c in own if c.was is None and c.now is not None]
        differ = [c for c in own if c.was is not None and c.now is not None]
        if table == SETTINGS:
            lines.append("series.toml: its text changes.")
            continue
        for what, some in (("taken out", gone), ("put in", come)):
            if some:
                rows = listed([row_in_words(c) for c in some[:shown]])
                more = f" and {len(some) - shown} more" if len(some) > shown else ""
                lines.append(f"{table}.csv: {counted(len(some), 'row')} {what}: {rows}{more}.")
        lines += [f"{table}.csv: {difference_in_words(c)}." for c in differ[:shown]]
        if len(differ) > shown:
            lines.append(f"{table}.csv: and {counted(len(differ) - shown, 'more row')}.")
    return lines


def row_in_words(change: RowChange) -> str:
    """Name a row as one says it: 'patch T3-2 after firing 1 by Ada'."""
    named = dict(zip(row_key(series_tables(())[change.table]), change.key, strict=False))
    said = {"patch": "patch {}", "tile": "tile {}", "firing": "firing {}", "grader": "by {}"}
    if change.table == "grades":
        said["firing"] = "after firing {}"
    if change.table == "corrections":
        return f"correction of {named['patch'] or named['tile']}, {named['column']}"
    return " ".join(said.get(n, f"{n} {{}}").format(value) for n, value in named.items())


def difference_in_words(change: RowChange) -> str:
    """Say what differs in a row: 'patch T3-2: overlay Ferry Blue becomes Lamp Yellow'."""
    was, now = change.was or {}, change.now or {}
    cells = [
        f"{column} {was.get(column) or 'blank'} becomes {now.get(column) or 'blank'}"
        for column in dict.fromkeys((*was, *now))
    ]
    return f"{row_in_words(change)}: {', '.join(cells)}"
