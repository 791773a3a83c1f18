"""Where a correction is kept, and correcting: a row of corrections.csv, beside the corrected cell.

The table's cell holds what is right now; the row says what it was, what it became, who changed it,
when and from where. What was entered but never was is withdrawn in the same way.
"""

import datetime as dt
import re
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from kit.errors import Misuse
from kit.record.amending import Amendment, amended, amendment, row_in_words
from kit.record.entries import Change, in_text
from kit.series import (
    Cells,
    Occasion,
    RowChange,
    RowName,
    Rows,
    Series,
    files_of,
    nearest,
    plain_rows,
    rows_of_files,
    typed_frame,
)
from kit.wording import counted, listed


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


WITHDRAWN, CORRECTED = "withdrawn", "corrected"

_OF_A_PATCH = ("overlay", "mesh", "coat_weight", "before_firing")
_OF_A_TILE = ("base", "coats", "mesh", "coat_weight")
_ALSO_CALLED = {"sifter": "mesh", "coat": "coat_weight", "coat weight": "coat_weight"}
_PATCH = re.compile(r"T?0*(\d+)-0*(\d+)", re.IGNORECASE)


def withdraw(
    folder: Path | str,
    piece: str,
    firing: int | None = None,
    grader: str = "",
    *,
    why: str,
    by: str = "",
) -> Amendment:
    """Prepare to withdraw grades, a firing, or a patch.

    Parameters
    ----------
    folder : Path
        Of the series.
    piece : str
        A patch ('T3-2') or a tile ('3').
    firing : int, optional
        For a patch, the firing after which it was graded. For a tile, the firing that never was:
        it and the later ones go, and the grades that were given after them.
    grader : str
        Only this person's grades.
    why : str
        The reason; it stays in the journal with what was withdrawn.
    by : str

    Returns
    -------
    Amendment
        Without firing and grader a patch loses all its grades and is marked as lost.

    Raises
    ------
    Misuse
        When no reason is given, or there is nothing to withdraw.
    """
    folder = Path(folder)
    if not why.strip():
        raise Misuse("Say why it is withdrawn; the reason is kept with it.")
    rows = rows_of_files(files_of(folder))
    patch, tile = _piece(rows, piece)
    gone: dict[RowName, Cells | None] = {}
    if patch:
        gone |= dict.fromkeys(_grades(rows, {patch}, {firing} if firing else None, grader))
        if firing is None and not grader:
            gone["patches", (patch,)] = {
                "accident": f"withdrawn: {why.strip()}",
                "lost_at": "",
            }
    else:
        if firing is None:
            raise Misuse(f"Say which firing of tile {tile} never was, with --firing.")
        later = [
            n for n in rows if n[0] == "firings" and n[1][0] == tile and int(n[1][1]) >= firing
        ]
        firings = {int(name[1][1]) for name in later}
        on_it = {n[1][0] for n in rows if n[0] == "patches" and rows[n].get("tile") == tile}
        if not grader:
            gone |= dict.fromkeys(later)
        gone |= dict.fromkeys(_grades(rows, on_it, firings, grader))
    if not gone:
        raise Misuse(f"Nothing that fits was entered for {piece}. `kit history` shows what was.")
    told = Occasion(WITHDRAWN, by, why=why.strip())
    return amendment(folder, amended(rows, gone), told)


def correct(
    folder: Path | str, piece: str, column: str, value: str, *, why: str, by: str = ""
) -> Amendment:
    """Prepare to say what was really sifted, where that is not what was planned.

    Parameters
    ----------
    folder : Path
        Of the series.
    piece : str
        A patch ('T3-2') or a tile ('3').
    column : str
        For a patch overlay, mesh (or sifter), coat_weight or before_firing; for a tile base,
        coats, mesh or coat_weight.
    value : str
    why, by : str

    Returns
    -------
    Amendment
        What was planned is kept in corrections.csv; the pair is judged as what it was.

    Raises
    ------
    Misuse
        When there is no such piece or column, or it says so already.
    """
    folder = Path(folder)
    rows = rows_of_files(files_of(folder))
    patch, tile = _piece(rows, piece)
    table, key = ("patches", patch) if patch else ("tiles", tile)
    may = _OF_A_PATCH if patch else _OF_A_TILE
    name = _ALSO_CALLED.get(column.casefold(), column.casefold().replace(" ", "_"))
    if name not in may:
        raise Misuse(f"'{column}' cannot be corrected there. Choose one of: {', '.join(may)}.")
    was = rows[table, (key,)].get(name, "")
    if was == value:
        raise Misuse(f"{piece} says {value} already.")
    if not value.strip():
        raise Misuse("Say what was really sifted. A patch that was never made is withdrawn.")
    changed: dict[RowName, Cells | None] = {(table, (key,)): {name: value.strip()}}
    said = {"by": by or "not said", "source": why.strip() or "not said"}
    changed |= correction_of(table, tile, patch, name, {"was": was, "now": value.strip()} | said)
    graded = len(_grades(rows, {patch}, None, "")) if patch else 0
    remarks = [f"{counted(graded, 'grade')} of it stay and speak of what it was."] if graded else []
    told = Occasion(CORRECTED, by, why=why.strip())
    return amendment(folder, amended(rows, changed), told, remarks)


def _piece(rows: Rows, piece: str) -> tuple[str, str]:
    """Patch and tile that a person names; the patch is blank when a tile is meant."""
    if parts := _PATCH.fullmatch(piece.strip()):
        patch = f"T{parts[1]}-{parts[2]}"
        if ("patches", (patch,)) in rows:
            return patch, rows["patches", (patch,)]["tile"]
    else:
        tile = re.sub(r"(?i)^(tile\s*|t\s*)?0*", "", piece.strip())
        if ("tiles", (tile,)) in rows:
            return "", tile
    names = [name[1][0] for name in rows if name[0] in ("patches", "tiles")]
    raise Misuse(f"There is no patch or tile '{piece}'.{nearest(piece, names)}")


def _grades(rows: Rows, patches: set[str], firings: set[int] | None, grader: str) -> list[RowName]:
    known = sorted({n[1][2] for n in rows if n[0] == "grades"})
    if grader and grader not in known:
        raise Misuse(f"'{grader}' has graded nothing here. Graders are: {listed(known)}.")
    return [
        name
        for name in rows
        if name[0] == "grades"
        and name[1][0] in patches
        and (firings is None or int(name[1][1]) in firings)
        and grader in ("", name[1][2])
    ]
