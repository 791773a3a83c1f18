"""What would help a piece most, what it does to the chance, and how surely it helps.

A change is chosen on one set of draws and scored on another, so that what is said to be gained is
not luck of the draw. How surely it helps is the share of all that may be true in which the piece
ends as wanted more often with the change than without.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.mixed import Array
from kit.piece.bench_changes import SIMPLER, Change
from kit.piece.contact_draws import CHECK_SEED, SEED, TILES, Knowledge
from kit.piece.outlook import PieceOutlook, state_chances
from kit.wording import adverb, percent, upper_first

WORTH_SAYING = 0.02
"""Least gain of the whole piece's chance that is named."""


@dataclass(frozen=True)
class Advice:
    """One change and what it would do.

    Parameters
    ----------
    change : Change
    before, after : float
        Chance of the whole piece.
    sure : float
        Chance that it helps.
    """

    change: Change
    before: float
    after: float
    sure: float

    @property
    def gain(self) -> float:
        """How much the chance of the whole piece rises."""
        return self.after - self.before

    @property
    def sentence(self) -> str:
        """The change and what it does, as a person would say it."""
        return (
            f"{upper_first(self.change.what)}: the whole piece then ends as wanted with a chance "
            f"of {percent(self.after)}, not {percent(self.before)}. "
            f"This {adverb(self.sure)} helps ({percent(self.sure)})."
        )


def advice(outlook: PieceOutlook, known: Knowledge, options: Sequence[Change]) -> list[Advice]:
    """Find the changes that would help most, at most one of each kind for each layer.

    Parameters
    ----------
    outlook : PieceOutlook
    known : Knowledge
    options : sequence of Change
        What a person could do, as `changes` lists it.

    Returns
    -------
    list of Advice
        The most helpful first; empty when nothing gains enough.
    """
    piece = outlook.piece
    before, *after = state_chances([piece, *(o.piece for o in options)], known, SEED).mean(axis=1)
    best: dict[tuple[str, str], int] = {}
    for n in sorted(range(len(options)), key=lambda n: -after[n]):
        if after[n] - before >= WORTH_SAYING:
            best.setdefault((options[n].kind, options[n].place), n)
    chosen = [options[n] for n in best.values()]
    fresh = state_chances(
        [piece, *(one.piece for one in chosen)], known, CHECK_SEED, tiles=range(TILES)
    )
    found = [
        _advice(outlook, change, own - fresh[0])
        for change, own in zip(chosen, fresh[1:], strict=True)
    ]
    worth = [one for one in found if one.gain >= WORTH_SAYING and _beats_simpler(one, found)]
    return sorted(worth, key=lambda one: -one.gain)


def _advice(outlook: PieceOutlook, change: Change, gain: Array) -> Advice:
    """Claim what a change does, from its gain in each state of knowledge."""
    after = np.clip(outlook.chance + gain.mean(), 0.0, 1.0)
    return Advice(change, outlook.chance, float(after), float(np.mean(gain > 0)))


def _beats_simpler(one: Advice, found: Sequence[Advice]) -> bool:
    """Whether no change that asks for less does as much, within what is worth saying."""
    simpler = SIMPLER.get(one.change.kind, ())
    return all(
        one.after >= other.after + WORTH_SAYING for other in found if other.change.kind in simpler
    )
