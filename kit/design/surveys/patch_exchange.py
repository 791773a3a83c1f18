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

from kit.design.surveys.average_variance import Batch, Criterion, Standing
from kit.design.surveys.pair_covariance import Floats, Ints

Flags = NDArray[np.bool_]

LEAST_GAIN = 1e-7
"""Share of the criterion that an exchange must win to be worth making."""

LEAST_SWEEP = 2e-4
"""Share of the criterion that a whole sweep must win for another to follow."""


@dataclass(frozen=True, eq=False)
class View:
    """What one scale shows of the pairs.

    Parameters
    ----------
    V : (c², c²) array
        Covariance of the pairs.
    tile_variance : float
    noise_variance : (c²,) array
        Variance of what a patch of each pair shows about its pair and tile.
    criterion : Criterion
    """

    V: Floats
    tile_variance: float
    noise_variance: Floats
    criterion: Criterion

    def covariance(self, pair: Ints, tile: Ints, to_pair: Ints, to_tile: Ints) -> Floats:
        """Covariance of patches with other patches, without their own noise."""
        same_tile = tile[:, None] == to_tile[None, :]
        return self.V[np.ix_(pair, to_pair)] + self.tile_variance * same_tile

    def plan(self, pair: Ints, tile: Ints) -> "Plan":
        """The plan that has these patches."""
        k = self.covariance(pair, tile, pair, tile)
        k[np.diag_indices_from(k)] += self.noise_variance[pair]
        Q = np.asarray(np.linalg.inv(k), dtype=np.float64)
        return Plan(pair, tile, Q, self.criterion(pair, Q))

    def batch(self, plan: "Plan", rows: Ints, pair: Ints) -> Batch:
        """Candidates, shape (c, r), for r rows of a plan."""
        c, r = pair.shape
        tile = plan.tile[rows]
        B = self.covariance(plan.pair, plan.tile, pair.ravel(), np.tile(tile, c))
        root = np.linalg.cholesky(np.linalg.inv(plan.Q[np.ix_(rows, rows)]))
        L = plan.Q[:, rows] @ root
        A = plan.Q @ B
        A -= L @ (root.T @ A[rows])
        S = self.V[pair[:, :, None], pair[:, None, :]]
        S = S + self.tile_variance * (tile[:, None] == tile[None, :])
        S = S + self.noise_variance[pair][:, :, None] * np.eye(r)
        S -= np.einsum("ncr,ncs->crs", A.reshape(-1, c, r), B.reshape(-1, c, r))
        return Batch(pair, L, A.reshape(-1, c, r), np.linalg.inv(S))


@dataclass(frozen=True, eq=False)
class Plan:
    """The patches of a plan as one view sees them; pair and tile (n,), Q (n, n)."""

    pair: Ints
    tile: Ints
    Q: Floats
    standing: Standing

    def exchanged(self, view: View, rows: Ints, batch: Batch, chosen: int) -> "Plan":
        """The plan with one candidate of a batch in the rows."""
        pair = self.pair.copy()
        pair[rows] = batch.pair[chosen]
        A, S_inverse = batch.A[:, chosen].copy(), batch.S_inverse[chosen]
        A[rows] = -np.eye(len(rows))
        Q = self.Q - batch.L @ batch.L.T + A @ S_inverse @ A.T
        # Rounding that is not symmetric grows tenfold with every exchange.
        Q = (Q + Q.T) / 2
        return Plan(pair, self.tile, Q, view.criterion(pair, Q))


@dataclass(frozen=True, eq=False)
class Bench:
    """What a search works with.

    Parameters
    ----------
    views : tuple of View
        One per scale; their criteria add up.
    allowed : (c, c) bool array
        Whether overlay j may lie on base i.
    bases, overlays : (c,) bool array
        Colours that should appear in that place.
    known_pair, known_tile : (k,) int array
        Patches already fired; their tile numbers are negative.
    """

    views: tuple[View, ...]
    allowed: Flags
    bases: Flags
    overlays: Flags
    known_pair: Ints
    known_tile: Ints

    def value(self, pair: Ints, tile: Ints) -> float:
        """The criterion of a set of patches, over all views."""
        pair = np.concatenate([pair, self.known_pair])
        tile = np.concatenate([tile, self.known_tile])
        return float(sum(view.plan(pair, tile).standing.value for view in self.views))


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

    """

    def __init__(self, bench: Bench, base: Ints, overlay: Ints) -> None:
        self.bench = bench
        self.base, self.overlay = base.copy(), overlay.copy()
        tiles, m = overlay.shape
        self._tile = np.concatenate([np.repeat(np.arange(tiles), m), bench.known_tile])
        self._refresh()

    @property
    def value(self) -> float:
        """The criterion as the plan stands, over all views."""
        return sum(plan.standing.value for plan in self._plans)

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
            if before - self.value <= LEAST_SWEEP * abs(before):
                return

    def _refresh(self) -> None:
        pair = np.concatenate([self._pairs(self.base, self.overlay), self.bench.known_pair])
        self._plans = [view.plan(pair, self._tile) for view in self.bench.views]

    def _pairs(self, base: Ints, overlay: Ints) -> Ints:
        return (base[:, None] * len(self.bench.allowed) + overlay).ravel()

    def _other_overlay(self, tile: int, slot: int) -> None:
        fits = np.array(self.bench.allowed[self.base[tile]])
        fits[self.overlay[tile]] = False
        fits &= _may_replace(self.overlay[tile, slot], self.overlay, self.bench.overlays)
        options = np.flatnonzero(fits)
        rows = np.array([tile * self.overlay.shape[1] + slot])
        base = np.full((len(options), 1), self.base[tile])
        self._take_best(rows, base, options[:, None])

    def _other_base(self, tile: int) -> None:
        fits = np.all(self.bench.allowed[:, self.overlay[tile]], axis=1)
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
        pair = base * len(self.bench.allowed) + overlay
        each = list(zip(self.bench.views, self._plans, strict=True))
        batches = [view.batch(plan, rows, pair) for view, plan in each]
        scores = np.sum(
            [p.standing.scores(b) for p, b in zip(self._plans, batches, strict=True)], axis=0
        )
        for best in np.argsort(scores, kind="stable"):
            if self.value - scores[best] <= LEAST_GAIN * abs(self.value):
                return
            if self._stays_connected(rows, pair[best]):
                tile, slot = np.divmod(rows, self.overlay.shape[1])
                self.base[tile], self.overlay[tile, slot] = base[best], overlay[best]
                self._plans = [
                    plan.exchanged(view, rows, batch, best)
                    for (view, plan), batch in zip(each, batches, strict=True)
                ]
                return

    def _stays_connected(self, rows: Ints, pair: Ints) -> bool:
        c = len(self.bench.allowed)
        now = self._plans[0].pair
        then = now.copy()
        then[rows] = pair
        return parts(then, c) <= max(1, parts(now, c))


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
