"""How sure becomes words and numbers: one place, so that every output weakens alike.

The bounds are those of the guidance note of the Intergovernmental Panel on Climate Change on
treating uncertainty (Mastrandrea et al. 2010, table 1): 99 %, 90 %, 66 % and 50 %. The words are
plainer.
"""

import math

from kit.wording.amounts import upper_first

_ADVERBS = ((0.99, "almost certainly"), (0.90, "very probably"), (0.66, "probably"))

TELLING = _ADVERBS[-1][0]
"""Below this chance a thing cannot be told."""

FOUND = _ADVERBS[1][0]
"""From this chance on a thing counts as found; between the two bounds it is a leaning."""


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


def cannot_be_told(statement: str) -> str:
    """Say that a statement can be neither held nor dropped."""
    return f"Whether {statement} cannot be told from these samples"


def percent(chance: float) -> str:
    """Say a chance or a share as whole percent that do not break, never as a false 0 or 100.

    Parts of a percent are cut off, so that no chance looks as if it met a bound that it misses.
    """
    if chance < 0.01:
        return "under 1\u00a0%"
    if chance > 0.99:
        return "over 99\u00a0%"
    return f"{whole_percent(chance)}\u00a0%"


def exact_percent(bound: float) -> str:
    """Write a confidence or another bound that was chosen, as it was chosen: '90 %', '97.5 %'."""
    return f"{100 * bound:g}\u00a0%"


def whole_percent(chance: float) -> int:
    """Cut a chance to whole percent, 1 to 99: the number that stands in a cell of a chart."""
    return min(99, max(1, math.floor(100 * chance + 1e-6)))


def in_ten(share: float) -> str:
    """Say a share of patches as a class counts it: 'about 6 in 10', 'nearly all', 'hardly any'."""
    tenths = math.floor(10 * share + 0.5)
    if tenths >= 10:
        return "nearly all"
    return f"about {tenths} in 10" if tenths else "hardly any"
