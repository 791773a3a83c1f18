"""The order of layers that gives a piece its best chance, never breaking what lies on what.

Which order is best hangs on nothing but how often each layer will have been fired at the end. So an
order is built from the end backwards: the last layer is fired once (and as often as the piece is
fired after it), the one before it once more, and so on.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.special import logsumexp

from kit.mixed import Array
from kit.piece.recipe import Piece, blocks, lies_on

MOST_SEARCHED = 8
"""Up to so many movable layers every order is tried; beyond, a search improves the given one."""

_EQUAL = 1e-9
"""Log chances nearer than this are taken for equal."""

LogChances = Mapping[str, Array]
"""By layer: (counts, draws) array, the log chance in each draw that the layer ends as wanted after
1, 2, ... firings."""


def best_order(piece: Piece, log_chances: LogChances) -> tuple[str, ...]:
    """Find the order under which the whole piece most probably ends as wanted.

    Parameters
    ----------
    piece : Piece
    log_chances : mapping of str to (counts, draws) array

    Returns
    -------
    tuple of str
        Names of the layers. The given order when none is better.
    """
    search = _Search(piece, log_chances)
    given = tuple(range(len(search.blocks)))
    found = search.all() if len(given) <= MOST_SEARCHED else search.improved(given)
    better = search.score(found) > search.score(given) + _EQUAL
    return search.names(found if better else given)


def _log_mean(log_chances: Array) -> float:
    """Log of the mean chance over draws, for chances too small to be told apart from zero."""
    return float(logsumexp(log_chances) - np.log(len(log_chances)))


class _Search:
    """Orders of one piece's blocks, built from the end."""

    def __init__(self, piece: Piece, log_chances: LogChances) -> None:
        self.blocks = blocks(piece)
        self.below = lies_on(piece)
        n = len(self.blocks)
        self.above = [{m for m in range(n) if k in self.below[m]} for k in range(n)]
        first = piece.closing_firings
        self.gain = [
            [sum(log_chances[name][first + later] for name in block) for later in range(n)]
            for block in self.blocks
        ]

    def names(self, order: Sequence[int]) -> tuple[str, ...]:
        return tuple(name for n in order for name in self.blocks[n])

    def score(self, order: Sequence[int]) -> float:
        """Log chance of an order."""
        return _log_mean(sum(self.gain[n][later] for later, n in enumerate(reversed(order))))

    def all(self) -> tuple[int, ...]:
        self.best: tuple[int, ...] = ()
        self.best_score = -np.inf
        self._extend((), np.zeros(1))
        return self.best

    def _extend(self, later: tuple[int, ...], total: Array) -> None:
        if len(later) == len(self.blocks):
            score = _log_mean(total)
            if score > self.best_score or not self.best:
                self.best, self.best_score = later, score
            return
        if later and _log_mean(total) <= self.best_score:
            return  # a chance only falls when a layer is added
        for n in range(len(self.blocks)):
            if n not in later and self.above[n] <= set(later):
                self._extend((n, *later), total + self.gain[n][len(later)])

    def improved(self, order: tuple[int, ...]) -> tuple[int, ...]:
        """Move one block at a time to a better place until none is better."""
        best, score = order, self.score(order)
        while True:
            tried = [new for new in _moved(best) if self._stands(new)]
            scored = [(self.score(new), new) for new in tried]
            top, new = max(scored, default=(score, best))
            if top <= score + _EQUAL:
                return best
            best, score = new, top

    def _stands(self, order: Sequence[int]) -> bool:
        place = {n: at for at, n in enumerate(order)}
        return all(place[m] < place[n] for n in order for m in self.below[n])


def _moved(order: tuple[int, ...]) -> list[tuple[int, ...]]:
    moved = []
    for start in range(len(order)):
        rest = order[:start] + order[start + 1 :]
        moved += [(*rest[:to], order[start], *rest[to:]) for to in range(len(order)) if to != start]
    return moved
