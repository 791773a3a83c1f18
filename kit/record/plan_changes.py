"""A plan that changes: freely until something is fired, and after that what is not made yet.

A number that a tile has ever had is never given to another: it stands on the back of a blank.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from kit.errors import DataProblems, Misuse
from kit.record.amending import Amendment, amended, amendment
from kit.record.past_events import CANCELLED, DROPPED, MOVED, PLANNED, SPLIT_OFF
from kit.series import (
    Cells,
    Occasion,
    RowName,
    Rows,
    Series,
    checked_name,
    files_of,
    is_begun,
    read_journal,
    read_series,
    rows_of_files,
)
from kit.wording import counted, escape, listed

if TYPE_CHECKING:
    import ipywidgets

_PLAN_TABLES = ("tiles", "patches", "stripes", "sessions")
"""What a plan consists of."""

_TAKEN_ALONG = ("tiles", "patches", "firings", "grades")


def unplanned(series: Series) -> Series:
    """Return a series without its plan, so that it can be planned anew.

    Raises
    ------
    Misuse
        When something of it is fired, graded or measured; the message says what can be done then.
    """
    made = [n for n in ("firings", "grades", "measurements") if len(getattr(series, n))]
    if made:
        raise Misuse(
            f"{series.name} is planned already ({len(series.tiles)} tiles) and has {listed(made)}. "
            "`kit plan` plans what is not made yet again, and adds tiles with --more; `kit change` "
            "drops, moves or splits off tiles; kit new NAME starts another series."
        )
    bare = {n: getattr(series, n).iloc[:0] for n in _PLAN_TABLES}
    return replace(series, **bare)


def first_free_number(folder: Path | str) -> int:
    """Return the lowest number above every tile that a series has or ever had."""
    folder = Path(folder)
    names = {n for n in rows_of_files(files_of(folder)) if n[0] == "tiles"}
    for event in read_journal(folder).events:
        names |= {change.row for change in event.changes if change.table == "tiles"}
    return 1 + max((int(name[1][0]) for name in names), default=0)


def drop_tiles(
    folder: Path | str,
    tiles: Collection[int],
    by: str = "",
    why: str = "",
    what: str = DROPPED,
) -> Amendment:
    """Prepare to drop tiles that are not made yet, with their patches.

    Raises
    ------
    Misuse
        When a tile is not there, or was fired or graded.
    """
    rows, numbers = _not_made(Path(folder), tiles)
    gone: dict[RowName, Cells | None] = dict.fromkeys(_of_tiles(rows, numbers))
    return amendment(Path(folder), amended(rows, gone), Occasion(what, by, why=why))


def cancel_session(folder: Path | str, session: int, by: str = "", why: str = "") -> Amendment:
    """Prepare to drop every tile of a sitting of which nothing is made yet."""
    return drop_tiles(folder, _of_session(Path(folder), session), by, why, CANCELLED)


def move_tiles(
    folder: Path | str, tiles: Collection[int], session: int, by: str = "", why: str = ""
) -> Amendment:
    """Prepare to make tiles in another sitting than planned."""
    folder = Path(folder)
    if session < 1:
        raise Misuse("Sittings are numbered from 1.")
    rows, numbers = _not_made(folder, tiles)
    moved: dict[RowName, Cells | None] = {
        ("tiles", (number,)): {"session": str(session)} for number in numbers
    }
    to: RowName = ("sessions", (str(session),))
    was = {rows[name]["session"] for name in moved}
    planned = rows.get(("sessions", (min(was),))) if len(was) == 1 else None
    if planned and to not in rows:
        # A sitting of its own keeps what its tiles were planned to be fired with.
        moved[to] = {**planned, "session": str(session)}
    return amendment(folder, amended(rows, moved), Occasion(MOVED, by, why=why))


def move_session(
    folder: Path | str, session: int, to: int, by: str = "", why: str = ""
) -> Amendment:
    """Prepare to make a whole sitting's tiles in another."""
    return move_tiles(folder, _of_session(Path(folder), session), to, by, why)


def split(folder: Path | str, tiles: Collection[int], name: str, by: str = "") -> Series:
    """Move tiles, with all that was entered for them, into a new series beside the old one.

    The new series is written first and then the tiles are taken out of the old one, whose journal
    keeps them; they keep their numbers. What was cut short in between goes on when it is repeated.

    Returns
    -------
    Series
        The new one.

    Raises
    ------
    Misuse
        When the name is taken, a tile is not there, or no tile would be left.
    """
    folder = Path(folder)
    into = folder.parent / checked_name(name)
    series = read_series(folder)
    rows = rows_of_files(series.sources)
    if is_begun(into) and not _cut_short(into, folder.name, rows, tiles):
        raise Misuse(f"{into} exists already. Choose another name; nothing was changed.")
    numbers = _known(rows, tiles)
    if len(numbers) == len(series.tiles):
        raise Misuse("No tile would be left in the old series. Rename its folder instead.")
    whole = {int(number) for number in numbers}
    patches = set(series.patches.loc[series.patches["tile"].isin(whole), "patch"])
    kept = {
        "tiles": series.tiles["tile"].isin(whole),
        "patches": series.patches["tile"].isin(whole),
        "stripes": series.stripes["tile"].isin(whole),
        "sessions": series.sessions["session"].isin(
            series.tiles.loc[series.tiles["tile"].isin(whole), "session"]
        ),
        "firings": series.firings["tile"].isin(whole),
        "grades": series.grades["patch"].isin(patches),
        "measurements": series.measurements["patch"].isin(patches),
        "corrections": series.corrections["tile"].isin(whole),
    }
    own = {n: getattr(series, n)[rows_kept].reset_index(drop=True) for n, rows_kept in kept.items()}
    title = f"{series.settings.title}, split off"
    settings = replace(series.settings, title=title, tiles=len(whole))
    new = replace(series, name=name, settings=settings, sources={}, **own)
    if not is_begun(into):
        new.write(into, Occasion(SPLIT_OFF, by, why=f"from {series.name}"))
    gone: dict[RowName, Cells | None] = dict.fromkeys(_of_tiles(rows, numbers))
    away = Occasion(SPLIT_OFF, by, why=f"into {name}")
    amendment(folder, amended(rows, gone), away).write()
    return read_series(into)


def _cut_short(into: Path, name: str, rows: Rows, tiles: Collection[int]) -> bool:
    """Whether a folder is what these tiles were copied to, and they still stand in the old one."""
    events = read_journal(into).events
    numbers = {str(tile) for tile in tiles}
    copied = rows_of_files(files_of(into))
    return (
        len(events) == 1
        and events[0].occasion.what == SPLIT_OFF
        and events[0].occasion.why == f"from {name}"
        and {n[1][0] for n in copied if n[0] == "tiles"} == numbers
        and all(rows.get(n) == cells for n, cells in copied.items() if n[0] in _TAKEN_ALONG)
    )


def _of_tiles(rows: Rows, numbers: Collection[str]) -> list[RowName]:
    """Every row that speaks of the tiles or of what is on them."""
    on_them = {n[1][0] for n in rows if n[0] == "patches" and rows[n]["tile"] in numbers}
    return [
        name
        for name in rows
        if (name[0] in ("tiles", "stripes", "firings") and name[1][0] in numbers)
        or (name[0] in ("patches", "grades", "measurements") and name[1][0] in on_them)
        or (name[0] == "corrections" and name[1][2] in numbers)
    ]


def _known(rows: Rows, tiles: Collection[int]) -> set[str]:
    numbers = {str(tile) for tile in tiles}
    strange = sorted(n for n in numbers if ("tiles", (n,)) not in rows)
    if strange or not numbers:
        raise Misuse(f"There is no tile {listed(strange)}." if strange else "Name some tiles.")
    return numbers


def _not_made(folder: Path, tiles: Collection[int]) -> tuple[Rows, set[str]]:
    rows = rows_of_files(files_of(folder))
    numbers = _known(rows, tiles)
    made = sorted(_made(rows) & {int(number) for number in numbers})
    if made:
        raise Misuse(
            f"{counted(len(made), 'tile')} {'is' if len(made) == 1 else 'are'} made already: "
            f"{listed([str(tile) for tile in made])}. Withdraw what never was, or write down an "
            "accident."
        )
    return rows, numbers


def _made(rows: Rows) -> set[int]:
    """Tiles of which a firing, a grade or a measurement is on record."""
    said = {
        name[1][0] if name[0] == "firings" else _tile(rows, name)
        for name in rows
        if name[0] in ("firings", "grades", "measurements")
    }
    return {int(number) for number in said if number}


def _tile(rows: Rows, name: RowName) -> str:
    return rows.get(("patches", (name[1][0],)), {}).get("tile", "")


def _of_session(folder: Path, session: int) -> list[int]:
    rows = rows_of_files(files_of(folder))
    tiles = [int(n[1][0]) for n, cells in rows.items()
             if n[0] == "tiles" and cells.get("session") == str(session)]  # fmt: skip
    if not tiles:
        raise Misuse(f"No tile is made in sitting {session}.")
    return tiles


def replanned(folder: Path | str, planned: Series, by: str = "") -> Series:
    """Write a plan into its series: in place of what is not made yet, beside what is.

    Parameters
    ----------
    folder : Path
        Of the series.
    planned : Series
        With every tile that is made as it is on record, and with the settings of the plan.
    by : str

    Raises
    ------
    Misuse
        When it would change or leave out a tile that is made.
    """
    folder = Path(folder)
    series = read_series(folder)
    made = _made(rows_of_files(files_of(folder)))
    for name in ("tiles", "patches", "stripes"):
        was, now = (
            frame[frame["tile"].isin(made)].reset_index(drop=True)
            for frame in (getattr(series, name), getattr(planned, name))
        )
        if not was.equals(now):
            raise Misuse(
                f"{series.name} is planned already and {counted(len(made), 'tile')} of it "
                f"{'is' if len(made) == 1 else 'are'} made; this plan knows nothing of that. Plan "
                f"again from what is left: kit plan {series.name}"
            )
    whole = {name: getattr(planned, name) for name in (*_PLAN_TABLES, "settings")}
    replace(series, **whole).write(folder, Occasion(PLANNED, by))
    return read_series(folder)


CHANGES: Mapping[str, str] = {
    "drop": "drop these tiles, which are not made yet",
    "cancel": "cancel this sitting: its tiles are dropped",
    "move": "make these tiles in the sitting --to",
    "postpone": "make this whole sitting's tiles in the sitting --to",
}
"""What `change_plan` can do, in words."""


def change_plan(
    folder: Path | str,
    what: str,
    numbers: Sequence[int],
    to: int | None = None,
    by: str = "",
    why: str = "",
) -> Amendment:
    """Prepare one of `CHANGES`.

    Raises
    ------
    Misuse
        When it is none of them, or what it needs is missing.
    """
    if what in ("move", "postpone") and to is None:
        raise Misuse("Say into which sitting, with --to.")
    if what == "drop":
        return drop_tiles(folder, numbers, by, why)
    if what == "move":
        return move_tiles(folder, numbers, to or 0, by, why)
    if what in ("cancel", "postpone") and len(numbers) != 1:
        raise Misuse("Name one sitting by its number.")
    if what == "cancel":
        return cancel_session(folder, numbers[0], by, why)
    if what == "postpone":
        return move_session(folder, numbers[0], to or 0, by, why)
    raise Misuse(f"A plan cannot be changed by '{what}'. Choose one of: {', '.join(CHANGES)}.")


class Planned(Protocol):
    """A plan: anything that holds a planned series."""

    @property
    def series(self) -> Series: ...


def plan_saver(folder: Path | str, plan: Planned) -> ipywidgets.Widget:
    """Offer to write a plan into its series, in place of what is not made yet."""
    # Only a notebook needs widgets; no command waits for them.
    import ipywidgets

    series = read_series(folder)
    words = "Replace the plan of the series" if len(series.tiles) else "Write this plan"
    button = ipywidgets.Button(
        description=words, layout=ipywidgets.Layout(width="20rem", height="3rem")
    )
    told = ipywidgets.HTML()

    def save(_: ipywidgets.Button) -> None:
        try:
            replanned(folder, plan.series)
        except (Misuse, DataProblems) as problem:
            told.value = f"<p>{escape(str(problem))}</p>"
            return
        button.disabled = True
        said = f"Written. Now print the bench paper: kit sheets {series.name}"
        told.value = f"<p>{escape(said)}</p>"

    button.on_click(save)
    return ipywidgets.VBox([button, told])
