"""How sure becomes words: one place, so that every title and sentence weakens alike.

The bounds are those of the guidance note of the Intergovernmental Panel on Climate Change on
treating uncertainty (Mastrandrea et al. 2010, table 1): 99 %, 90 %, 66 % and 50 %. The words are
plainer.
"""

import datetime as dt
import math
from collections.abc import Sequence

_ADVERBS = ((0.99, "almost certainly"), (0.90, "very probably"), (0.66, "probably"))

TELLING = _ADVERBS[-1][0]
"""Below this chance a thing cannot be told."""

FOUND = _ADVERBS[1][0]
"""From this chance on a thing counts as found; between the two bounds it is a leaning."""

_NEXT_TO_NOTHING = 0.05

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


def adverb(chance: float) -> str:
    """Say a chance as an adverb; below two in three it is 'perhaps'.

    Parameters
    ----------
    chance : float
        Chance that the thing said is so, 0 to 1.
    """
    return next((word for bound, word in _ADVERBS if chance >= bound), "perhaps")


def claim(chance: float, subject: str, does: str, otherwise: str) -> str:
    """State a finding as surely as it is known.

    Parameters
    ----------
    chance : float
        Chance that the finding is so.
    subject, does : str
        'leaded over unleaded', 'spreads more'; the subject as it stands in mid-sentence.
    otherwise : str
        What is said instead when the chance is below `FOUND`: 'No pair clearly spreads most'.

    Returns
    -------
    str
        A sentence with no full stop.
    """
    return f"{upper_first(subject)} {adverb(chance)} {does}" if chance >= FOUND else otherwise


def untold(statement: str) -> str:
    """Say that a statement can be neither held nor dropped."""
    return f"Whether {statement} cannot be told from these samples"


def percent(chance: float) -> str:
    """Say a chance as whole percent that do not break, never as a false 0 or 100.

    Parts of a percent are cut off, so that no chance looks as if it met a bound that it misses.
    """
    if chance < 0.01:
        return "under 1\u00a0%"
    if chance > 0.99:
        return "over 99\u00a0%"
    return f"{whole_percent(chance)}\u00a0%"


def whole_percent(chance: float) -> int:
    """Cut a chance to whole percent, 1 to 99."""
    return min(99, max(1, math.floor(100 * chance + 1e-6)))


def of_a_step(size: float) -> str:
    """Say a size in steps of a scale: '0.8 of a step', '1.6 steps'."""
    if abs(size) < _NEXT_TO_NOTHING:
        return "under a twentieth of a step"
    said = f"{abs(size):.1f}"
    return f"{said} of a step" if float(said) < 1 else f"{said} step{'s' * (said != '1.0')}"


def interval(low: float, high: float) -> str:
    """Say an interval: '(0.1 to 0.4)'; only what is below zero has a sign."""
    low, high = (0.0 if abs(end) < _NEXT_TO_NOTHING else end for end in (low, high))
    return f"({low:.1f} to {high:.1f})".replace("-", "−")


def counted(count: int, thing: str, things: str | None = None) -> str:
    """Say a count with its noun: '1 tile', '12 tiles'."""
    return f"{count:,} {thing if count == 1 else things or thing + 's'}".replace(",", " ")


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


def inches(millimetres: float) -> str:
    """Give millimetres with inches: '14 mm (0.55 in)'."""
    return f"{millimetres:g} mm ({millimetres / 25.4:.2f} in)"


def day(date: dt.date) -> str:
    """Write a date out, the same in every locale: '14 March 2026'."""
    return f"{date.day} {_MONTHS[date.month - 1]} {date.year}"
