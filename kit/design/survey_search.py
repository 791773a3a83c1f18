"""Exchange search for a survey: other overlays, other bases, two overlays changing places.

The inverse covariance of all patches is kept. Taking r patches out, and judging every candidate
for their places, are low-rank changes of it, so no plan is ever solved afresh.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from kit.design.pair_field import Floats, Ints
from kit.design.survey_criterion import Batch, Criterion, Rest

Flags = NDArray[np.bool_]

LEAST_GAIN = 1e-7
"""Share of the criterion that an exchange must win to be worth making."""

LEAST_SWEEP = 1e-4
"""Share of the criterion that a whole sweep must win for another to follow."""


@dataclass(frozen=True, eq=False)
class Bench:
    """What a search works with.

    Parameters
    ----------
    V : (c², c²) array
        Covariance of the pairs.
    tile_variance, noise_variance : float
    allowed : (c, c) bool array
        Whether overlay j may lie on base i.
    bases, overlays : (c,) bool array
        Colours that should appear in that place.
    known_pair, known_tile : (k,) int array
        Patches already fired; their tile numbers are negative.
    criterion : Criterion
    """

    V: Floats
    tile_variance: float
    noise_variance: float
    allowed: Flags
    bases: Flags
    overlays: Flags
    known_pair: Ints
    known_tile: Ints
    criterion: Criterion

    def covariance(self, pair: Ints, tile: Ints, to_pair: Ints, to_tile: Ints) -> Floats:
        """Covariance of patches with other patches, without their own noise."""
        same_tile = tile[:, None] == to_tile[None, :]
        return self.V[np.ix_(pair, to_pair)] + self.tile_variance * same_tile


class SurveySearch:
    """A plan under improvement.

    Patch s of tile t is row t * m + s of every matrix; patches already fired follow.

    Parameters
    ----------
    bench : Bench
    base : (t,) int array
        Base colour of each tile.
    overlay : (t, m) int array
        Overlay of each patch.

    Attributes
    ----------
    value : float
        The criterion as the plan stands.
    """

    def __init__(self, bench: Bench, base: Ints, overlay: Ints) -> None:
        self.bench = bench
        self.base, self.overlay = base.copy(), overlay.copy()
        tiles, m = overlay.shape
        self._tile = np.concatenate([np.repeat(np.arange(tiles), m), bench.known_tile])
        self._refresh()

    def improve(self, rng: np.random.Generator, sweeps: int, swaps: int) -> None:
        """Make exchanges until a sweep wins nothing, for at most so many sweeps."""
        tiles, m = self.overlay.shape
        for _ in range(sweeps):
            before = self.value
            for row in rng.permutation(tiles * m):
                self._other_overlay(*divmod(int(row), m))
            for tile in rng.permutation(tiles):
                self._other_base(int(tile))
            for row, other in _some_pairs(tiles * m, swaps, rng):
                self._change_places(divmod(row, m), divmod(other, m))
            self._refresh()
            if before - self.value <= LEAST_SWEEP * before:
                return

    def _refresh(self) -> None:
        self._pair = np.concatenate([self._pairs(self.base, self.overlay), self.bench.known_pair])
        k = self.bench.covariance(self._pair, self._tile, self._pair, self._tile)
        k[np.diag_indices_from(k)] += self.bench.noise_variance
        self._Q = np.linalg.inv(k)
        self.value = self.bench.criterion.value(Rest(self._pair, self._Q))

    def _pairs(self, base: Ints, overlay: Ints) -> Ints:
        return (base[:, None] * len(self.bench.allowed) + overlay).ravel()

    def _other_overlay(self, tile: int, slot: int) -> None:
        fits = self.bench.allowed[self.base[tile]].copy()
        fits[self.overlay[tile]] = False
        fits &= _may_replace(self.overlay[tile, slot], self.overlay, self.bench.overlays)
        options = np.flatnonzero(fits)
        rows = np.array([tile * self.overlay.shape[1] + slot])
        base = np.full((len(options), 1), self.base[tile])
        self._take_best(rows, base, options[:, None])

    def _other_base(self, tile: int) -> None:
        fits = self.bench.allowed[:, self.overlay[tile]].all(axis=1)
        fits[self.base[tile]] = False
        fits &= _may_replace(self.base[tile], self.base, self.bench.bases)
        options = np.flatnonzero(fits)
        m = self.overlay.shape[1]
        overlay = np.repeat(self.overlay[tile][None], len(options), axis=0)
        self._take_best(tile * m + np.arange(m), np.repeat(options[:, None], m, axis=1), overlay)

    def _change_places(self, here: tuple[int, int], there: tuple[int, int]) -> None:
        mine, theirs = self.overlay[here], self.overlay[there]
        bases = self.base[[here[0], there[0]]]
        if mine == theirs or theirs in self.overlay[here[0]] or mine in self.overlay[there[0]]:
            return
        if not (self.bench.allowed[bases[0], theirs] and self.bench.allowed[bases[1], mine]):
            return
        m = self.overlay.shape[1]
        rows = np.array([here[0] * m + here[1], there[0] * m + there[1]])
        self._take_best(rows, bases[None], np.array([[theirs, mine]]))

    def _take_best(self, rows: Ints, base: Ints, overlay: Ints) -> None:
        """Put the best of the candidates, shapes (c, r), into the rows if it wins anything."""
        if len(base) == 0:
            return
        keep = np.delete(np.arange(len(self._pair)), rows)
        rest = Rest(self._pair[keep], _downdated(self._Q, keep, rows))
        batch = self._batch(rest, keep, rows, base * len(self.bench.allowed) + overlay)
        scores = self.bench.criterion.scores(rest, batch)
        for best in np.argsort(scores, kind="stable"):
            if self.value - scores[best] <= LEAST_GAIN * self.value:
                return
            if self._stays_connected(rows, base[best], overlay[best]):
                self._put(rows, base[best], overlay[best])
                self._pair[rows] = batch.pair[best]
                self._Q = _updated(rest.Q, keep, rows, batch.A[:, best], batch.S_inverse[best])
                self.value = float(scores[best])
                return

    def _batch(self, rest: Rest, keep: Ints, rows: Ints, pair: Ints) -> Batch:
        c, r = pair.shape
        tile = np.tile(self._tile[rows], c)
        B = self.bench.covariance(rest.pair, self._tile[keep], pair.ravel(), tile)
        A = rest.Q @ B
        S = self.bench.V[pair[:, :, None], pair[:, None, :]]
        S = S + self.bench.tile_variance * (tile[:r, None] == tile[None, :r])
        S = S + self.bench.noise_variance * np.eye(r)
        S -= np.einsum("ncr,ncs->crs", A.reshape(-1, c, r), B.reshape(-1, c, r))
        return Batch(pair, A.reshape(-1, c, r), np.linalg.inv(S))

    def _put(self, rows: Ints, base: Ints, overlay: Ints) -> None:
        tile, slot = np.divmod(rows, self.overlay.shape[1])
        self.base[tile] = base
        self.overlay[tile, slot] = overlay

    def _stays_connected(self, rows: Ints, base: Ints, overlay: Ints) -> bool:
        c = len(self.bench.allowed)
        then = self._pair.copy()
        then[rows] = base * c + overlay
        return parts(then, c) <= max(1, parts(self._pair, c))


def parts(pair: Ints, colours: int) -> int:
    """Number of parts that bases and overlays fall into when every patch links its two."""
    base, overlay = np.divmod(pair, colours)
    links = coo_array((np.ones(len(pair)), (base, colours + overlay)), shape=(2 * colours,) * 2)
    _, label = connected_components(links, directed=False)
    return len(np.unique(label[np.concatenate([base, colours + overlay])]))


def _may_replace(old: int, now: Ints, wanted: Flags) -> Flags:
    """Colours that may stand where `old` stands without a wanted colour dropping out."""
    count = np.bincount(now.ravel(), minlength=len(wanted))
    if wanted[old] and count[old] == 1:
        return wanted & (count == 0)
    return np.ones(len(wanted), dtype=bool)


def _some_pairs(n: int, most: int, rng: np.random.Generator) -> Iterator[tuple[int, int]]:
    """Different pairs of n rows in random order, at most so many."""
    total = n * (n - 1) // 2
    chosen = rng.permutation(total)[:most] if total < 4 * most else rng.integers(0, total, most)
    first, second = np.triu_indices(n, 1)
    for number in chosen:
        yield int(first[number]), int(second[number])


def _downdated(Q: Floats, keep: Ints, rows: Ints) -> Floats:
    """Inverse covariance of the rows that are kept, from that of all."""
    across = Q[np.ix_(keep, rows)]
    return Q[np.ix_(keep, keep)] - across @ np.linalg.solve(Q[np.ix_(rows, rows)], across.T)


def _updated(Q: Floats, keep: Ints, rows: Ints, A: Floats, S_inverse: Floats) -> Floats:
    """Inverse covariance with rows put back; A and S_inverse as in a batch, for one candidate."""
    whole = np.empty((len(keep) + len(rows),) * 2)
    AS = A @ S_inverse
    whole[np.ix_(keep, keep)] = Q + AS @ A.T
    whole[np.ix_(keep, rows)] = -AS
    whole[np.ix_(rows, keep)] = -AS.T
    whole[np.ix_(rows, rows)] = S_inverse
    # Rounding that is not symmetric grows tenfold with every update; symmetric rounding stays.
    return (whole + whole.T) / 2
