"""A filled-in table, wherever it came from: what its headings are about, and CSV read as one."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, get_args

from kit.errors import Problem
from kit.series import Scale, below_headings, heading_of, read_records

Kind = Literal["grades", "firings", "accidents"]
KINDS: tuple[Kind, ...] = get_args(Kind)

TILE_OR_PATCH = "tile_or_patch"
WHAT_HAPPENED = "what_happened"
PLANNED_SESSION = "planned_session"

WHO, WHICH = "Who grades", "Series"
"""What stands above the headings, beside the name of the grader and of the series."""


@dataclass(frozen=True)
class GridCell:
    """What somebody typed, as text, and where.

    Parameters
    ----------
    text : str
        Blank for an empty cell.
    file : str
        File, and sheet and cell of a workbook.
    row : int or None
        Row of a CSV file.
    wrong, fix : str
        Why the cell cannot be read, and what would be right; blank for a good cell.
    """

    text: str
    file: str
    row: int | None = None
    wrong: str = ""
    fix: str = ""

    @property
    def place(self) -> str:
        return self.file if self.row is None else f"{self.file}, row {self.row}"

    def problem(self, column: str, wrong: str, fix: str) -> Problem:
        return Problem(self.file, self.row, column, wrong, fix)


@dataclass(frozen=True)
class Grid:
    """A table with headings, on its way in.

    Parameters
    ----------
    kind : {'grades', 'firings', 'accidents'}
    place : str
        File, and sheet of a workbook.
    rows : tuple of dict
        Column name to cell; only columns of the kind, none of them blank in the whole row.
    grader : GridCell or None
        Name that stands for the whole grid.
    ignored : tuple of str
        What was left aside, in words.
    missing : tuple of str
        What the table could hold and does not, in words.
    doubts : tuple of str
        What was read though it may not be meant, in words.
    """

    kind: Kind
    place: str
    rows: tuple[Mapping[str, GridCell], ...]
    grader: GridCell | None = None
    ignored: tuple[str, ...] = field(default=())
    missing: tuple[str, ...] = field(default=())
    doubts: tuple[str, ...] = field(default=())


def kind_of(headings: Sequence[str], scales: Sequence[Scale]) -> Kind | None:
    """Tell from its headings what a table holds; None when it is none of the kit's."""
    has = {column_of(heading, scales) for heading in headings}
    if {"patch", "firing"} <= has and has & {scale.name for scale in scales}:
        return "grades"
    if {TILE_OR_PATCH, WHAT_HAPPENED} <= has:
        return "accidents"
    if {"tile", "firing"} <= has and has & {"minutes", "heat", "accident"}:
        return "firings"
    return None


def columns_of(kind: Kind, scales: Sequence[Scale]) -> tuple[str, ...]:
    """Name the columns that are read from a kind of table."""
    if kind == "grades":
        return ("patch", "firing", "grader", *(scale.name for scale in scales), "note")
    if kind == "firings":
        return (
            "tile", "firing", "session", PLANNED_SESSION, "minutes", "heat", "accident", "note",
        )  # fmt: skip
    return (TILE_OR_PATCH, "firing", WHAT_HAPPENED)


def missing_columns(
    place: str, kind: Kind, present: Collection[str], scales: Sequence[Scale]
) -> tuple[str, ...]:
    """Say which columns for what was seen a table lacks, so that a deleted one is noticed."""
    told = {scale.name: heading_for(scale, scales) for scale in scales}
    if kind == "firings":
        told = {"minutes": "Minutes", "heat": "Heat"}
    return tuple(
        f"{place} has no column '{heading}': nothing was taken from it. Was it deleted by mistake?"
        for name, heading in told.items()
        if kind != "accidents" and name not in present
    )


def column_of(heading: str, scales: Sequence[Scale]) -> str:
    """Bring a heading as shown to the column's name: a scale's title, or words for the name.

    A remark in brackets after the words is no part of the name.
    """
    whole, short = heading_of(heading), heading_of(heading.split("(")[0])
    titles = {heading_of(heading_for(scale, scales)): scale.name for scale in scales}
    names = {scale.name for scale in scales}
    return titles.get(whole) or (whole if whole in names else short)


def heading_for(scale: Scale, scales: Sequence[Scale]) -> str:
    """Head a scale's column by its title, or by its name where the title would be mistaken."""
    shown = heading_of(scale.title)
    others = {heading_of(other.title) for other in scales if other is not scale}
    others |= {other.name for other in scales if other is not scale} | _OTHER_HEADINGS
    return scale.name if shown in others else scale.title


_OTHER_HEADINGS = frozenset(("patch", "firing", "grader", "note", "base", "overlay", "position"))


def read_csv(
    name: str, content: bytes, series: str, scales: tuple[Scale, ...]
) -> tuple[list[Grid], list[Problem]]:
    """Read the bytes of a CSV file of grades, firings or accidents.

    Parameters
    ----------
    name : str
        Of the file, for the problems.
    content : bytes
        A table, or a sheet of the workbook saved as CSV with what stands above its headings.
    series : str
        Name of the series it must belong to, if it names one.
    scales : tuple of Scale
        Of the series.

    Returns
    -------
    list of Grid
        One, or none when the file cannot be used.
    list of Problem
    """
    known = sorted({c for kind in KINDS for c in columns_of(kind, scales)})
    content, above = below_headings(content, lambda cells: kind_of(cells, scales) is not None)
    of = beside(above, WHICH)
    if of not in ("", series):
        wrong = f"This sheet belongs to the series '{of}', not to '{series}'."
        return [], [Problem(name, None, "", wrong, "Take it in there.")]
    records, problems = read_records(name, content, known)
    if records is None or problems:
        return [], problems
    kind = kind_of(records.headings, scales)
    if kind is None:
        titles = ", ".join(scale.name for scale in scales)
        wrong = "Its first row names none of the tables that can be taken in."
        fix = f"For grades it must read: patch, firing, grader, {titles}, note."
        return [], [Problem(name, 1, "", wrong, fix)]
    headings = [column_of(heading, scales) for heading in records.headings]
    wanted = columns_of(kind, scales)
    twice = sorted({h for h in headings if h in wanted and headings.count(h) > 1})
    if twice:
        fix = "Rename or delete one."
        return [], [Problem(name, 1, h, "This heading stands twice.", fix) for h in twice]
    rows = tuple(
        {
            heading: GridCell(cell, name, number)
            for heading, cell in zip(headings, cells, strict=True)
            if cell and heading in wanted
        }
        for number, cells in records.rows
    )
    ignored = tuple(
        f"{name}: the column '{heading}' is not one that is taken in."
        for heading in headings
        if heading not in wanted
    )
    missing = missing_columns(name, kind, headings, scales)
    who = beside(above, WHO)
    grader = GridCell(who, f"{name}, beside '{WHO}'") if who else None
    return [Grid(kind, name, rows, grader, ignored, missing)], []


def beside(above: Sequence[Sequence[str]], label: str) -> str:
    """Find what stands to the right of a label above the headings; blank if nothing does."""
    for cells in above:
        for n, cell in enumerate(cells):
            if heading_of(cell.rstrip(" :?")) == heading_of(label):
                return next((other.strip() for other in cells[n + 1 :] if other.strip()), "")
    return ""
