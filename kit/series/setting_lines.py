"""A TOML file as a person types it: where each setting stands, and what is odd in a line."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from kit.errors import Problem
from kit.series.size_limits import MOST_SETTINGS_BYTES

_SECTION = re.compile(r"\s*(\[\[?)\s*([A-Za-z0-9_.\-]+)\s*\]")
_KEY = re.compile(r"\s*([A-Za-z0-9_\-]+)\s*=\s*(.*)")
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)")
_COMMA_NUMBER = re.compile(r"=\s*(\d+),(\d+)\s*(#.*)?$")
_PAIR = re.compile(r"(?<![\d.,])(\d+),(\d+)(?![\d.])")

_IN_MG = ("factors.base_coat_weight", "factors.coat_weight")
"""Settings whose levels may be broken numbers."""


def read_toml(content: bytes, file: str) -> tuple[dict[str, Any] | None, Problem | None]:
    """Read the bytes of a file in TOML, or say why they cannot be read.

    Parameters
    ----------
    content : bytes
    file : str
        Its name, for the problem.
    """
    if len(content) > MOST_SETTINGS_BYTES:
        wrong = "It is far larger than settings can be."
        return None, Problem(file, None, "", wrong, "Put it back from a copy, or `kit restore` it.")
    try:
        text = content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        return None, Problem(file, None, "", "It is not plain text.", "Save it as UTF-8.")
    try:
        return tomllib.loads(text), None
    except (ValueError, RecursionError) as cannot:
        line, wrong, fix = unreadable_line(text, str(cannot))
        return None, Problem(file, line, "", wrong, fix)


def line_of(key: str, lines: Mapping[str, int]) -> int | None:
    """Line of a key, or of the section that it ought to stand in."""
    parts = key.split(".")
    inside_out = [".".join(parts[:n]) for n in range(len(parts), 0, -1)]
    return next((lines[key] for key in inside_out if key in lines), None)


def lines_of_keys(text: str) -> dict[str, int]:
    """Find the line, from 1, of every section and key, such as 'scale 2.name'."""
    found: dict[str, int] = {}
    for line, key, _ in _keys(text):
        found.setdefault(key, line)
    return found


def decimal_commas(text: str) -> Iterator[tuple[int, str, str]]:
    """Find levels such as [62,5], which may be meant for 62.5.

    A second number that is smaller and follows the comma without a space is no second level:
    levels are written from low to high, and people put a space between them.

    Yields
    ------
    line, key, shown
    """
    for line, key, value in _keys(text):
        if key in _IN_MG:
            for pair in _PAIR.finditer(value.split("#")[0]):
                if int(pair[2]) < int(pair[1]):
                    yield line, key, pair[0]


def unreadable_line(text: str, said: str) -> tuple[int | None, str, str]:
    """Say which line of a file that is not TOML is at fault, and what would be right.

    Parameters
    ----------
    text : str
    said : str
        What the reader of TOML said, with its line.

    Returns
    -------
    line, wrong, fix
    """
    lines = text.splitlines()
    place = _AT_LINE.search(said)
    number = int(place[1]) if place else len(lines) if "end of document" in said else None
    line = lines[number - 1] if number and number <= len(lines) else ""
    if comma := _COMMA_NUMBER.search(line):
        number_as_typed = f"{comma[1]},{comma[2]}"
        return number, f"{number_as_typed} has a comma.", f"Write {comma[1]}.{comma[2]}."
    if "overwrite" in said or "Cannot declare" in said or "already" in said:
        return number, "This setting stands twice.", "Delete one of the two."
    if re.fullmatch(r"\s*[A-Za-z_]+\s*=\s*[A-Za-z][^\"']*", line):
        return number, "Text must stand in quotes.", f"Write {_quoted(line)}."
    if re.match(r"\s*[A-Za-z_]+\s*:", line):
        return number, "There must be an = sign after the name.", "Write = for the colon."
    if "recursion" in said.lower():
        return None, "Brackets are nested far too deep.", "Delete the surplus brackets."
    shown = f" It reads: {line.strip()[:60]}" if line.strip() else ""
    fix = "Look for a quote, a bracket or an = sign that is missing there or in the line above."
    return number, f"It cannot be read from here on.{shown}", fix


def _quoted(line: str) -> str:
    name, _, value = line.partition("=")
    return f'{name.strip()} = "{value.split("#")[0].strip()}"'


def _keys(text: str) -> Iterator[tuple[int, str, str]]:
    section, counts = "", dict[str, int]()
    for line, content in enumerate(text.splitlines(), start=1):
        if head := _SECTION.match(content):
            name = head[2]
            if head[1] == "[[":
                counts[name] = counts.get(name, 0) + 1
                section = f"{name} {counts[name]}"
                yield line, name, ""
            else:
                section = name
            yield line, section, ""
        elif key := _KEY.match(content):
            yield line, f"{section}.{key[1]}" if section else key[1], key[2]
