"""The commands. Each is a few lines over the same calls that the notebooks make."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from kit.errors import DataProblems, Misuse

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Plan, fire, grade and understand test tiles of leaded and unleaded enamel.",
)

SeriesName = Annotated[str, typer.Argument(metavar="SERIES", help="Its name, or its folder.")]


def main() -> None:
    """Run a command; exit with 1 for problems in the data and 2 for misuse."""
    try:
        app()
    except DataProblems as problems:
        _fail(str(problems), code=1)
    except Misuse as misuse:
        _fail(str(misuse), code=2)


@app.command()
def demo() -> None:
    """Do the whole job on the demo series: plan, fire, check, fit, report."""
    from kit.report import render
    from kit.series import studio_folder
    from kit.studio import demo_series

    with _progress() as say:
        folder = demo_series(studio_folder() / "data", progress=say)
        report = render(folder, progress=say)
    print(f"The report is at {report}")


@app.command()
def new(
    name: Annotated[str, typer.Argument(help="Small letters, digits, hyphens: autumn-stencils.")],
    seed: Annotated[int, typer.Option(help="The same number gives the same plan.")] = 1,
) -> None:
    """Start a series: a folder with settings to fill in and empty tables."""
    from kit.series import checked_name, start_series, studio_folder

    folder = start_series(studio_folder() / "data" / checked_name(name), seed)
    print(f"Made {folder}\n1. List your colours in {folder / 'colours.csv'}")
    print(f"2. Read and change {folder / 'series.toml'}\n3. Then: kit plan {name}")


@app.command()
def check(series: SeriesName) -> None:
    """Read every file of a series and name every problem at once."""
    from kit.series import read_series, series_folder

    found = read_series(series_folder(series))
    print(
        f"{found.name} is in order: {len(found.colours)} colours, {len(found.tiles)} tiles, "
        f"{len(found.patches)} patches, {len(found.firings)} firings, {len(found.grades)} grades."
    )


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
