"""How many verdicts a plan can be expected to allow, and how many of them right.

On each score a pair has a value x, known as N(m, v). Firing takes part of the variance away: the
mean moves to m' ~ N(m, v - w), and x is then known as N(m', w). Given m' the verdict follows by
the rule of `kit.model`; given x the truth follows by the same rule. A verdict is worth 1 where it
is the true one. A pair that varies from patch to patch by its nature is rightly called hit or
miss. What a wrong fine edge costs can be set against that.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm, qmc

from kit.design.surveys.pair_knowledge import Floats, Ints, PairKnowledge
from kit.model import FINE_EDGE, NOT_KNOWN, ending_chances, outlook, verdicts

ROWS = 8_000
"""Pairs times firing counts times draws that are judged at once."""

MOST_DRAWS, FEWEST_DRAWS = 64, 8

STEP = 0.15
"""Share of what a pair keeps of its variance that is taken off to see what it is worth."""

_TINY = 1e-9


@dataclass(frozen=True, eq=False)
class Expected:
    """What verdicts to expect of n pairs, on average over firing counts.

    Parameters
    ----------
    given, right, wrong_fine : (n,) arrays
        Chance of a verdict; of the right one; of 'fine edge' where it is not.
    """

    given: Floats
    right: Floats
    wrong_fine: Floats

    def value(self, wrong_costs: float) -> Floats:
        """Right verdicts less what wrong ones of a fine edge cost, for each pair."""
        return self.right - wrong_costs * self.wrong_fine


def expected_verdicts(
    known: PairKnowledge, left: tuple[Floats, Floats], pairs: Ints | None = None, seed: int = 0
) -> Expected:
    """Work out what verdicts to expect when firing leaves a share of each pair's variance.

    Parameters
    ----------
    known : PairKnowledge
    left : two (n,) arrays
        Share of the variance at the middle count that would remain, on each score.
    pairs : (n,) int array, optional
        The pairs; all of two different colours by default.
    seed : int
        Of the points that stand for what may be graded and true, the same for every pair: on
        average over several seeds their choice does not matter.

    Returns
    -------
    Expected
    """
    pairs = known.judged if pairs is None else pairs
    key = np.column_stack(
        [
            *(np.round(s.mean[pairs], 3) for s in known.scores),
            *(np.round(s.variance[pairs], 3) for s in known.scores),
            *(np.round(share, 3) for share in left),
        ]
    )
    _, first, of = np.unique(key, axis=0, return_index=True, return_inverse=True)
    found = _judged(known, pairs[first], tuple(share[first] for share in left), seed)
    return Expected(*(values[of.ravel()] for values in found))


def worth_of_variance(
    known: PairKnowledge, left: tuple[Floats, Floats], wrong_costs: float
) -> tuple[Floats, Floats]:
    """What a little less variance of each pair is worth, on each score; arrays of all c² pairs.

    Returns
    -------
    two (c²,) arrays
        In right verdicts per latent unit squared, never below a small part of the largest.
    """
    now = expected_verdicts(known, left).value(wrong_costs)
    c = len(known.colours)
    middle = len(known.counts) // 2
    worth = []
    for i in range(2):
        less = (left[0] * (1 - STEP * (i == 0)), left[1] * (1 - STEP * (i == 1)))
        gain = expected_verdicts(known, less).value(wrong_costs) - now
        taken = STEP * left[i] * known.scores[i].variance[known.judged, middle]
        slope = np.maximum(gain, 0.0) / np.maximum(taken, _TINY)
        every = np.zeros(c * c)
        every[known.judged] = np.maximum(slope, 0.05 * slope.max())
        worth.append(every)
    return worth[0], worth[1]


def _judged(
    known: PairKnowledge, pairs: Ints, left: tuple[Floats, ...], seed: int
) -> tuple[Floats, Floats, Floats]:
    n, counts = len(pairs), len(known.counts)
    draws = int(np.clip(ROWS // (n * counts), FEWEST_DRAWS, MOST_DRAWS))
    draws = 2 ** int(np.log2(draws))
    points = qmc.Sobol(4, seed=seed).random(draws).clip(1e-6, 1 - 1e-6)
    normal = norm.ppf(points)
    moments, true = [], []
    for i, (score, share) in enumerate(zip(known.scores, left, strict=True)):
        mean = np.repeat(score.mean[pairs].ravel(), draws)
        variance = np.repeat(score.variance[pairs].ravel(), draws)
        # What remains at other counts is what remains at the middle one, and the rest in step.
        keeps = np.repeat(np.repeat(share, counts), draws) * variance
        moved = mean + np.sqrt(np.maximum(variance - keeps, 0)) * np.tile(normal[:, i], n * counts)
        x = moved + np.sqrt(keeps) * np.tile(normal[:, 2 + i], n * counts)
        moments.append((moved, keeps))
        true.append(score.state(x, np.full(len(x), _TINY)))
    verdict = verdicts_of(known, moments[0], moments[1])
    truth = true_verdicts(ending_chances(true[0], true[1], known.rho), known.confidence)
    given = verdict != NOT_KNOWN
    right = given & (verdict == truth)
    wrong_fine = (verdict == FINE_EDGE) & (truth != FINE_EDGE)
    given, right, wrong_fine = (
        v.reshape(n, counts * draws).mean(axis=1) for v in (given, right, wrong_fine)
    )
    return given, right, wrong_fine


def verdicts_of(
    known: PairKnowledge, spread: tuple[Floats, Floats], pull_through: tuple[Floats, Floats]
) -> np.ndarray:
    """Verdicts where each score is known as N(mean, variance), two pairs of (n,) arrays."""
    both = (spread, pull_through)
    own = [score.state(*moments) for score, moments in zip(known.scores, both, strict=True)]
    chances = ending_chances(own[0], own[1], known.rho)
    # Only where no ending is sure is it asked, at length, how sure hit or miss is.
    open_rows = np.flatnonzero(chances.max(axis=1) < known.confidence)
    hit_or_miss = np.zeros(len(chances))
    if len(open_rows):
        left = [
            score.state(mean[open_rows], variance[open_rows])
            for score, (mean, variance) in zip(known.scores, both, strict=True)
        ]
        seen = outlook(left[0], left[1], known.rho, known.confidence)
        hit_or_miss[open_rows] = seen.hit_or_miss
    return verdicts(chances, hit_or_miss, known.confidence)


def true_verdicts(shares: Floats, confidence: float) -> np.ndarray:
    """The verdict of pairs whose patches come to each ending with known shares, (n, 3)."""
    return verdicts(shares, (shares.max(axis=1) < confidence).astype(float), confidence)
