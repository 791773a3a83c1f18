"""A CSV file that somebody filled in, to a grid."""

from kit.errors import Problem
from kit.record.grid import (
    KINDS,
    Grid,
    GridCell,
    column_of,
    columns_of,
    kind_of,
    missing_columns,
)
from kit.series import Scale, read_records


def read_csv(
    name: str, content: bytes, scales: tuple[Scale, ...]
) -> tuple[list[Grid], list[Problem]]:
    """Read the bytes of a CSV file of grades, firings or accidents.

    Parameters
    ----------
    name : str
        Of the file, for the problems.
    content : bytes
    scales : tuple of Scale
        Of the series.

    Returns
    -------
    list of Grid
        One, or none when the file cannot be used.
    list of Problem
    """
    known = sorted({c for kind in KINDS for c in columns_of(kind, scales)})
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
    return [Grid(kind, name, rows, ignored=ignored, missing=missing)], []
