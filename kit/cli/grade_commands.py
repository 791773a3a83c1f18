"""The commands of grading: check, grade in the browser, take in, measure photographs."""

import webbrowser
from contextlib import suppress
from typing import Annotated

import typer

from kit.cli.shared import By, SeriesName, agreed, answered, number, path_of, progress
from kit.errors import Misuse


def check(
    series: SeriesName,
    accept: Annotated[
        bool, typer.Option("--accept", help="Take changes made by hand into the journal.")
    ] = False,
    by: By = None,
) -> None:
    """Name every problem, and whatever differs from what was entered."""
    from kit.record import reconcile
    from kit.series import (
        counts_in_words,
        leftovers,
        read_journal,
        read_series,
        series_folder,
        take_in_by_hand,
    )

    folder = series_folder(series)
    differs = reconcile(folder)
    lines = (*leftovers(folder), *differs.sentences, *differs.remarks)
    print("".join(f"{said}\n" for said in lines), end="")
    found = read_series(folder)
    if differs.in_step and not read_journal(folder).events:
        with suppress(Misuse):  # a folder that may only be read is checked all the same
            take_in_by_hand(folder, found.sources, by or "")
            print("Its journal begins now: what is changed from here on can be put back.")
    elif accept and differs.changes:
        take_in_by_hand(folder, found.sources, by or "")
        print("What the tables say is in the journal now.")
    elif not differs.in_step:
        raise typer.Exit(code=1)
    print(f"{found.name} is in order: {counts_in_words(found)}.")


def grade(
    series: SeriesName,
    share: Annotated[
        bool, typer.Option("--share", help="Let phones and tablets in your network grade too.")
    ] = False,
    address_only: Annotated[
        bool, typer.Option("--address-only", help="Say the address; open no browser.")
    ] = False,
    port: Annotated[
        int | None, number("Number of the form's address, if the usual is taken.", most=65535)
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


def enter(
    series: SeriesName,
    file: Annotated[str, typer.Argument(help="A workbook or CSV that was filled in.")],
    by: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who hands it in; asked for if left out.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write without asking.")] = False,
    sure: Annotated[
        bool, typer.Option("--sure", help="Write even what may be a mistake, without asking.")
    ] = False,
) -> None:
    """Take in grades: shows what is new, what changes and what is wrong before it writes."""
    from kit.record import apply, take_in
    from kit.series import series_folder

    path = path_of(file)
    if not path.is_file():
        raise Misuse(f"There is no file {path}.")
    by = by or answered(lambda: str(typer.prompt("Your name")), "add --by and a name")
    intake = take_in(series_folder(series), path, by)
    print(intake.describe())
    if intake.problems:
        raise typer.Exit(code=1)
    if intake.adds_nothing:
        return
    if agreed((yes and not intake.doubts) or sure):
        apply(intake)
        print(f"Written. The file is kept as it came: received/{intake.source}")
    else:
        print("Nothing was written.")


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
        path = path_of(decisions)
        if not path.is_file():
            raise Misuse(f"There is no file {path}.")
        enter_decisions(folder, read_decisions(path))
    with progress() as say:
        measured = measure_series(folder, progress=say)
    page = write_contact_sheet(measured, report_folder(folder) / "photos", folder / "photos")
    print(measured.describe())
    print(f"Decide on what is doubted in {page} or in the notebook for photographs.")


GRADE_COMMANDS = (check, grade, enter, photos)
