"""A filled-in table to entries, or to problems that name the cell."""

import re
from collections.abc import Mapping

from kit.errors import Problem
from kit.record.entries import Entered, Entry, Value
from kit.record.grid import PLANNED_SESSION, TILE_OR_PATCH, WHAT_HAPPENED, Grid, GridCell
from kit.record.past_events import MOVED, end_in_words
from kit.series import Column, Event, RowName, Series, convert_cell, nearest

Row = Mapping[str, GridCell]

_PATCH = re.compile(r"T?0*(\d+)\s*[-–]\s*0*(\d+)", re.IGNORECASE)
_TILE = re.compile(r"(?:tile\s*|T\s*)?0*(\d+)", re.IGNORECASE)


def entries_of(grid: Grid, series: Series, past: Mapping[RowName, Event]) -> Entered:
    """Read every filled row of a grid; a row where nothing was entered says nothing.

    Parameters
    ----------
    grid : Grid
    series : Series
    past : mapping of RowName to Event
        What last happened to each row, as the journal has it: a piece that a plan no longer has is
        answered with what became of it.
    """
    reader = _Reader(grid, series, past)
    for row in grid.rows:
        {"grades": reader.grade, "firings": reader.firing, "accidents": reader.accident}[grid.kind](
            row
        )
    return Entered(
        tuple(reader.entries),
        reader.sessions,
        tuple(reader.problems),
        (*grid.ignored, *reader.moved),
        grid.missing,
        grid.doubts,
    )


class _Reader:
    def __init__(self, grid: Grid, series: Series, past: Mapping[RowName, Event]) -> None:
        self.grid = grid
        self.series = series
        self.past = past
        self.patches = series.patches.set_index("patch")
        self.tiles = set(series.tiles["tile"])
        self.last = series.settings.last_firing
        self.entries: list[Entry] = []
        self.sessions: dict[tuple[int, int], int] = {}
        self.problems: list[Problem] = []
        self.moved: list[str] = []

    def grade(self, row: Row) -> None:
        table = self.series.tables["grades"]
        names = [*(scale.name for scale in self.series.settings.scales), "note"]
        if not any(name in row for name in names):
            return
        patch, firing, grader = self._patch(row), self._graded_firing(row), self._grader(row)
        key = (patch, firing, grader)
        for name in names:
            value = self._value(table[name], row)
            if value is not None and None not in key:
                self._enter("grades", key, name, value, row[name])

    def firing(self, row: Row) -> None:
        table = self.series.tables["firings"]
        names = ["minutes", "heat", "accident", "note", "session"]
        if not any(name in row for name in names):
            return
        tile, firing = self._tile(row), self._value(table["firing"], row)
        if tile is None or firing is None:
            return
        if PLANNED_SESSION in row and "session" not in row:
            planned = self._value(table["session"], {"session": row[PLANNED_SESSION]})
            if planned is not None and not self._moved(tile, int(planned)):
                self.sessions[(tile, int(firing))] = int(planned)
        for name in names:
            value = self._value(table[name], row) if name in row else None
            if value is not None:
                self._enter("firings", (tile, firing), name, value, row[name])

    def accident(self, row: Row) -> None:
        if WHAT_HAPPENED not in row:
            self._need(row, WHAT_HAPPENED, "Say what happened, in a word or two.")
            return
        table = self.series.tables["firings"]
        what = self._value(table["accident"], {"accident": row[WHAT_HAPPENED]})
        if TILE_OR_PATCH not in row:
            self._need(row, TILE_OR_PATCH, "Name the tile (7) or the patch (T7-3).")
            return
        cell = row[TILE_OR_PATCH]
        firing = self._value(table["firing"], row) if "firing" in row else None
        if what is None or cell.wrong or ("firing" in row and firing is None):
            self._refuse(cell, TILE_OR_PATCH)
        elif _PATCH.fullmatch(cell.text):
            patch = self._known_patch(cell, TILE_OR_PATCH)
            if patch:
                self._enter("patches", (patch,), "accident", what, row[WHAT_HAPPENED])
            if patch and firing is not None:
                self._enter("patches", (patch,), "lost_at", firing, row["firing"])
        elif "firing" not in row:
            self._need(row, "firing", "Say at which firing the tile was lost; 0 is the base coat.")
        else:
            tile = self._known_tile(cell, TILE_OR_PATCH)
            if tile is not None and firing is not None:
                self._enter("firings", (tile, firing), "accident", what, row[WHAT_HAPPENED])

    def _enter(
        self, table: str, key: tuple[Value, ...], column: str, value: Value, cell: GridCell
    ) -> None:
        self.entries.append(Entry(table, key, column, value, cell.place))  # type: ignore[arg-type]

    def _value(self, column: Column, row: Row) -> str | int | float | None:
        """Value of a cell; None when it is blank or wrong, and then a problem if it may not be."""
        cell = row.get(column.name)
        if cell is None:
            if column.required:
                self._need(row, column.name, f"Fill it in: {column.meaning}")
            return None
        if cell.wrong:
            self._refuse(cell, column.name)
            return None
        value, wrong, fix = convert_cell(column, cell.text)
        if wrong:
            self.problems.append(cell.problem(column.name, wrong, fix))
        return value

    def _patch(self, row: Row) -> str | None:
        if "patch" not in row:
            self._need(row, "patch", "Name the patch, such as T7-3.")
            return None
        return self._known_patch(row["patch"], "patch")

    def _known_patch(self, cell: GridCell, column: str) -> str | None:
        if cell.wrong:
            self._refuse(cell, column)
            return None
        parts = _PATCH.fullmatch(cell.text)
        name = f"T{parts[1]}-{parts[2]}" if parts else cell.text
        if name in self.patches.index:
            return name
        fix = f"Correct it.{nearest(cell.text, self.patches.index)}"
        wrong = f"This series has no patch '{cell.text}'."
        known = f"Patch {name}", ("patches", (name,))
        self.problems.append(self._gone(cell, column, *known) or cell.problem(column, wrong, fix))
        return None

    def _tile(self, row: Row) -> int | None:
        if "tile" not in row:
            self._need(row, "tile", "Give the tile's number.")
            return None
        return self._known_tile(row["tile"], "tile")

    def _known_tile(self, cell: GridCell, column: str) -> int | None:
        if cell.wrong:
            self._refuse(cell, column)
            return None
        digits = _TILE.fullmatch(cell.text)
        if digits and len(digits[1]) < 6 and int(digits[1]) in self.tiles:
            return int(digits[1])
        wrong, fix = f"This series has no tile '{cell.text}'.", "Give the number on its back."
        number = digits[1] if digits else cell.text
        known = f"Tile {number}", ("tiles", (number,))
        self.problems.append(self._gone(cell, column, *known) or cell.problem(column, wrong, fix))
        return None

    def _gone(self, cell: GridCell, column: str, piece: str, row: RowName) -> Problem | None:
        """Say what became of a piece that the series had once; None when it never had it."""
        event = self.past.get(row)
        if event is None or not any(c.row == row and c.now is None for c in event.changes):
            return None
        fix = "Empty what was filled in for it, or put the piece back: `kit undo` takes back a "
        fix += "change, `kit history` lists them."
        return cell.problem(column, f"{piece} {end_in_words(event)}.", fix)

    def _moved(self, tile: int, planned: int) -> bool:
        """Whether a tile was moved from the session that a workbook has for it; then say so."""
        session = int(self.series.tiles.set_index("tile")["session"][tile])
        event = self.past.get(("tiles", (str(tile),)))
        if event is None or event.occasion.what != MOVED or planned == session:
            return False
        said = (
            f"{self.grid.place}: session {planned} for tile {tile}, which {end_in_words(event)}; "
            f"its firings stand under session {session}."
        )
        if said not in self.moved:
            self.moved.append(said)
        return True

    def _graded_firing(self, row: Row) -> int | None:
        value = self._value(self.series.tables["grades"]["firing"], row)
        if value is None or "patch" not in row:
            return None
        firing = int(value)
        name = row["patch"].text
        first = int(self.patches.at[name, "before_firing"]) if name in self.patches.index else 1
        if firing < first:
            wrong = f"Patch {name} goes on before firing {first}; it cannot have been seen earlier."
        elif firing > self.last and firing not in set(self.series.firings["firing"]):
            wrong = f"The plan has {self.last} firings, and no tile has had a firing {firing}."
        else:
            return firing
        fix = "Correct the firing, or write the firing down first."
        self.problems.append(row["firing"].problem("firing", wrong, fix))
        return None

    def _grader(self, row: Row) -> str | None:
        cell = row.get("grader") or self.grid.grader
        if cell is None or (not cell.text and not cell.wrong):
            place = f"{self.grid.place}" if cell is None else cell.file
            missing = Problem(place, None, "grader", "Nobody is named.", "Say who graded.")
            if missing not in self.problems:
                self.problems.append(missing)
            return None
        if cell.wrong:
            self._refuse(cell, "grader")
            return None
        graders = self.series.settings.graders
        known = {name.casefold(): name for name in graders}
        if graders and cell.text.casefold() not in known:
            fix = "Add the name to graders in series.toml, or correct it."
            problem = cell.problem(
                "grader",
                f"'{cell.text}' is not among the graders of this series.",
                fix + nearest(cell.text, graders),
            )
            if problem not in self.problems:
                self.problems.append(problem)
            return None
        return known.get(cell.text.casefold(), cell.text)

    def _need(self, row: Row, column: str, fix: str) -> None:
        beside = next(iter(row.values()))
        wrong = f"The row says '{beside.text}' and nothing for this column."
        self.problems.append(beside.problem(column, wrong, fix))

    def _refuse(self, cell: GridCell, column: str) -> None:
        problem = cell.problem(column, cell.wrong, cell.fix)
        if cell.wrong and problem not in self.problems:
            self.problems.append(problem)
