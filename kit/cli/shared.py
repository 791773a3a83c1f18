"""What the commands share: how a series is named, who says so, and progress on the screen."""

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, TypeVar

import typer

from kit.errors import Misuse

Answer = TypeVar("Answer")

SeriesName = Annotated[str, typer.Argument(metavar="SERIES", help="Its name, or its folder.")]
By = Annotated[str | None, typer.Option(metavar="NAME", help="Who says so.")]
Why = Annotated[str | None, typer.Option(metavar="WORDS", help="The reason; it is kept.")]
Yes = Annotated[bool, typer.Option("--yes", help="Write without asking.")]


def whole(least: int = 1, most: int = 10**9) -> Callable[[str], int]:
    """Make what reads a whole number as it is typed, and says plainly what it should have been."""
    bounds = f"from {least} to {most}" if most < 10**9 else f"of {least} or more"

    def read(text: str) -> int:
        if not re.fullmatch(r"[0-9]{1,9}", str(text)) or not least <= int(text) <= most:
            raise typer.BadParameter(f"'{text}' should be a whole number {bounds}.")
        return int(text)

    return read


def number(help: str, least: int = 1, most: int = 10**9) -> Any:
    """An option that takes a whole number."""
    return typer.Option(metavar="NUMBER", parser=whole(least, most), help=help)


@contextmanager
def progress() -> Iterator[Callable[[str], None]]:
    """Show what is being done, with the time it has taken."""
    from rich.console import Console

    console = Console(stderr=True)
    with console.status("Starting") as status:

        def say(text: str) -> None:
            console.print(f"  {text}", highlight=False)
            status.update(text)

        yield say


def answered(ask: Callable[[], Answer], instead: str) -> Answer:
    """Ask a person; where nobody can answer, say what would do `instead`."""
    try:
        return ask()
    except typer.Abort:
        if sys.stdin.isatty():
            raise
        raise Misuse(
            f"This asks a question and nobody is there to answer. Nothing was written; {instead}."
        ) from None


def agreed(yes: bool, question: str = "Write this?") -> bool:
    """Whether a person said, or says now, that it may be written."""
    return yes or answered(lambda: typer.confirm(question), "add --yes")


def path_of(text: str) -> Path:
    """Read a path as it is typed, '~' and all."""
    return Path(text).expanduser().resolve()
