"""The one way by which text leaves for a page or for paper: readable, in order, and only text.

What people type may hold control characters, or marks that turn the order of the letters around
it. Neither leaves. Text that runs from right to left is set apart, so that what stands beside it
keeps its place. Source: Unicode Standard Annex 9, the bidirectional algorithm (isolates).
"""

import html
import re
import unicodedata
from collections.abc import Mapping
from typing import Any

_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")
_TURNING = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_APART, _AGAIN = "\u2068", "\u2069"


def readable(text: str) -> str:
    """Take out what cannot be seen, and set apart what runs from right to left."""
    text = _TURNING.sub("", _CONTROL.sub("", text))
    return text if text.isascii() else _set_apart(text)


def escape(text: str, quote: bool = True) -> str:
    """Make text safe to stand in HTML or SVG, in an element or in an attribute."""
    return html.escape(readable(text), quote)


def unescape(markup: str) -> str:
    """Read text that `escape` wrote: its opposite, but for what `readable` took out."""
    return html.unescape(markup)


def readable_in(value: Any) -> Any:
    """Make every text inside lists and mappings readable, names of keys aside."""
    if isinstance(value, str):
        return readable(value)
    if isinstance(value, Mapping):
        return {key: readable_in(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [readable_in(inner) for inner in value]
    return value


def _set_apart(text: str) -> str:
    """Put isolates around each run from the first to the last letter of a right-to-left script."""
    kinds = [unicodedata.bidirectional(character) for character in text]
    parts: list[str] = []
    at = 0
    while at < len(text):
        if kinds[at] not in ("R", "AL"):
            parts.append(text[at])
            at += 1
            continue
        end = last = at
        while end < len(text) and kinds[end] not in ("L", "EN", "B"):
            last = end if kinds[end] in ("R", "AL", "NSM") else last
            end += 1
        parts += [_APART, text[at : last + 1], _AGAIN]
        at = last + 1
    return "".join(parts)
