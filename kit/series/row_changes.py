"""The rows of a series' tables as text, and what changes between them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from kit.series import settings_file
from kit.series.cells import cell_text, parse_table
from kit.series.csv_text import write_records
from kit.series.tables import CORRECTIONS, Table, series_tables

SETTINGS = "settings"
"""The table that series.toml counts as: one row, whose one cell is the text."""

RowName = tuple[str, tuple[str, ...]]
Cells = dict[str, str]
Rows = dict[RowName, Cells]
"""Rows of all tables as text, by table and key; blank cells are left out."""


@dataclass(frozen=True)
class RowChange:
    """What happened to one row.

    Parameters
    ----------
    table : str
    key : tuple of str
    was, now : dict of str to str, or None
        The cells that changed, before and after; None where there was no such row.
    """

    table: str
    key: tuple[str, ...]
    was: Cells | None
    now: Cells | None

    @property
    def row(self) -> RowName:
        return self.table, self.key

    def turned_back(self) -> "RowChange":
        """Return the change that takes this one back."""
        return RowChange(self.table, self.key, self.now, self.was)


def rows_of_files(files: Mapping[str, bytes]) -> Rows:
    """Read the bytes of a series' files as rows of text; what cannot be read is left out."""
    rows: Rows = {}
    text = files.get(settings_file.FILE)
    settings = settings_file.parse_settings(text)[0] if text is not None else None
    if text is not None:
        rows[SETTINGS, (SETTINGS,)] = {"text": text.decode("utf-8", "replace")}
    for name, table in series_tables(settings.scales if settings else ()).items():
        frame = parse_table(table, files[table.file])[0] if table.file in files else None
        if frame is None:
            continue
        own = row_key(table)
        columns = [[cell_text(value) for value in frame[c].tolist()] for c in frame.columns]
        for values in zip(*columns, strict=True):
            cells = dict(zip(frame.columns, values, strict=True))
            key = tuple(cells[k] for k in own)
            apart = {*own, *table.key}
            rows[name, key] = {c: v for c, v in cells.items() if v != "" and c not in apart}
    return rows


def row_key(table: Table) -> tuple[str, ...]:
    """Columns that name a row in the journal.

    Corrections are only numbered, and two machines give the same number to different ones; so they
    go by what was corrected and when, and are numbered anew when they are written.
    """
    if table.name == CORRECTIONS.name:
        return ("at", "table", "tile", "patch", "firing", "grader", "column")
    return table.key


def is_readable(name: str, files: Mapping[str, bytes]) -> bool:
    """Whether the file of a table is there and has the headings of the table."""
    settings = settings_file.parse_settings(files.get(settings_file.FILE, b""))[0]
    table = series_tables(settings.scales if settings else ())[name]
    return table.file in files and parse_table(table, files[table.file])[0] is not None


def files_with_rows(
    files: Mapping[str, bytes], rows: Rows, tables: Iterable[str]
) -> dict[str, bytes]:
    """Write some tables anew with the rows given, in the columns that their files have.

    Parameters
    ----------
    files : mapping of str to bytes
        As they are; a file that is not there gets the columns of its table.
    rows : Rows
    tables : iterable of str
        Names of the tables to write; `SETTINGS` for series.toml.

    Returns
    -------
    dict of str to bytes
    """
    written: dict[str, bytes] = {}
    text = rows.get((SETTINGS, (SETTINGS,)), {}).get("text", "").encode()
    if SETTINGS in tables and text:
        written[settings_file.FILE] = text
    settings = settings_file.parse_settings(text or files.get(settings_file.FILE, b""))[0]
    known = series_tables(settings.scales if settings else ())
    for name in set(tables) & set(known):
        table = known[name]
        own = {key: cells for (of, key), cells in rows.items() if of == name}
        frame = parse_table(table, files[table.file])[0] if table.file in files else None
        columns = [c.name for c in table.columns]
        columns += [c for c in (() if frame is None else frame.columns) if c not in columns]
        columns += [c for cells in own.values() for c in cells if c not in columns]
        columns = list(dict.fromkeys(columns))
        lines = []
        if name == CORRECTIONS.name:
            own = dict(sorted(own.items()))
        for number, (key, cells) in enumerate(own.items(), start=1):
            whole = {**cells, **dict(zip(row_key(table), key, strict=True))}
            if name == CORRECTIONS.name:
                whole[table.key[0]] = str(number)
            lines.append([whole.get(column, "") for column in columns])
        written[table.file] = write_records(columns, lines)
    return written


def changes_between(before: Rows, after: Rows) -> list[RowChange]:
    """List what must change to come from some rows to others."""
    changes = []
    for name in dict.fromkeys((*before, *after)):
        was, now = before.get(name), after.get(name)
        if was == now:
            continue
        if was is not None and now is not None:
            differ = [c for c in dict.fromkeys((*was, *now)) if was.get(c, "") != now.get(c, "")]
            was, now = ({c: row.get(c, "") for c in differ} for row in (was, now))
        changes.append(RowChange(*name, was, now))
    return changes


def apply_changes(rows: Rows, changes: Iterable[RowChange]) -> None:
    """Change rows in place."""
    for change in changes:
        if change.now is None:
            rows.pop(change.row, None)
        elif change.was is None:
            rows[change.row] = dict(change.now)
        else:
            row = rows.setdefault(change.row, {})
            row.update(change.now)
            for column in [c for c, value in row.items() if value == ""]:
                del row[column]
