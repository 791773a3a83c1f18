"""The commands that change what is on record: each shows what it would do, then asks."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from kit.cli.shared import By, SeriesName, Why, Yes, agreed, answered, number, whole
from kit.errors import Misuse
from kit.wording import listed

if TYPE_CHECKING:
    from kit.record import Amendment


def change(
    series: SeriesName,
    what: Annotated[
        str, typer.Argument(metavar="WHAT", help="drop, cancel, move, postpone or split.")
    ],
    numbers: Annotated[
        str, typer.Argument(metavar="NUMBERS", help="Tiles, such as 5,6 or 5-8; or a sitting.")
    ],
    to: Annotated[
        str | None, typer.Option(metavar="TO", help="The other sitting, or the new series.")
    ] = None,
    why: Why = None,
    by: By = None,
    yes: Yes = False,
) -> None:
    """Change a plan: drop or move tiles not made yet, cancel a sitting, split."""
    from kit.record import change_plan, split
    from kit.series import series_folder

    folder = series_folder(series)
    chosen = _numbers(numbers)
    if what == "split":
        if not to:
            raise Misuse("Say what the new series is to be called, with --to.")
        made = split(folder, chosen, to, by or "")
        print(f"{made.name} has tiles {numbers} now. Photographs of them stay where they are.")
    else:
        sitting = int(to) if to and to.isdigit() else None
        _amend(change_plan(folder, what, chosen, sitting, by or "", why or ""), yes)
    print_again(folder)


def merge(series: SeriesName, by: By = None, yes: Yes = False) -> None:
    """Merge copies of tables that a synchronising drive made."""
    from kit.record import merge as worked_out
    from kit.series import series_folder

    found = worked_out(series_folder(series))
    if not (found.copies or found.conflicts):
        print(found.describe())
        return
    chosen = []
    for conflict in found.conflicts:
        print(conflict.describe())
        told = answered(
            lambda: int(typer.prompt("Which one holds", type=int)), "this needs a person"
        )
        if not 1 <= told <= len(conflict.values):
            raise Misuse(f"{told} is none of the numbers shown. Nothing was written.")
        chosen.append(conflict.values[told - 1][0])
    _amend(found.settled(chosen, by or ""), yes, and_then=found.put_copies_away)


def history(series: SeriesName) -> None:
    """Say what was done to a series, by whom and when."""
    from kit.record import history as told
    from kit.series import series_folder

    lines = told(series_folder(series))
    print("\n".join(lines) or "Nothing is in the journal yet.")


def undo(
    series: SeriesName,
    event: Annotated[
        int | None,
        typer.Argument(
            metavar="NUMBER", parser=whole(), help="As the history has it; else the last."
        ),
    ] = None,
    why: Why = None,
    by: By = None,
    yes: Yes = False,
) -> None:
    """Take back what was done last, or one event of the history."""
    from kit.record import undo as take_back
    from kit.series import series_folder

    _amend(take_back(series_folder(series), event, by or "", why or ""), yes)


def restore(
    series: SeriesName,
    table: Annotated[
        str | None, typer.Argument(metavar="TABLE", help="Such as grades; all if not said.")
    ] = None,
    at: Annotated[
        str | None, typer.Option(metavar="MOMENT", help="As of then, such as 2026-11-25T12:00.")
    ] = None,
    why: Why = None,
    by: By = None,
    yes: Yes = False,
) -> None:
    """Put back from the journal what is missing or was changed outside the kit."""
    from kit.record import restore as put_back
    from kit.series import series_folder

    _amend(
        put_back(series_folder(series), table, at or "", by or "", why or ""),
        yes,
        even_with_problems=True,
    )


def withdraw(
    series: SeriesName,
    piece: Annotated[str, typer.Argument(metavar="PIECE", help="A patch (T3-2) or a tile (3).")],
    why: Annotated[str, typer.Option(metavar="WORDS", help="The reason; it is kept.")],
    firing: Annotated[int | None, number("Only after this firing.", least=0)] = None,
    grader: Annotated[
        str | None, typer.Option(metavar="NAME", help="Only this person's grades.")
    ] = None,
    by: By = None,
    yes: Yes = False,
) -> None:
    """Withdraw grades, a firing or a patch that should not be on record."""
    from kit.record import withdraw as take_out
    from kit.series import series_folder

    _amend(take_out(series_folder(series), piece, firing, grader or "", why=why, by=by or ""), yes)


def correct(
    series: SeriesName,
    piece: Annotated[str, typer.Argument(metavar="PIECE", help="A patch (T3-2) or a tile (3).")],
    what: Annotated[
        str, typer.Argument(metavar="WHAT", help="overlay, base, sifter or coat weight.")
    ],
    value: Annotated[str, typer.Argument(metavar="VALUE", help="What it really was.")],
    why: Why = None,
    by: By = None,
    yes: Yes = False,
) -> None:
    """Say what was really sifted, where it is not what was planned."""
    from kit.record import correct as set_right
    from kit.series import series_folder

    _amend(set_right(series_folder(series), piece, what, value, why=why or "", by=by or ""), yes)


RECORD_COMMANDS = (change, merge, history, undo, restore, withdraw, correct)


def _amend(
    amendment: "Amendment",
    yes: bool,
    *,
    even_with_problems: bool = False,
    and_then: Callable[[], None] = lambda: None,
) -> None:
    """Show what would change, ask, and write it."""
    print(amendment.describe())
    if not amendment.changes:
        and_then()
        return
    if agreed(yes):
        amendment.write(even_with_problems=even_with_problems)
        and_then()
        print("Written. What it was before is in the journal.")
    else:
        print("Nothing was written.")


def _numbers(text: str) -> list[int]:
    """Read '5,6' or '5-8' as numbers."""
    found: list[int] = []
    for part in text.replace(" ", "").split(","):
        first, _, last = part.partition("-")
        if not first.isdigit() or not (last or first).isdigit():
            raise Misuse(f"'{text}' are no numbers. Write them as 5,6 or 5-8.")
        found += range(int(first), int(last or first) + 1)
    return found


def print_again(folder: Path) -> None:
    """Bring the bench paper, and the workbooks, up to date where they were printed before."""
    from kit.record import write_workbooks
    from kit.series import read_series, report_folder
    from kit.sheets import write_photo_card, write_sheets

    into = report_folder(folder) / "sheets"
    if not into.is_dir():
        return
    series = read_series(folder)
    made = write_sheets(series, into, "a4", progress=lambda _: None)
    if (into / "photo-card.pdf").is_file():
        made.append(write_photo_card(series, into))
    written, kept = write_workbooks(series, into, only_there=True)
    made += written
    print(f"The paper was brought up to date ({len(made)} files in {into}): print it again.")
    if written:
        print(f"Use the new workbook: {listed([path.name for path in written])}.")
    say_kept(kept, series.name)


def say_kept(kept: Sequence[Path], series: str) -> None:
    """Name the workbooks that were filled in, and so were not written over."""
    for path in kept:
        print(
            f"{path.name} was filled in meanwhile, so it was kept as it is and still has the rows "
            f"it was made with. Hand it in (kit enter {series} FILE), move it away, and make a "
            f"new one: kit sheets {series} --workbook"
        )
