"""What commands share: naming a series, saying who, progress, and how they explain themselves."""

import re
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, TypeVar

import typer
from typer.core import TyperCommand, TyperGroup

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


_WIDEST = 80
_GAP = "  "


class Commands(typer.Typer):
    """Commands that all explain themselves in this way."""

    def __init__(self, help: str) -> None:
        super().__init__(
            cls=_Group,
            help=help,
            add_completion=False,
            no_args_is_help=True,
            pretty_exceptions_enable=False,
            rich_markup_mode=None,
        )

    def command(self, name: str | None = None, **told: Any) -> Callable[[Any], Any]:
        """Make a function a command."""
        return super().command(name, **{"cls": _Command, **told})


class _Command(TyperCommand):
    def format_usage(self, ctx: Any, formatter: Any) -> None:
        formatter.write(f"{_usage(self, ctx)}\n")

    def format_help(self, ctx: Any, formatter: Any) -> None:
        options = [_option_line(o) for o in self.params if o.param_type_name == "option"]
        arguments = [(_shown(a), a.help or "") for a in _arguments(self)]
        formatter.write(
            _told(_usage(self, ctx), self.help, arguments, [*options, ("--help", "Show this.")])
        )


class _Group(TyperGroup):
    def format_usage(self, ctx: Any, formatter: Any) -> None:
        formatter.write(f"Usage: {ctx.command_path} COMMAND\n")

    def format_help(self, ctx: Any, formatter: Any) -> None:
        commands = [
            (name, command.help or "")
            for name in self.list_commands(ctx)
            if (command := self.get_command(ctx, name))
        ]
        usage = f"Usage: {ctx.command_path} COMMAND"
        more = f"More about one of them: {ctx.command_path} COMMAND --help"
        formatter.write(f"{_told(usage, self.help, commands)}\n{more}\n")


def _usage(command: TyperCommand, ctx: Any) -> str:
    named = [_shown(a) if a.required else f"[{_shown(a)}]" for a in _arguments(command)]
    return " ".join(["Usage:", ctx.command_path, *named, "[options]"])


def _arguments(command: TyperCommand) -> list[Any]:
    return [p for p in command.params if p.param_type_name == "argument"]


def _shown(parameter: Any) -> str:
    return str(parameter.metavar or parameter.name.upper())


def _option_line(option: Any) -> tuple[str, str]:
    name = option.opts[0] if option.is_flag else f"{option.opts[0]} {_shown(option)}"
    told = option.help or ""
    if not option.is_flag and isinstance(option.default, str | int):
        told += f" If left out: {option.default}."
    return name, told


def _told(usage: str, help: str | None, *lists: Sequence[tuple[str, str]]) -> str:
    """Set usage, purpose and lists of names with their meaning, all lists on one margin."""
    width = min(_WIDEST, shutil.get_terminal_size().columns)
    margin = max(len(name) for rows in lists for name, _ in rows) + 2 * len(_GAP)
    parts = [textwrap.fill(part, width, break_long_words=False) for part in (usage, help or "")]
    for rows in filter(None, lists):
        parts.append("\n".join(_line(name, told, margin, width) for name, told in rows))
    return "\n\n".join(filter(None, parts)) + "\n"


def _line(name: str, told: str, margin: int, width: int) -> str:
    return textwrap.fill(
        told,
        max(width, margin + 20),
        initial_indent=f"{_GAP}{name}".ljust(margin),
        subsequent_indent=" " * margin,
        break_long_words=False,
        break_on_hyphens=False,
    )
