"""What surer knowledge of a pair would be worth: how many more pairs would be judged rightly.

On each score a pair has a latent value x (eta minus the threshold above a fine edge), known as
N(m, v). A patch of it stays low with chance q = logistic(-x), averaged over tiles and patches. The
verdict follows from the q of both scores and a confidence p:

    suited when q_s q_t >= p,  broken through when 1 - q_t >= p,  avoid when (1 - q_s) q_t >= p

(s spread, t pull-through). If firing took away the share d of the variance, the mean would move to
m' ~ N(m, d v) and v(1 - d) would remain. The chance that the pair then gets a verdict, and the one
that the true x would give, can be worked out in advance; what it gains is the pair's worth. It is
large where a verdict is near, and nil where nothing fired could change it. A pair that even the
truth would leave 'not known yet' gains nothing.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit, ndtr, ndtri

from kit.design.surveys.pair_covariance import Floats, Ints

NODES, _weights = np.polynomial.hermite_e.hermegauss(7)
WEIGHTS = _weights / _weights.sum()

TRUTHS = ndtri((np.arange(21) + 0.5) / 21)
"""Equally likely standard normal values: verdicts on a true value have edges, which Gauss's nodes
would straddle."""

KAPPA = 0.346
"""logistic(x) averaged over N(m, v) is about logistic(m / sqrt(1 + KAPPA v)); Zeger, Liang and
Albert (1988), Models for longitudinal data, Biometrics 44, 1049-1060: (16 sqrt(3) / (15 pi))²."""

SUITED, BROKEN, AVOID, NOT_KNOWN = range(4)


@dataclass(frozen=True, eq=False)
class ScoreKnowledge:
    """What is known of every pair on one score.

    Parameters
    ----------
    m, v : (n,) array
        Mean and variance of x.
    wobble : float
        Variance of a new patch on a new tile about its pair.
    """

    m: Floats
    v: Floats
    wobble: float

    @property
    def low(self) -> Floats:
        """Chance that a new patch stays low."""
        return _low(self.m, self.v + self.wobble)


def judged(spread_low: Floats, pull_low: Floats, confidence: float) -> Ints:
    """Verdict numbers from the chances that each score stays low."""
    rules = [
        spread_low * pull_low >= confidence,
        1 - pull_low >= confidence,
        (1 - spread_low) * pull_low >= confidence,
    ]
    return np.asarray(np.select(rules, [SUITED, BROKEN, AVOID], NOT_KNOWN), dtype=np.intp)


def worth(
    spread: ScoreKnowledge, pull: ScoreKnowledge, confidence: float, share: float = 0.6
) -> Floats:
    """Gain in the chance of a right verdict if a share of each pair's variance went away.

    A patch on the pair itself typically takes away 0.6 of it.

    Returns
    -------
    (n,) array
        Never below zero.
    """
    gain = _right(spread, pull, confidence, share) - _right(spread, pull, confidence, 1e-6)
    return np.maximum(gain, 0.0)


def _right(spread: ScoreKnowledge, pull: ScoreKnowledge, confidence: float, d: float) -> Floats:
    """Chance of a verdict after losing the share d of the variance, and the true one.

    Axes: pair; true x on spread; true x on pull-through; node of m' on spread.
    """
    true_s, moved_s = _truths(spread, d)
    true_t, moved_t = _truths(pull, d)
    truth = judged(
        _low(true_s, spread.wobble)[:, :, None], _low(true_t, pull.wobble)[:, None, :], confidence
    )
    # Given the true x, m' is normal about `moved` with variance d (1 - d) v.
    jitter = np.sqrt(d * (1 - d))
    m_s = moved_s[:, :, None] + (jitter * np.sqrt(spread.v))[:, None, None] * NODES
    left_s = ((1 - d) * spread.v + spread.wobble)[:, None, None]
    left_t = ((1 - d) * pull.v + pull.wobble)[:, None, None, None]
    q_s = _low(m_s, left_s)[:, :, None, :]
    stretch = np.sqrt(1 + KAPPA * left_t)
    mean = moved_t[:, None, :, None]
    sd = (jitter * np.sqrt(pull.v))[:, None, None, None]

    def chance_low_enough(needed: Floats) -> Floats:
        """Chance that m' on pull-through is so low that its q is at least what is needed."""
        limit = -stretch * logit(np.clip(needed, 1e-9, 1 - 1e-9))
        return np.where(needed < 1, ndtr((limit - mean) / sd), 0.0) @ WEIGHTS

    suited = chance_low_enough(confidence / q_s)
    avoid = chance_low_enough(confidence / (1 - q_s))
    not_broken = chance_low_enough(np.full_like(q_s, 1 - confidence))
    given = np.stack([suited, 1 - not_broken, avoid, np.zeros_like(suited)], axis=-1)
    right = np.take_along_axis(given, truth[..., None], axis=-1)[..., 0]
    return np.asarray(right.mean(axis=(1, 2)))


def _truths(score: ScoreKnowledge, d: float) -> tuple[Floats, Floats]:
    """True values x to average over, and where m' would lie on average for each."""
    away = np.sqrt(score.v)[:, None] * TRUTHS
    return score.m[:, None] + away, score.m[:, None] + d * away


def _low(m: Floats, v: Floats | float) -> Floats:
    return np.asarray(expit(-m / np.sqrt(1 + KAPPA * v)))


def grade_information(cuts: Floats, m: Floats, v: Floats) -> Floats:
    """Expected Fisher information of one grade about eta ~ N(m, v) under a cumulative logit.

    For P(y <= k) = F_k = logistic(cut_k - eta) the information is the sum over grades of
    p_k (f_k + f_{k-1}), with f = F (1 - F) and p_k = F_k - F_{k-1}: McCullagh (1980), Regression
    models for ordinal data, JRSS B 42, 109-142. It is greatest, about 1/3, in the middle of the
    scale and falls to nothing where every grade would be the lowest or the highest.

    Parameters
    ----------
    cuts : (k,) array
    m, v : (n,) array

    Returns
    -------
    (n,) array
    """
    eta = m[:, None] + np.sqrt(v)[:, None] * NODES
    F = expit(cuts - eta[..., None])
    F = np.concatenate([np.zeros((*eta.shape, 1)), F, np.ones((*eta.shape, 1))], axis=-1)
    f = F * (1 - F)
    information = np.sum(np.diff(F, axis=-1) * (f[..., 1:] + f[..., :-1]), axis=-1)
    return np.asarray(information @ WEIGHTS)
