"""A CSV file that somebody filled in, to a grid."""

from collections.abc import Sequence

from kit.errors import Problem
from kit.record.grid import (
    KINDS,
    WHICH,
    WHO,
    Grid,
    GridCell,
    column_of,
    columns_of,
    kind_of,
    missing_columns,
)
from kit.series import Scale, below_headings, heading_of, read_records


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
