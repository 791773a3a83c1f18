"""The commands. Each is a few lines over the same calls that the notebooks make."""

import re
import sys
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from kit.command_help import Commands
from kit.errors import DataProblems, Misuse, NotebookFailed

if TYPE_CHECKING:
    from kit.record import Amendment

app = Commands(help="Plan, fire, grade and understand test tiles of leaded and unleaded enamel.")

SeriesName = Annotated[str, typer.Argument(metavar="SERIES", help="Its name, or its folder.")]


By = Annotated[str | None, typer.Option(metavar="NAME", help="Who says so.")]
Why = Annotated[str | None, typer.Option(metavar="WORDS", help="The reason; it is kept.")]
Yes = Annotated[bool, typer.Option("--yes", help="Write without asking.")]


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
    from kit.studio import demo_series

    with _progress() as say:
        folder = demo_series(studio_folder() / "data", progress=say)
        say("Running the notebook of the report")
        notebook = write_notebook(folder)
    print(f"The report is at {notebook.with_name('report.html')}")


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
    yes: Annotated[bool, typer.Option("--yes", help="Write the plan without asking.")] = False,
) -> None:
    """Choose tiles and patches; say what they will tell and what they save."""
    from kit.design import NEXT_TILES, precision, saving
    from kit.design import plan as make_plan
    from kit.series import read_series, series_folder

    folder = series_folder(series)
    found = read_series(folder)
    earlier = [read_series(series_folder(name)) for name in after or ()]
    if found.tiles.empty and ask is None and tiles is None and not yes:
        ask, tiles = _asked(found.settings.ask, NEXT_TILES if after else found.settings.tiles)
    with _progress() as say:
        chosen = make_plan(
            found,
            ask=ask,
            tiles=tiles,
            firings="separate" if keep_each else "every",
            after=earlier,
            progress=say,
        )
        planned = chosen.series
        sure = precision(planned, earlier)
        spared = saving(planned)
    together = [f"With {', '.join(after)} before it:"] if after else []
    print("\n".join([chosen.describe(), *together, *sure.sentences(), *spared.sentences()]))
    if yes or typer.confirm("Write this plan?"):
        planned.write(folder)
        print(f"Written to {folder}. Next: kit sheets {planned.name}")
    else:
        print("Nothing was written.")


@app.command()
def check(
    series: SeriesName,
    accept: Annotated[
        bool, typer.Option("--accept", help="Take changes made by hand into the journal.")
    ] = False,
    by: By = None,
) -> None:
    """Name every problem, and whatever differs from what was entered."""
    from kit.record import reconcile
    from kit.series import counts_in_words, leftovers, read_series, series_folder, take_in_by_hand

    folder = series_folder(series)
    differs = reconcile(folder)
    print("".join(f"{said}\n" for said in (*leftovers(folder), *differs.sentences)), end="")
    found = read_series(folder)
    if accept and differs.changes:
        take_in_by_hand(folder, found.sources, by or "")
        print("What the tables say is in the journal now.")
    elif not differs.in_step:
        raise typer.Exit(code=1)
    print(f"{found.name} is in order: {counts_in_words(found)}.")


@app.command()
def merge(series: SeriesName, by: By = None, yes: Yes = False) -> None:
    """Merge copies of tables that a synchronising drive made."""
    from kit.record import merge as worked_out
    from kit.series import series_folder

    found = worked_out(series_folder(series))
    if not (found.copies or found.conflicts):
        print("There are no copies to merge, and nothing conflicts.")
        return
    chosen = []
    for conflict in found.conflicts:
        print(conflict.describe())
        number = typer.prompt("Which one holds", type=int)
        if not 1 <= number <= len(conflict.values):
            raise Misuse(f"{number} is none of the numbers shown. Nothing was written.")
        chosen.append(conflict.values[number - 1][0])
    _amend(found.settled(chosen, by or ""), yes, and_then=found.put_copies_away)


@app.command()
def history(series: SeriesName) -> None:
    """Say what was done to a series, by whom and when."""
    from kit.record import history as told
    from kit.series import series_folder

    lines = told(series_folder(series))
    print("\n".join(lines) or "Nothing is in the journal yet.")


@app.command()
def undo(
    series: SeriesName,
    event: Annotated[
        int | None,
        typer.Argument(metavar="NUMBER", help="As the history has it; else the last."),
    ] = None,
    why: Why = None,
    by: By = None,
    yes: Yes = False,
) -> None:
    """Take back what was done last, or one event of the history."""
    from kit.record import undo as take_back
    from kit.series import series_folder

    _amend(take_back(series_folder(series), event, by or "", why or ""), yes)


@app.command()
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


@app.command()
def withdraw(
    series: SeriesName,
    piece: Annotated[str, typer.Argument(metavar="PIECE", help="A patch (T3-2) or a tile (3).")],
    why: Annotated[str, typer.Option(metavar="WORDS", help="The reason; it is kept.")],
    firing: Annotated[
        int | None, typer.Option(metavar="NUMBER", help="Only after this firing.")
    ] = None,
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


@app.command()
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
) -> None:
    """Write the bench paper: shopping, cards, order of work, grading, labels."""
    from kit.record import write_workbook
    from kit.series import read_series, report_folder, series_folder
    from kit.sheets import write_photo_card, write_sheets

    folder = series_folder(series)
    found = read_series(folder)
    into = report_folder(folder) / "sheets"
    with _progress() as say:
        made = write_sheets(found, into, paper, progress=say, session=session)
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
def enter(
    series: SeriesName,
    file: Annotated[str, typer.Argument(help="A workbook or CSV that was filled in.")],
    by: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who hands it in; asked for if left out.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write without asking.")] = False,
) -> None:
    """Take in grades: shows what is new, what changes and what is wrong before it writes."""
    from kit.record import apply, take_in
    from kit.series import series_folder

    path = _path(file)
    if not path.is_file():
        raise Misuse(f"There is no file {path}.")
    intake = take_in(series_folder(series), path, by or typer.prompt("Your name"))
    print(intake.describe())
    if intake.problems:
        raise typer.Exit(code=1)
    if intake.adds_nothing:
        return
    if yes or typer.confirm("Write this?"):
        apply(intake)
        print(f"Written. The file is kept as it came: received/{intake.source}")
    else:
        print("Nothing was written.")


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
    if yes or typer.confirm("Write this?"):
        amendment.write(even_with_problems=even_with_problems)
        and_then()
        print("Written. What it was before is in the journal.")
    else:
        print("Nothing was written.")


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


if __name__ == "__main__":
    main()
