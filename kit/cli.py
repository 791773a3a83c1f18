"""The commands. Each is a few lines over the same calls that the notebooks make."""

import re
import sys
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Annotated

import typer

from kit.command_help import Commands
from kit.errors import DataProblems, Misuse, NotebookFailed
from kit.record_commands import RECORD_COMMANDS, SeriesName, print_again

app = Commands(help="Plan, fire, grade and understand test tiles of leaded and unleaded enamel.")


def main() -> None:
    """Run a command; exit with 1 for problems in the data and 2 for misuse."""
    try:
        app()
    except (DataProblems, NotebookFailed) as failure:
        _fail(str(failure), code=1)
    except Misuse as misuse:
        _fail(str(misuse), code=2)


@app.command()
def demo() -> None:
    """Do the whole job on the demo series: plan, fire, check, fit, report."""
    from kit.report import write_notebook
    from kit.series import studio_folder
    from kit.studio import demo_piece, demo_series

    with _progress() as say:
        folder = demo_series(studio_folder() / "data", progress=say)
        say("Running the notebook of the report")
        notebook = write_notebook(folder)
        piece = demo_piece(folder.parent)
    print(f"The report is at {notebook.with_name('report.html')}")
    print(f"Ask whether a piece will hold: kit piece {piece.stem}")


@app.command()
def new(
    name: Annotated[str, typer.Argument(help="Small letters, digits, hyphens: autumn-stencils.")],
    seed: Annotated[
        int, typer.Option(metavar="NUMBER", help="The same number gives the same plan.")
    ] = 1,
) -> None:
    """Start a series: a folder with settings to fill in and empty tables."""
    from kit.series import checked_name, start_series, studio_folder

    folder = start_series(studio_folder() / "data" / checked_name(name), seed)
    print(f"Made {folder}\n1. List your colours in {folder / 'colours.csv'}")
    print(f"2. Read and change {folder / 'series.toml'}\n3. Then: kit plan {name}")


@app.command()
def plan(
    series: SeriesName,
    ask: Annotated[
        str | None, typer.Option(metavar="WORDS", help="What you need to know, in words.")
    ] = None,
    tiles: Annotated[
        int | None, typer.Option(metavar="NUMBER", min=1, help="How many tiles you can make.")
    ] = None,
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
    trips: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", min=1, help="Most trips of a tile through the heat."),
    ] = None,
    minutes: Annotated[
        float | None, typer.Option(metavar="NUMBER", min=1, help="Most minutes at the heat.")
    ] = None,
    gradings: Annotated[
        int | None, typer.Option(metavar="NUMBER", min=1, help="Most grades to give.")
    ] = None,
    more: Annotated[
        int | None, typer.Option(metavar="NUMBER", min=1, help="Add so many tiles to the plan.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write the plan without asking.")] = False,
) -> None:
    """Choose tiles and patches; say what they will tell and what they save."""
    from kit.design import NEXT_TILES, Limits, precision, saving, what_to_expect
    from kit.design import plan as make_plan
    from kit.record import unplanned
    from kit.series import read_series, series_folder

    folder = series_folder(series)
    if more:
        _plan_more(folder, more, yes)
        return
    found = read_series(folder)
    if replaced := len(found.tiles):
        found = unplanned(found)
        print(f"This replaces the plan of {replaced} tiles, which stays in the journal.")
    earlier = [read_series(series_folder(name)) for name in after or ()]
    if found.tiles.empty and ask is None and tiles is None and not yes:
        ask, tiles = _asked(found.settings.ask, NEXT_TILES if after else found.settings.tiles)
    bounded = any(limit is not None for limit in (trips, minutes, gradings))
    with _progress() as say:
        chosen = make_plan(
            found,
            ask=ask,
            tiles=tiles,
            firings="separate" if keep_each else "every",
            after=earlier,
            limits=Limits(trips=trips, minutes=minutes, gradings=gradings) if bounded else None,
            progress=say,
        )
        planned = chosen.series
        sure = precision(planned, earlier)
        spared = saving(planned)
        expected = what_to_expect(planned, earlier, progress=say)
    together = [f"With {', '.join(after)} before it:"] if after else []
    told = [*together, *sure.sentences(), *expected, *spared.sentences()]
    print("\n".join([chosen.describe(), *told]))
    if yes or typer.confirm("Write this plan?"):
        planned.write(folder)
        print(f"Written to {folder}. Next: kit sheets {planned.name}")
    else:
        print("Nothing was written.")


@app.command()
def sheets(
    series: SeriesName,
    paper: Annotated[str, typer.Option(help="a4 or us-letter.")] = "a4",
    session: Annotated[
        int | None, typer.Option(metavar="NUMBER", help="Only this sitting's tiles.")
    ] = None,
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
    labels_used: Annotated[
        int, typer.Option(metavar="NUMBER", help="Stickers gone from the first sheet.")
    ] = 0,
) -> None:
    """Write the bench paper: shopping, cards, order of work, grading, labels."""
    from kit.record import write_workbook
    from kit.series import read_series, report_folder, series_folder
    from kit.sheets import labels_on, write_photo_card, write_sheets

    folder = series_folder(series)
    found = read_series(folder)
    into = report_folder(folder) / "sheets"
    with _progress() as say:
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
            for grader in found.settings.graders or ("",):
                whose = re.sub(r"\W+", "-", f"-{grader}" if grader else "")
                path = into / f"{found.name}-grades{whose}.xlsx"
                made.append(write_workbook(found, path, grader))
    print("\n".join(str(path) for path in made))


@app.command()
def grade(
    series: SeriesName,
    share: Annotated[
        bool, typer.Option("--share", help="Let phones and tablets in your network grade too.")
    ] = False,
    address_only: Annotated[
        bool, typer.Option("--address-only", help="Say the address; open no browser.")
    ] = False,
    port: Annotated[
        int | None, typer.Option(metavar="NUMBER", min=1, max=65535, help="Port to serve from.")
    ] = None,
) -> None:
    """Grade patch by patch in the browser; every tap is saved at once."""
    from kit.record import GradingServer
    from kit.series import series_folder

    server = GradingServer(series_folder(series), share, port)
    print(f"Grade at {server.address}", flush=True)
    if share:
        print(server.invitation(), flush=True)
    if not address_only:
        webbrowser.open(server.address)
    print("Leave this running while you grade. To stop it, hold Ctrl and press C.", flush=True)
    with suppress(KeyboardInterrupt):
        server.serve()
    print("\nStopped. Every tap that the form called saved is on disk.")


@app.command()
def photos(
    series: SeriesName,
    decisions: Annotated[
        str | None, typer.Option(metavar="FILE", help="Decisions saved from the contact sheet.")
    ] = None,
) -> None:
    """Measure the photographs in the series' photos folder; say what to take again."""
    from kit.photo import enter_decisions, measure_series, read_decisions, write_contact_sheet
    from kit.series import report_folder, series_folder

    folder = series_folder(series)
    if decisions is not None:
        path = _path(decisions)
        if not path.is_file():
            raise Misuse(f"There is no file {path}.")
        enter_decisions(folder, read_decisions(path))
    with _progress() as say:
        measured = measure_series(folder, progress=say)
    page = write_contact_sheet(measured, report_folder(folder) / "photos", folder / "photos")
    print(measured.describe())
    print(f"Decide on what is doubted in {page} or in the notebook for photographs.")


@app.command()
def report(
    series: Annotated[str | None, typer.Argument(metavar="SERIES", help="Its name.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Every series, and all together.")] = False,
    names: Annotated[
        bool, typer.Option("--names", help="Name the graders; else each has a letter.")
    ] = False,
    notebook: Annotated[
        bool, typer.Option("--notebook", help="Also the notebook of the report, with its results.")
    ] = False,
) -> None:
    """Write the report of a series, or of all series together."""
    from kit.report import write_every_report, write_notebook, write_report
    from kit.series import studio_folder

    if every == bool(series):
        raise Misuse("Name one series, or say --all for every one of them.")
    with _progress() as say:
        if every:
            studio = studio_folder()
            made = write_every_report(
                studio / "data", studio / "reports", names=names, progress=say
            )
        elif notebook:
            say("Running the notebook of the report")
            made = write_notebook(str(series)).with_name("report.html")
        else:
            made = write_report(str(series), names=names, progress=say)
    print(f"The report is at {made}")


@app.command()
def piece(
    name: Annotated[str, typer.Argument(metavar="PIECE", help="Its name: garden-panel.")],
    start: Annotated[bool, typer.Option("--start", help="Write a file to fill in.")] = False,
    sample: Annotated[
        str | None, typer.Option(metavar="SERIES", help="Plan the advised sample under this name.")
    ] = None,
    made: Annotated[
        str | None, typer.Option(metavar="SERIES", help="It is made: grade it under this name.")
    ] = None,
    paper: Annotated[str, typer.Option(metavar="PAPER", help="a4 or us-letter.")] = "a4",
) -> None:
    """Will a piece hold? Its weakest contact, what would help, what to fire first."""
    from kit.piece import (
        ask_about,
        made_series,
        piece_path,
        sample_series,
        start_piece,
        write_answer,
    )
    from kit.report import read_every_series
    from kit.series import series_folder, studio_folder

    studio = studio_folder()
    if start:
        every, _ = read_every_series(studio / "data")
        stock = every[-1].stock["colour"].tolist() if every else []
        if len(stock) < 2:
            raise Misuse("A piece needs two colours in a series' colours.csv. Start one: kit new")
        print(f"Fill in {start_piece(piece_path(name, studio), *stock[:2])}")
        return
    with _progress() as say:
        answer = ask_about(name, studio, progress=say)
        say("Writing page and sheet")
        files = write_answer(answer, studio / "reports", paper)
    print(answer.describe())
    print("\n".join(["", *map(str, files)]))
    like = answer.series[-1]
    if sample:
        sample_series(answer.sample, like, sample).write(series_folder(sample))
        print(f"The sample is planned. Next: kit sheets {sample}")
    if made:
        made_series(answer.piece, like, made).write(series_folder(made))
        print(f"Ready to be graded: kit grade {made}")


def _asked(ask: str, tiles: int) -> tuple[str, int]:
    """Ask in the person's words what the plan is for and how large it may be."""
    from kit.series import ASKS

    print("What do you need to know?")
    for number, words in enumerate(ASKS, start=1):
        print(f"  {number}  {words}")
    chosen = typer.prompt("Number", default=ASKS.index(ask) + 1, type=int)
    if not 1 <= chosen <= len(ASKS):
        raise Misuse(f"{chosen} is not one of the numbers 1 to {len(ASKS)}. Nothing was written.")
    return ASKS[chosen - 1], typer.prompt("How many tiles can you make?", default=tiles, type=int)


def _plan_more(folder: Path, tiles: int, yes: bool) -> None:
    """Add tiles for what a graded series leaves open."""
    from dataclasses import replace

    from kit.design import plan as make_plan
    from kit.record import add_tiles
    from kit.series import read_series

    found = read_series(folder)
    bare = replace(found, tiles=found.tiles.iloc[:0], patches=found.patches.iloc[:0])
    with _progress() as say:
        chosen = make_plan(bare, tiles=tiles, after=[found], progress=say)
    longer = add_tiles(folder, chosen.tiles, chosen.patches)
    new = longer.tiles["tile"].iloc[len(found.tiles) :]
    print(f"{chosen.describe()}\nThe new tiles are numbered {new.min()} to {new.max()}.")
    if yes or typer.confirm("Write this plan?"):
        longer.write(folder)
        print_again(folder)


def _fail(message: str, code: int) -> None:
    print(message, file=sys.stderr)
    sys.exit(code)


@contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """Show what is being done, with the time it has taken."""
    from rich.console import Console

    console = Console(stderr=True)
    with console.status("Starting") as status:

        def say(text: str) -> None:
            console.print(f"  {text}", highlight=False)
            status.update(text)

        yield say


def _path(text: str) -> Path:
    return Path(text).expanduser().resolve()


for record_command in RECORD_COMMANDS:
    app.command()(record_command)


if __name__ == "__main__":
    main()
