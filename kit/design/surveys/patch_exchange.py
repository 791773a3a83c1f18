"""Exchange search over the patches of a plan: other overlays, other bases, two changing places.

A tile holds one stripe or several; a stripe has one base colour and carries patches, its rows here.
The inverse covariance of all patches is kept. Taking r patches out, and judging every candidate
for their places, are low-rank changes of it, so no plan is ever solved afresh.

What an exchange gains is the weighted average of the variance that pairs keep. Letters: V the
covariance of all pairs, w their weights, k the covariance of patches with each other and Q its
inverse, C = V at the patches' pairs. A batch holds c candidates, each of which puts other pairs in
the place of the same r patches.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from kit.design.surveys.pair_knowledge import Floats, Ints


@dataclass(frozen=True, eq=False)
class Batch:
    """Candidates for r patches.

    Parameters
    ----------
    pair : (c, r) int array
    L : (n, r) array
        Q - L L' is the inverse covariance of the patches that stay, with zeros for those that go.
    A : (n, c, r) array
        (Q - L L') times the covariance of the patches that stay with the candidates.
    S_inverse : (c, r, r) array
        Inverse covariance of the candidates given the patches that stay.
    """

    pair: Ints
    L: Floats
    A: Floats
    S_inverse: Floats


class AverageVariance:
    """Weighted sum of prediction variances, sum_p w_p Var(f_p | plan), with weights of any sum.

    With M = V W V it equals tr(W V) - tr(Q M), M taken at the patches' pairs: pairs that are on
    no tile need not be looked at while searching.
    """

    def __init__(self, V: Floats, w: Floats) -> None:
        self.M = V @ (w[:, None] * V)
        self.prior = float(np.diag(V) @ w)

    def __call__(self, pair: Ints, Q: Floats) -> "Standing":
        return Standing(self, pair, Q)


class Standing:
    """A plan as the criterion sees it.

    Attributes
    ----------
    value : float
        The criterion; small is good.
    """

    def __init__(self, of: AverageVariance, pair: Ints, Q: Floats) -> None:
        self._all, self._pair = of.M, pair
        self._M = of.M[np.ix_(pair, pair)]
        self.value = of.prior - float(np.sum(Q * self._M))

    def scores(self, batch: Batch) -> Floats:
        """Return the criterion after each exchange of a batch, shape (c,)."""
        n, c, r = batch.A.shape
        across = self._all[np.ix_(self._pair, batch.pair.ravel())].reshape(n, c, r)
        MA = (self._M @ batch.A.reshape(n, c * r)).reshape(n, c, r)
        N = np.einsum("ncr,ncs->crs", batch.A, MA - across)
        N -= np.einsum("ncr,ncs->crs", across, batch.A)
        N += self._all[batch.pair[:, :, None], batch.pair[:, None, :]]
        without = self.value + float(np.sum(batch.L * (self._M @ batch.L)))
        criterion: Floats = without - np.einsum("crs,crs->c", batch.S_inverse, N)
        return criterion


Flags = NDArray[np.bool_]

LEAST_GAIN = 1e-7
"""Share of the criterion that an exchange must win to be worth making."""

LEAST_SWEEP = 2e-4
"""Share of the criterion that a whole sweep must win for another to follow."""


@dataclass(frozen=True, eq=False)
class Places:
    """Where patches can lie: n rows, on stripes, on tiles.

    Parameters
    ----------
    stripe : (n,) int array
        Stripe of each patch, in order.
    tile_of : (stripes,) int array
        Tile of each stripe, in order.
    small : (n,) bool array
        Whether the patch is smaller than the stencil that verdicts speak of.
    """

    stripe: Ints
    tile_of: Ints
    small: Flags

    @cached_property
    def tile(self) -> Ints:
        """Tile of each patch."""
        return self.tile_of[self.stripe]

    @property
    def stripes(self) -> int:
        """How many stripes there are."""
        return len(self.tile_of)

    def rows(self, stripe: int) -> Ints:
        """The patches of a stripe."""
        return np.flatnonzero(self.stripe == stripe)

    def less(self, keep: Ints) -> "Places":
        """The same tiles with only some of the patches."""
        return Places(self.stripe[keep], self.tile_of, self.small[keep])


@dataclass(frozen=True, eq=False)
class View:
    """What one scale shows of the pairs.

    Parameters
    ----------
    V : (c², c²) array
        Covariance of the pairs.
    tile_variance, stripe_variance : float
        Of tiles; of stripes that share their tile with others.
    noise_variance : (c²,) array
        Variance of what a patch of each pair shows about its pair and tile.
    small_variance : float
        What a small patch's own variance adds.
    criterion : AverageVariance
    """

    V: Floats
    tile_variance: float
    stripe_variance: float
    noise_variance: Floats
    small_variance: float
    criterion: AverageVariance

    def noise(self, pair: Ints, small: Flags) -> Floats:
        """Variance of patches of these pairs about pair, tile and stripe."""
        return self.noise_variance[pair] + self.small_variance * small

    def shared(self, places: Places, rows: Ints, others: Ints) -> Floats:
        """Covariance that patches have by lying on one tile, on one stripe."""
        stripe, other = places.stripe[rows], places.stripe[others]
        same_tile = places.tile_of[stripe][:, None] == places.tile_of[other][None, :]
        striped = places.small[rows][:, None] & (stripe[:, None] == other[None, :])
        covariance: Floats = self.tile_variance * same_tile + self.stripe_variance * striped
        return covariance

    def plan(self, pair: Ints, places: Places) -> "PlanView":
        """The plan that has these patches."""
        every = np.arange(len(pair))
        k = self.V[np.ix_(pair, pair)] + self.shared(places, every, every)
        k[np.diag_indices_from(k)] += self.noise(pair, places.small)
        Q = np.asarray(np.linalg.inv(k), dtype=np.float64)
        return PlanView(pair, places, Q, self.criterion(pair, Q))

    def batch(self, plan: "PlanView", rows: Ints, pair: Ints) -> Batch:
        """Candidates, shape (c, r), for r rows of a plan."""
        c, r = pair.shape
        every = np.arange(len(plan.pair))
        B = self.V[np.ix_(plan.pair, pair.ravel())]
        B = B + np.tile(self.shared(plan.places, every, rows), (1, c))
        root = np.linalg.cholesky(np.linalg.inv(plan.Q[np.ix_(rows, rows)]))
        L = plan.Q[:, rows] @ root
        A = plan.Q @ B
        A -= L @ (root.T @ A[rows])
        S = self.V[pair[:, :, None], pair[:, None, :]] + self.shared(plan.places, rows, rows)
        noise = self.noise(pair, plan.places.small[rows])
        S = S + noise[:, :, None] * np.eye(r)
        S -= np.einsum("ncr,ncs->crs", A.reshape(-1, c, r), B.reshape(-1, c, r))
        return Batch(pair, L, A.reshape(-1, c, r), np.asarray(np.linalg.inv(S), dtype=np.float64))


@dataclass(frozen=True, eq=False)
class PlanView:
    """The patches of a plan as one view sees them; pair (n,), Q (n, n)."""

    pair: Ints
    places: Places
    Q: Floats
    standing: Standing

    def exchanged(self, view: View, rows: Ints, batch: Batch, chosen: int) -> "PlanView":
        """The plan with one candidate of a batch in the rows."""
        pair = self.pair.copy()
        pair[rows] = batch.pair[chosen]
        A, S_inverse = batch.A[:, chosen].copy(), batch.S_inverse[chosen]
        A[rows] = -np.eye(len(rows))
        Q = self.Q - batch.L @ batch.L.T + A @ S_inverse @ A.T
        # Rounding that is not symmetric grows tenfold with every exchange.
        Q = (Q + Q.T) / 2
        return PlanView(pair, self.places, Q, view.criterion(pair, Q))


@dataclass(frozen=True, eq=False)
class Bench:
    """What a search works with.

    Parameters
    ----------
    views : tuple of View
        One per scale; their criteria add up.
    places : Places
    allowed : (c, c) bool array
        Whether overlay j may lie on base i.
    bases, overlays : (c,) bool array
        Colours that should appear in that place.
    """

    views: tuple[View, ...]
    places: Places
    allowed: Flags
    bases: Flags
    overlays: Flags

    def value(self, pair: Ints, places: Places) -> float:
        """The criterion of a set of patches, over all views."""
        return float(sum(view.plan(pair, places).standing.value for view in self.views))


class SurveySearch:
    """A plan under improvement.

    Parameters
    ----------
    bench : Bench
    base : (stripes,) int array
        Base colour of each stripe.
    overlay : (n,) int array
        Overlay of each patch.
    """

    def __init__(self, bench: Bench, base: Ints, overlay: Ints) -> None:
        self.bench = bench
        self.base, self.overlay = base.copy(), overlay.copy()
        self._refresh()

    @property
    def value(self) -> float:
        """The criterion as the plan stands, over all views."""
        return sum(plan.standing.value for plan in self._plans)

    @property
    def pair(self) -> Ints:
        """Number of each patch's pair."""
        return self.base[self.bench.places.stripe] * len(self.bench.allowed) + self.overlay

    def improve(self, rng: np.random.Generator, sweeps: int, swaps: int) -> None:
        """Make exchanges until a sweep wins nothing, for at most so many sweeps."""
        n = len(self.overlay)
        for _ in range(sweeps):
            before = self.value
            for row in rng.permutation(n):
                self._other_overlay(int(row))
            for stripe in rng.permutation(self.bench.places.stripes):
                self._other_base(int(stripe))
            for row, other in _some_pairs(n, swaps, rng):
                self._change_places(row, other)
            self._refresh()
            if before - self.value <= LEAST_SWEEP * abs(before):
                return

    def _refresh(self) -> None:
        self._plans = [view.plan(self.pair, self.bench.places) for view in self.bench.views]

    def _neighbours(self, row: int) -> Ints:
        """Overlays of the patch's stripe."""
        return self.overlay[self.bench.places.rows(int(self.bench.places.stripe[row]))]

    def _other_overlay(self, row: int) -> None:
        base = self.base[self.bench.places.stripe[row]]
        fits = np.array(self.bench.allowed[base])
        fits[self._neighbours(row)] = False
        fits &= _may_replace(self.overlay[row], self.overlay, self.bench.overlays)
        options = np.flatnonzero(fits)
        self._take_best(np.array([row]), np.full((len(options), 1), base), options[:, None])

    def _other_base(self, stripe: int) -> None:
        places = self.bench.places
        rows = places.rows(stripe)
        fits = np.all(self.bench.allowed[:, self.overlay[rows]], axis=1)
        fits[self.base[places.tile_of == places.tile_of[stripe]]] = False
        fits &= _may_replace(self.base[stripe], self.base, self.bench.bases)
        options = np.flatnonzero(fits)
        overlay = np.repeat(self.overlay[rows][None], len(options), axis=0)
        self._take_best(rows, np.repeat(options[:, None], len(rows), axis=1), overlay)

    def _change_places(self, here: int, there: int) -> None:
        mine, theirs = self.overlay[here], self.overlay[there]
        bases = self.base[self.bench.places.stripe[[here, there]]]
        if mine == theirs or theirs in self._neighbours(here) or mine in self._neighbours(there):
            return
        if not (self.bench.allowed[bases[0], theirs] and self.bench.allowed[bases[1], mine]):
            return
        self._take_best(np.array([here, there]), bases[None], np.array([[theirs, mine]]))

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
                self.base[self.bench.places.stripe[rows]] = base[best]
                self.overlay[rows] = overlay[best]
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
        unused: Flags = wanted & (count == 0)
        return unused
    return np.ones(len(wanted), dtype=bool)


def _some_pairs(n: int, most: int, rng: np.random.Generator) -> Iterator[tuple[int, int]]:
    """Different pairs of n rows in random order, at most so many."""
    total = n * (n - 1) // 2
    chosen = rng.permutation(total)[:most] if total < 4 * most else rng.integers(0, total, most)
    first, second = np.triu_indices(n, 1)
    for number in chosen:
        yield int(first[number]), int(second[number])
