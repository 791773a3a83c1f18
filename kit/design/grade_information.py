"""How much a grade says about the latent value behind it."""

import numpy as np
from scipy.special import expit

from kit.design.surveys.pair_covariance import Floats
from kit.design.surveys.expected_verdicts import NODES, WEIGHTS


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
