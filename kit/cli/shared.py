"""What the commands share: how a series is named, who says so, and progress on the screen."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

SeriesName = Annotated[str, typer.Argument(metavar="SERIES", help="Its name, or its folder.")]
By = Annotated[str | None, typer.Option(metavar="NAME", help="Who says so.")]
Why = Annotated[str | None, typer.Option(metavar="WORDS", help="The reason; it is kept.")]
Yes = Annotated[bool, typer.Option("--yes", help="Write without asking.")]


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


def path_of(text: str) -> Path:
    """Read a path as it is typed, '~' and all."""
    return Path(text).expanduser().resolve()
