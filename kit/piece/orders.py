"""The order of layers that gives a piece its best chance, never breaking what lies on what.

Which order is best hangs on nothing but how often each layer will have been fired at the end. So an
order is built from the end backwards: the last layer is fired once (and as often as the piece is
fired after it), the one before it once more, and so on.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.special import logsumexp

from kit.mixed import Array
from kit.piece.recipe import Piece, groups, lies_on

MOST_SEARCHED = 8
"""Up to so many movable layers every order is tried; beyond, a search improves the given one."""

_EQUAL = 1e-9
"""Log chances nearer than this are taken for equal."""

LogChances = Mapping[str, Array]
"""By layer: (counts, draws) array, the log chance in each draw that the layer ends as wanted after
1, 2, ... firings."""

Order = tuple[int, ...]
"""The piece's groups, by their places in the order that was given."""


def best_order(piece: Piece, log_chances: LogChances) -> Piece:
    """Find the order under which the whole piece most probably ends as wanted.

    Parameters
    ----------
    piece : Piece
    log_chances : mapping of str to (counts, draws) array

    Returns
    -------
    Piece
        As it was given when no order is better.
    """
    search = _Search(piece, log_chances)
    given = tuple(range(len(search.groups)))
    found = search.all() if len(given) <= MOST_SEARCHED else search.improved(given)
    better = search.score(found) > search.score(given) + _EQUAL
    return _in_order(piece, found) if better else piece


def moves(piece: Piece) -> list[Piece]:
    """Every order that differs by one group put on earlier or later."""
    given = tuple(range(len(groups(piece.layers))))
    below = lies_on(piece)
    return [_in_order(piece, order) for order in _moved(given) if _stands(order, below)]


def log_chance(piece: Piece, log_chances: LogChances) -> float:
    """Log chance that every layer ends as wanted, in the piece's own order."""
    total = sum(log_chances[name][count - 1] for name, count in piece.firings().items())
    return _log_mean(np.asarray(total))


def _in_order(piece: Piece, order: Order) -> Piece:
    each = groups(piece.layers)
    return piece.reordered([layer.name for n in order for layer in each[n]])


def _log_mean(log_chances: Array) -> float:
    """Log of the mean chance over draws, for chances too small to be told apart from zero."""
    return float(logsumexp(log_chances) - np.log(len(log_chances)))


class _Search:
    """Orders of one piece's groups, built from the end."""

    def __init__(self, piece: Piece, log_chances: LogChances) -> None:
        self.groups = groups(piece.layers)
        self.below = lies_on(piece)
        n = len(self.groups)
        self.above = [{m for m in range(n) if k in self.below[m]} for k in range(n)]
        self.fired_last = piece.closing_firings
        self.fired = [max(layer.firings for layer in group) for group in self.groups]
        self.gain = [
            sum((log_chances[layer.name] for layer in group), np.zeros(1)) for group in self.groups
        ]

    def score(self, order: Order) -> float:
        """Log chance of an order."""
        total, count = np.zeros(1), self.fired_last
        for n in reversed(order):
            count += self.fired[n]
            total = total + self.gain[n][count - 1]
        return _log_mean(total)

    def all(self) -> Order:
        self.best: Order = ()
        self.best_score = -np.inf
        self._extend((), np.zeros(1), self.fired_last)
        return self.best

    def _extend(self, later: Order, total: Array, fired: int) -> None:
        if len(later) == len(self.groups):
            score = _log_mean(total)
            if score > self.best_score or not self.best:
                self.best, self.best_score = later, score
            return
        if later and _log_mean(total) <= self.best_score:
            return  # a chance only falls when a layer is added
        for n in range(len(self.groups)):
            if n not in later and self.above[n] <= set(later):
                count = fired + self.fired[n]
                self._extend((n, *later), total + self.gain[n][count - 1], count)

    def improved(self, order: Order) -> Order:
        """Move one group at a time to a better place until none is better."""
        best, score = order, self.score(order)
        while True:
            tried = [new for new in _moved(best) if _stands(new, self.below)]
            top, new = max(((self.score(new), new) for new in tried), default=(score, best))
            if top <= score + _EQUAL:
                return best
            best, score = new, top


def _stands(order: Order, below: Sequence[frozenset[int]]) -> bool:
    """Whether everything comes after what it lies on."""
    place = {n: at for at, n in enumerate(order)}
    return all(place[m] < place[n] for n in order for m in below[n])


def _moved(order: Order) -> list[Order]:
    moved = []
    for start in range(len(order)):
        rest = order[:start] + order[start + 1 :]
        moved += [(*rest[:to], order[start], *rest[to:]) for to in range(len(order)) if to != start]
    return list(dict.fromkeys(moved))
