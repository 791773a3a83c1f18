"""A finding: one thing that the grades show, with its chance, its size and what lies behind it.

Pictures, titles, lists, tables and words for readers who cannot see a picture all render from the
same finding, so that none of them can be surer than another.
"""

import math
from dataclasses import dataclass

from kit.wording import FOUND, TELLING, adverb, cannot_be_told, claim, percent, upper_first

FEWEST_PATCHES = 4
"""Patches on either side of a comparison, below which nothing is claimed."""

FEWEST_OF_A_COLOUR = 3
"""Patches of a colour in one role, below which nothing is claimed of it."""

FEWEST_TO_CHECK = 24
"""Patches below which nothing is said of how well a model fits."""


def minimum_data() -> str:
    """State how many samples are needed before anything is claimed."""
    return (
        "Nothing is claimed of a family, a firing count, a sifter or a coat seen on fewer than "
        f"{FEWEST_PATCHES} patches, nor of a colour seen on fewer than {FEWEST_OF_A_COLOUR}; and "
        f"with fewer than {FEWEST_TO_CHECK} patches nothing is said of how well a model fits."
    )


@dataclass(frozen=True)
class Finding:
    """One thing that the grades may show.

    Parameters
    ----------
    chance : float
        Chance that it is so.
    subject, does : str
        What was found, as it stands in mid-sentence: 'going from 1 to 3 firings', 'raises spread'.
    size : str
        How much, as an ending; may be blank.
    patches : int
        Samples behind the weaker side of it.
    fewest : int
        Samples needed before it is claimed.
    value, low, high : float
        Best guess and interval in steps of the scale; not a number where it has none.
    little : bool
        Whether it says that there is little or nothing, and so claims no direction.
    turns : bool
        Whether it says that an effect goes one way in one case and the other way in another.
    """

    chance: float
    subject: str
    does: str
    size: str = ""
    patches: int = FEWEST_PATCHES
    fewest: int = FEWEST_PATCHES
    value: float = math.nan
    low: float = math.nan
    high: float = math.nan
    little: bool = False
    turns: bool = False

    @property
    def statement(self) -> str:
        """What was found, as a clause with no full stop."""
        return f"{self.subject} {self.does}"

    @property
    def found(self) -> bool:
        """Whether it is sure enough, and seen often enough, to be stated."""
        return self.chance >= FOUND and self.patches >= self.fewest

    @property
    def directed(self) -> bool:
        """Whether it is stated that something goes one way and not the other."""
        return self.found and not self.little

    @property
    def leaning(self) -> bool:
        """Whether it is too unsure to be stated, and yet can be told."""
        return not self.found and self.chance >= TELLING and self.patches >= self.fewest

    @property
    def lead(self) -> str:
        """How sure it is, to stand before it."""
        return f"{upper_first(adverb(self.chance))} ({percent(self.chance)}):"

    @property
    def sentence(self) -> str:
        """The finding with its size, after its `lead`; or that it cannot be told."""
        if self.found:
            return f"{self.statement}{self.size}."
        if self.leaning:
            return f"{self.statement} ({percent(self.chance)})."
        return f"{cannot_be_told(self.statement)}."

    def title(self, otherwise: str) -> str:
        """Head a picture with it, as surely as it is known; or say `otherwise`."""
        return claim(self.chance, self.subject, self.does, otherwise) if self.found else otherwise
