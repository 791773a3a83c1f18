"""The commands before the fire: start a series, plan it, print for the bench."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from kit.cli.record_commands import print_again, say_kept
from kit.cli.shared import SeriesName, agreed, answered, number, progress
from kit.errors import Misuse

if TYPE_CHECKING:
    from kit.series import Series


def new(
    name: Annotated[str, typer.Argument(help="Small letters, digits, hyphens: autumn-stencils.")],
    seed: Annotated[int, number("The same number gives the same plan.", least=0)] = 1,
) -> None:
    """Start a series: a folder with settings to fill in and empty tables."""
    from kit.series import checked_name, colour_words, start_series, studio_folder

    folder = start_series(studio_folder() / "data" / checked_name(name), seed)
    print(f"Made {folder}\n1. List your colours in {folder / 'colours.csv'}. Its words:")
    print("".join(f"   {line}\n" for line in colour_words()), end="")
    print(f"2. Read and change {folder / 'series.toml'}\n3. Then: kit plan {name}")


def plan(
    series: SeriesName,
    ask: Annotated[
        str | None,
        typer.Option(metavar="WORDS", help="What you need to know, such as 'which pairs work'."),
    ] = None,
    tiles: Annotated[int | None, number("How many tiles you can make.")] = None,
    keep_each: Annotated[
        bool,
        typer.Option(
            "--keep-each",
            help="A tile of its own for each number of firings, to keep as samples.",
        ),
    ] = False,
    after: Annotated[
        list[str] | None,
        typer.Option(metavar="SERIES", help="Go on from this graded series; may be said again."),
    ] = None,
    trips: Annotated[int | None, number("Most trips of a tile through the heat.")] = None,
    minutes: Annotated[int | None, number("Most minutes at the heat.")] = None,
    gradings: Annotated[int | None, number("Most grades to give.")] = None,
    money: Annotated[int | None, number("Most that it may cost, by [prices].")] = None,
    left: Annotated[
        list[str] | None,
        typer.Option(
            metavar="COLOUR=GRAMS", help="What a jar still holds: 'Sky=12'; may be said again."
        ),
    ] = None,
    without: Annotated[
        list[str] | None,
        typer.Option(metavar="COLOUR", help="Not to be fired any more; may be said again."),
    ] = None,
    palette: Annotated[
        list[str] | None,
        typer.Option(metavar="COLOUR", help="Only these colours matter; say each."),
    ] = None,
    wishes_alone: Annotated[
        bool, typer.Option("--wishes-alone", help="Only the pairs wished for matter.")
    ] = False,
    wrong_costs: Annotated[
        int, number("What a wrong 'fine edge' costs you, in right verdicts missed.", least=0)
    ] = 0,
    more: Annotated[int | None, number("Add so many tiles to the plan.")] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write the plan without asking.")] = False,
) -> None:
    """Choose tiles and patches, or choose again what is not made yet."""
    from kit.design import NEXT_TILES, Limits
    from kit.design import plan as make_plan
    from kit.record import unplanned
    from kit.series import read_series, series_folder

    folder = series_folder(series)
    found = read_series(folder)
    limits = Limits(
        trips=trips, minutes=minutes, gradings=gradings, money=money, enamel_g=_grams(left or ())
    )
    wish: dict[str, Any] = {
        "leave_out": without or (),
        "palette": palette or (),
        "wishes_alone": wishes_alone,
        "wrong_costs": float(wrong_costs),
        "limits": limits if limits != Limits() else None,
    }
    if more or (len(found.firings) and not (ask or after)):
        _plan_again(found, folder, more, tiles, wish, yes)
        return
    if replaced := len(found.tiles):
        found = unplanned(found)
        print(f"This replaces the plan of {replaced} tiles, which stays in the journal.")
    earlier = [read_series(series_folder(name)) for name in after or ()]
    found = learning_from(found, folder, earlier)
    if found.tiles.empty and ask is None and tiles is None and not yes:
        ask, tiles = _asked(found.settings.ask, NEXT_TILES if after else found.settings.tiles)
    with progress() as say:
        chosen = make_plan(
            found,
            ask=ask,
            tiles=tiles,
            firings="separate" if keep_each else "every",
            after=earlier,
            progress=say,
            **wish,
        )
        told = _told_of(chosen.series, earlier, say)
    if after and chosen.series.settings.learns_from:
        names = ", ".join(chosen.series.settings.learns_from)
        told.insert(0, f"Judged alone it learns from {names} (learns_from in series.toml).")
    print("\n".join([chosen.describe(), *told]))
    if agreed(yes, "Write this plan?"):
        chosen.series.write(folder)
        print(f"Written to {folder}. Next: kit sheets {chosen.series.name}")
        if replaced:
            print_again(folder)
    else:
        print("Nothing was written.")


def _told_of(
    planned: "Series", earlier: "Sequence[Series]", say: Callable[[str], None]
) -> list[str]:
    """What a plan will tell, takes and saves."""
    from kit.design import precision, saving, what_to_expect

    sure = precision(planned, earlier)
    together = [f"With {', '.join(one.name for one in earlier)} before it:"] if earlier else []
    expected = what_to_expect(planned, earlier, progress=say)
    return [*together, *sure.sentences(), *expected, *saving(planned).sentences()]


def _plan_again(
    found: "Series",
    folder: Path,
    more: int | None,
    tiles: int | None,
    wish: Mapping[str, Any],
    yes: bool,
) -> None:
    """Plan what is not made yet again, or add tiles; what is made stays."""
    from kit.design import plan_more, replan, what_to_expect
    from kit.record import first_free_number
    from kit.series import rounds_before

    if more and found.firings.empty:
        whole = len(found.tiles) + more
        raise Misuse(
            f"Nothing of {found.name} is fired yet, so the whole plan can be made anew and larger: "
            f"kit plan {found.name} --tiles {whole}"
        )
    first = first_free_number(folder)
    before = rounds_before(found)
    with progress() as say:
        usual = {"first_tile": first, "after": before, "progress": say, **wish}
        chosen = plan_more(found, more, **usual) if more else replan(found, tiles=tiles, **usual)
        known = [*before, *([found] if len(found.grades) else ())]
        told = what_to_expect(chosen.to_make, known, say)
    print("\n".join([chosen.describe(), *told]))
    if agreed(yes, "Write this plan?"):
        chosen.series.write(folder)
        print(f"Written to {folder}. What it was before is in the journal.")
        print_again(folder)
    else:
        print("Nothing was written.")


def _grams(left: Sequence[str]) -> dict[str, float]:
    """Read 'Sky=12' as a colour and the grams that are left of it."""
    found = {}
    for text in left:
        colour, _, grams = text.rpartition("=")
        try:
            found[colour.strip()] = float(grams.removesuffix("g"))
        except ValueError:
            colour = ""
        if not colour.strip():
            raise Misuse(f"'{text}' does not say what is left of a jar. Write it as 'Sky=12'.")
    return found


def learning_from(found: "Series", folder: Path, earlier: "Sequence[Series]") -> "Series":
    """Let a series learn from those that it goes on from and that lie beside it.

    What its settings say already stays.
    """
    from dataclasses import replace

    beside = [one for one in earlier if (folder.resolve().parent / one.name).is_dir()]
    if found.settings.learns_from or not beside:
        return found
    names = tuple(one.name for one in beside)
    settings = replace(found.settings, learns_from=names)
    return replace(found, settings=settings, earlier=tuple(beside))


def _asked(ask: str, tiles: int) -> tuple[str, int]:
    """Ask in the person's words what the plan is for and how large it may be."""
    from kit.series import ASKS

    print("What do you need to know?")
    for place, words in enumerate(ASKS, start=1):
        print(f"  {place}  {words}")
    usual = ASKS.index(ask) + 1
    chosen = answered(lambda: int(typer.prompt("Number", default=usual, type=int)), "add --yes")
    if not 1 <= chosen <= len(ASKS):
        raise Misuse(f"{chosen} is not one of the numbers 1 to {len(ASKS)}. Nothing was written.")
    many = answered(
        lambda: int(typer.prompt("How many tiles can you make?", default=tiles, type=int)),
        "add --yes",
    )
    return ASKS[chosen - 1], many


def sheets(
    series: SeriesName,
    paper: Annotated[str, typer.Option(help="a4 or us-letter.")] = "a4",
    session: Annotated[int | None, number("Only this sitting's tiles.")] = None,
    workbook: Annotated[
        bool, typer.Option("--workbook", help="Also a spreadsheet for each grader.")
    ] = False,
    photo_card: Annotated[
        bool, typer.Option("--photo-card", help="Also the card to photograph tiles on.")
    ] = False,
    weigh_each: Annotated[
        bool,
        typer.Option(
            "--weigh-each", help="Exact weight for every patch instead of spoons or passes."
        ),
    ] = False,
    labels: Annotated[
        str | None, typer.Option(metavar="SHEET", help="Stickers to print on, such as 'a4 3 x 8'.")
    ] = None,
    labels_used: Annotated[int, number("Stickers gone from the first sheet.", least=0)] = 0,
) -> None:
    """Write the bench paper: shopping, cards, order of work, grading, labels."""
    from kit.record import write_workbooks
    from kit.series import read_series, report_folder, series_folder
    from kit.sheets import labels_on, write_photo_card, write_sheets

    folder = series_folder(series)
    found = read_series(folder)
    into = report_folder(folder) / "sheets"
    kept: list[Path] = []
    with progress() as say:
        made = write_sheets(
            found,
            into,
            paper,
            progress=say,
            session=session,
            weighing="each" if weigh_each else "once",
            stickers=labels_on(paper, labels, labels_used),
        )
        if photo_card:
            made.append(write_photo_card(found, into, paper))
        if workbook:
            written, kept = write_workbooks(found, into)
            made += written
    print("\n".join(str(path) for path in made))
    say_kept(kept, found.name)
    print(f"Next: fire, then grade in the browser: kit grade {found.name}")
    if workbook:
        print(f"or type grades into the workbook: kit enter {found.name} FILE")


PLAN_COMMANDS = (new, plan, sheets)
