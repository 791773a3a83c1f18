"""Counts, lists, dates and capitals as a sentence needs them."""

import datetime as dt
from collections.abc import Sequence

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


def counted(count: int, thing: str, things: str | None = None) -> str:
    """Say a count with its noun: '1 tile', '12 tiles'."""
    return f"{count:,} {thing if count == 1 else things or thing + 's'}".replace(",", " ")


def times(count: int) -> str:
    """Say how often: 'once', 'twice', '3 times'."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def listed(words: Sequence[str], last: str = "and") -> str:
    """Join words as a sentence does: 'a, b and c'."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def upper_first(text: str) -> str:
    """Start a text with a capital and leave the rest as it is."""
    return text[:1].upper() + text[1:]


def lower_first(text: str) -> str:
    """Start a text with a small letter and leave the rest as it is."""
    return text[:1].lower() + text[1:]


def day(date: dt.date) -> str:
    """Write a date out, the same in every locale: '14 March 2026'."""
    return f"{date.day} {_MONTHS[date.month - 1]} {date.year}"
