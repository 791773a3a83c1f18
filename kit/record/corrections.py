"""What was corrected, beside what it was before."""

import datetime as dt
from collections.abc import Sequence

import pandas as pd

from kit.record.entry import Change, in_text
from kit.record.rows import records, typed
from kit.series import Series


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
    at = dt.datetime.now().astimezone().isoformat(timespec="seconds")
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
    every = [*records(frame), *rows]
    return typed({c: [row.get(c) for row in every] for c in frame.columns}, frame)
