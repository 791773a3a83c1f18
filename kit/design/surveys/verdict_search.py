"""The patches that are expected to allow most right verdicts.

A verdict's worth is no plain function of variances, but what a little less variance of a pair is
worth can be told at any plan. The search starts from colours dealt evenly and makes the exchanges
that win most at those worths. (Working the worths out anew from the plan it came to, and searching
again, was tried: it wins nothing that can be told from chance.)
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.design.surveys.deal_over_stripes import Task, deal
from kit.design.surveys.pair_knowledge import Floats, Ints, PairKnowledge
from kit.design.surveys.patch_exchange import (
    AverageVariance,
    Bench,
    Places,
    SurveySearch,
    View,
)
from kit.design.surveys.verdict_criterion import expected_verdicts, worth_of_variance

SWEEPS, SWAPS = 8, 200


@dataclass(frozen=True, eq=False)
class Chosen:
    """Patches in places: base (stripes,), overlay (n,), and the plan's value."""

    places: Places
    base: Ints
    overlay: Ints
    value: float

    def pair(self, colours: int) -> Ints:
        """Number of each patch's pair."""
        return self.base[self.places.stripe] * colours + self.overlay

    def frame(self, known: PairKnowledge, first_tile: int = 1) -> pd.DataFrame:
        """One row a patch: tile, stripe (of its tile, from 1), small, base and overlay."""
        names = known.pairs.iloc[self.pair(len(known.colours))].reset_index(drop=True)
        place = self.places
        first = np.searchsorted(place.tile_of, place.tile_of, side="left")
        number = np.arange(place.stripes) - first + 1
        frame = names.assign(
            tile=place.tile + first_tile, stripe=number[place.stripe], small=place.small
        )
        return frame[["tile", "stripe", "small", "base", "overlay"]]


def remaining_shares(known: PairKnowledge, pair: Ints, places: Places) -> tuple[Floats, Floats]:
    """Share of each judged pair's variance that firing these patches leaves, on each score."""
    shares = []
    every = np.arange(len(pair))
    for view in _views(known):
        k = view.V[np.ix_(pair, pair)] + view.shared(places, every, every)
        k[np.diag_indices_from(k)] += view.noise(pair, places.small)
        half = np.linalg.solve(np.linalg.cholesky(k), view.V[pair][:, known.judged])
        before = np.diag(view.V)[known.judged]
        shares.append(np.clip(1 - np.einsum("ij,ij->j", half, half) / before, 1e-4, 1.0))
    return shares[0], shares[-1]


def after_firing(known: PairKnowledge, pair: Ints, places: Places) -> PairKnowledge:
    """What would be known of pairs once these patches are graded, whatever the grades."""
    every = np.arange(len(pair))
    scores = []
    for score, view in zip(known.scores, _views(known, apart=True), strict=True):
        k = view.V[np.ix_(pair, pair)] + view.shared(places, every, every)
        k[np.diag_indices_from(k)] += view.noise(pair, places.small)
        half = np.linalg.solve(np.linalg.cholesky(k), view.V[pair])
        covariance = view.V - half.T @ half
        less = (np.diag(covariance) / np.diag(view.V))[:, None]
        scores.append(replace(score, covariance=covariance, variance=less * score.variance))
    return replace(known, scores=(scores[0], scores[1]))


def value_of(known: PairKnowledge, task: Task, pair: Ints, places: Places) -> float:
    """Right verdicts to expect of a plan, weighted, less what wrong ones cost."""
    worth = expected_verdicts(known, remaining_shares(known, pair, places)).value(task.wrong_costs)
    return float(task.weight[known.judged] @ worth)


def best_patches(
    known: PairKnowledge,
    task: Task,
    places: Places,
    rng: np.random.Generator,
) -> Chosen:
    """Choose base and overlays for every place.

    Returns
    -------
    Chosen
        The best by expected right verdicts of the plan dealt evenly and those searched from it.

    Raises
    ------
    Misuse
        When the places need more different colours than there are.
    """
    base, overlay = deal(task, places, rng)
    c = len(known.colours)

    def valued(base: Ints, overlay: Ints) -> Chosen:
        value = value_of(known, task, base[places.stripe] * c + overlay, places)
        return Chosen(places, base, overlay, value)

    even = valued(base, overlay)
    left = remaining_shares(known, even.pair(c), places)
    worth = worth_of_variance(known, left, task.wrong_costs)
    views = _views(known, (worth[0] * task.weight, worth[1] * task.weight))
    search = SurveySearch(
        Bench(views, places, task.allowed, task.bases, task.overlays), base, overlay
    )
    search.improve(rng, SWEEPS, SWAPS)
    return max(even, valued(search.base, search.overlay), key=lambda plan: plan.value)


def dealt_evenly(
    known: PairKnowledge, task: Task, places: Places, rng: np.random.Generator
) -> Ints:
    """Pairs of patches whose colours are dealt evenly, without a search."""
    base, overlay = deal(task, places, rng)
    return base[places.stripe] * len(known.colours) + overlay


def without_surplus(known: PairKnowledge, task: Task, chosen: Chosen, patches: int) -> Chosen:
    """Leave out the patches that would be missed least, until so many are left."""
    pair = chosen.pair(len(known.colours))
    keep = np.arange(len(pair))
    while len(keep) > patches:
        # The last tile alone gives way, so that the others stay full.
        last = np.flatnonzero(chosen.places.tile[keep] == chosen.places.tile[keep].max())
        less = [np.delete(keep, i) for i in last]
        left = [value_of(known, task, pair[rows], chosen.places.less(rows)) for rows in less]
        keep = less[int(np.argmax(left))]
    places = chosen.places.less(keep)
    value = value_of(known, task, pair[keep], places)
    return Chosen(places, chosen.base, chosen.overlay[keep], value)


def _views(
    known: PairKnowledge,
    weights: tuple[Floats, Floats] | None = None,
    apart: bool = False,
) -> tuple[View, ...]:
    """One view a score; a single one where both are known alike, unless they shall stay apart."""
    alike = known.scores[0] is known.scores[1] and not apart
    none = np.zeros(len(known.pairs))
    weights = weights or (none, none)
    chosen = (
        ((known.scores[0], weights[0] + weights[1]),)
        if alike
        else zip(known.scores, weights, strict=True)
    )
    return tuple(
        View(
            score.covariance,
            score.tile_variance,
            score.stripe_variance,
            score.noise_variance,
            score.small_variance,
            AverageVariance(score.covariance, weight),
        )
        for score, weight in chosen
    )
