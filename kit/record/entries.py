"""One thing that a person entered: a value for one cell of one table, and where it was typed."""

from dataclasses import dataclass
from typing import Literal

from kit.errors import Problem

Value = str | int | float | None
TableName = Literal["grades", "firings", "patches"]


@dataclass(frozen=True)
class Entry:
    """A value for one cell of a series.

    Parameters
    ----------
    table : {'grades', 'firings', 'patches'}
    key : tuple
        The row: (patch, firing, grader), (tile, firing) or (patch,).
    column : str
    value : str, int, float or None
        None takes back what stands there.
    place : str
        Where it was typed, in words.
    """

    table: TableName
    key: tuple[str | int, ...]
    column: str
    value: Value
    place: str

    @property
    def cell(self) -> tuple[str, tuple[str | int, ...], str]:
        """What it is a value for."""
        return self.table, self.key, self.column

    @property
    def row_in_words(self) -> str:
        """The row that it belongs to, as one says it."""
        if self.table == "grades":
            patch, firing, grader = self.key
            return f"patch {patch} after firing {firing} by {grader}"
        if self.table == "firings":
            tile, firing = self.key
            return f"tile {tile}, firing {firing}"
        return f"patch {self.key[0]}"


@dataclass(frozen=True)
class Change:
    """An entry that differs from what the series has.

    Parameters
    ----------
    entry : Entry
    was : str, int, float or None
    """

    entry: Entry
    was: Value


@dataclass(frozen=True)
class Entered:
    """All that one file says.

    Parameters
    ----------
    entries : tuple of Entry
    sessions : dict of (int, int) to int
        Session that the file plans for (tile, firing), for firings that turn out to be new.
    problems : tuple of Problem
    ignored : tuple of str
        What was left aside, in words.
    missing : tuple of str
        Columns and sheets that are not there, in words.
    doubts : tuple of str
        What was read though it may not be meant, in words.
    """

    entries: tuple[Entry, ...]
    sessions: dict[tuple[int, int], int]
    problems: tuple[Problem, ...]
    ignored: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


def in_text(value: Value) -> str:
    """Write a value the way a table shows it; blank for None."""
    if value is None:
        return ""
    if isinstance(value, float):
        return str(int(value)) if value == int(value) else repr(value)
    return str(value)
