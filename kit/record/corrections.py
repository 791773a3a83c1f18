"""Where a correction is kept: a row of corrections.csv, beside the cell that it corrects.

The table's cell holds what is right now; the row says what it was, what it became, who changed it,
when and from where.
"""

import datetime as dt
from collections.abc import Sequence

import pandas as pd

from kit.record.amending import row_in_words
from kit.record.entries import Change, in_text
from kit.series import Cells, RowChange, RowName, Series, plain_rows, typed_frame


def with_corrections(
    series: Series, changed: Sequence[Change], by: str, source: str
) -> pd.DataFrame:
    """Return the corrections of a series with one more for each change.

    Parameters
    ----------
    series : Series
    changed : sequence of Change
    by, source : str
        Who corrected, and from where.
    """
    frame = series.corrections
    if not changed:
        return frame
    tile_of = dict(zip(series.patches["patch"], series.patches["tile"], strict=True))
    first = int(frame["change"].max()) + 1 if len(frame) else 1
    at = _now()
    rows = []
    for number, change in enumerate(changed, start=first):
        entry = change.entry
        named = dict(zip(series.tables[entry.table].key, entry.key, strict=True))
        rows.append(
            {
                "change": number,
                "table": entry.table,
                "tile": named.get("tile") or tile_of[named["patch"]],
                "patch": named.get("patch"),
                "firing": named.get("firing"),
                "grader": named.get("grader"),
                "column": entry.column,
                "was": in_text(change.was),
                "now": in_text(entry.value),
                "by": by,
                "at": at,
                "source": source,
            }
        )
    every = [*plain_rows(frame), *rows]
    return typed_frame({c: [row.get(c) for row in every] for c in frame.columns}, frame)


def correction_of(
    table: str, tile: str, patch: str, column: str, cells: Cells
) -> dict[RowName, Cells]:
    """Name the row of a correction made now of what a tile or a patch is, as it stands in its file.

    Parameters
    ----------
    table : {'tiles', 'patches'}
    tile, patch, column : str
        What is corrected; `patch` is blank for a tile.
    cells : mapping
        Columns was, now, by and source.
    """
    return {("corrections", (_now(), table, tile, patch, "", "", column)): cells}


def corrections_overwritten(series: Series) -> list[str]:
    """Find corrections that an older copy of a table has undone."""
    last = {}
    for row in plain_rows(series.corrections):
        key = tuple(row[k] for k in series.tables[row["table"]].key)
        last[row["table"], key, row["column"]] = row
    said = []
    for (table, key, column), row in last.items():
        stands = {
            tuple(str(r[k]) for k in series.tables[table].key): r
            for r in plain_rows(series.frames[table])
        }.get(tuple(map(str, key)))
        now = "" if stands is None or stands[column] is None else str(stands[column])
        if stands is not None and now != (row["now"] or ""):
            change = RowChange(table, tuple(map(str, key)), None, None)
            said.append(
                f"{row_in_words(change)}: corrections.csv says that {column} became "
                f"{row['now'] or 'blank'}, {table}.csv says {now or 'blank'}. An older copy may "
                "have been saved over it; write the right value into the table."
            )
    return said


def _now() -> str:
    return dt.datetime.now().astimezone().isoformat(timespec="milliseconds")
