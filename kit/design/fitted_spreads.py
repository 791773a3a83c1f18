"""Spreads to plan with, from a series that has been fitted."""

import math

import numpy as np

from kit.design.spreads import TYPICAL, Spreads
from kit.model import ScaleFit

SOURCES = {
    "base": "base",
    "overlay": "overlay",
    "pair": "base:overlay",
    "tile": "tile",
    "patch": "patch",
}


def fitted_spreads(fit: ScaleFit) -> Spreads:
    """Turn a fit's sources of variation into grades.

    Parameters
    ----------
    fit : ScaleFit

    Returns
    -------
    Spreads
        A source that the fit does not have keeps its typical value.

    Notes
    -----
    One grade is the mean distance between neighbouring thresholds. What a grader wavers by is the
    standard deviation of the logistic distribution, pi / sqrt(3), on the same ruler (Agresti 2010,
    Analysis of Ordinal Categorical Data, 2nd ed., section 3.1).
    """
    cuts = fit.results.thresholds.to_numpy()
    grade = float(np.diff(cuts).mean()) if len(cuts) > 1 else 2.0
    sd = fit.results.random_sd
    known = {name: sd[group] / grade for name, group in SOURCES.items() if group in sd}
    usual = {name: getattr(TYPICAL, name) for name in SOURCES}
    return Spreads(**(usual | known), grading=math.pi / math.sqrt(3) / grade)
