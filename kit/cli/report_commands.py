"""The commands that answer: the demo, the report of a series or of all, and of a piece."""

from typing import Annotated

import typer

from kit.cli.shared import progress
from kit.errors import Misuse


def demo() -> None:
    """Do the whole job on the demo: plan, fire, check, photograph, report, ask about a piece."""
    from kit.piece import ask_about, write_answer
    from kit.report import write_notebook
    from kit.series import studio_folder
    from kit.studio import demo_photographs, demo_piece, demo_series

    studio = studio_folder()
    with progress() as say:
        folder = demo_series(studio / "data", progress=say)
        demo_photographs(folder, progress=say)
        say("Running the notebook of the report")
        notebook = write_notebook(folder)
        answer = ask_about(demo_piece(folder.parent).stem, studio, progress=say)
        page, *_ = write_answer(answer, studio / "reports")
    print(f"The report is at {notebook.with_name('report.html')}")
    print(f"Whether the demo's piece will hold: {page}")


def report(
    series: Annotated[
        list[str] | None,
        typer.Argument(metavar="SERIES", help="Its name, or those to read as one."),
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Every series, and all together.")] = False,
    names: Annotated[
        bool, typer.Option("--names", help="Name the graders; else each has a letter.")
    ] = False,
    notebook: Annotated[
        bool, typer.Option("--notebook", help="Also the notebook of the report, with its results.")
    ] = False,
) -> None:
    """Write the report of a series, or of several or all together."""
    from kit.record import reconcile
    from kit.report import write_every_report, write_report
    from kit.series import series_folder, studio_folder

    if every == bool(series):
        raise Misuse("Name a series, or several, or say --all for every one of them.")
    together = list(dict.fromkeys(series or ()))
    if notebook and len(together) != 1:
        raise Misuse("A notebook is kept of one series at a time: name it alone.")
    with progress() as say:
        if every or len(together) > 1:
            studio = studio_folder()
            made = write_every_report(
                studio / "data",
                studio / "reports" / "+".join(together),
                names=names,
                progress=say,
                only=together,
            )
        elif notebook:
            from kit.report import write_notebook  # Jupyter's parts take a second and more to load.

            say("Running the notebook of the report")
            made = write_notebook(together[0]).with_name("report.html")
        else:
            made = write_report(together[0], names=names, progress=say)
    print(f"The report is at {made}")
    for name in together:
        if not reconcile(series_folder(name)).in_step:
            print(f"It may lack something that was entered; look first: kit check {name}")


def piece(
    name: Annotated[str, typer.Argument(metavar="PIECE", help="Its name: garden-panel.")],
    start: Annotated[bool, typer.Option("--start", help="Write a file to fill in.")] = False,
    follow: Annotated[
        str | None,
        typer.Option(metavar="PIECE", help="Write it with the first advice done, under this name."),
    ] = None,
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
        follow_advice,
        made_series,
        piece_path,
        sample_series,
        start_piece,
        stock_of_studio,
        write_answer,
    )
    from kit.series import series_folder, studio_folder

    studio = studio_folder()
    if start:
        with progress() as say:
            stock = stock_of_studio(studio, say)
        print(f"Fill in {start_piece(piece_path(name, studio), *stock[:2])}")
        return
    with progress() as say:
        answer = ask_about(name, studio, progress=say)
        say("Writing page and sheet")
        files = write_answer(answer, studio / "reports", paper)
    print(answer.describe())
    print("\n".join(["", *map(str, files)]))
    if follow:
        print(f"With the first advice done: {follow_advice(answer, piece_path(follow, studio))}")
    like = answer.like
    if sample:
        sample_series(answer.sample, like, sample).write(series_folder(sample))
        print(f"The sample is planned. Next: kit sheets {sample}")
    if made:
        made_series(answer.piece, like, made).write(series_folder(made))
        print(f"Ready to be graded: kit grade {made}")


REPORT_COMMANDS = (report, piece)
