"""What is assumed before a grade is seen, in a form that can be read, changed and printed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.mixed.sparsity import Array


@dataclass(frozen=True)
class Amount:
    """What is believed of a positive amount: a gamma distribution."""

    shape: float
    rate: float

    @property
    def mean(self) -> float:
        return self.shape / self.rate

    @property
    def mean_square(self) -> float:
        """Of a standard deviation: the variance to expect."""
        return self.shape * (self.shape + 1) / self.rate**2

    @classmethod
    def of_sd(cls, sd: float, share: float) -> "Amount":
        """A standard deviation found with an error of this share of it, as `sd_terms` reads it.

        The mode of its log is `sd`, and the variance of its log the square of `share`.
        """
        return cls(1 / share**2, 1 / (share**2 * sd))

    @classmethod
    def of_step(cls, step: float, error: float) -> "Amount":
        """A distance of thresholds found with an error, as `step_terms` reads it."""
        return cls(1 + (step / error) ** 2, step / error**2)


@dataclass(frozen=True, eq=False)
class RowBelief:
    """What is believed of the linear predictor of some rows, above the first threshold.

    Parameters
    ----------
    frame : DataFrame, n rows
        Every column that a formula may ask for.
    mean : (n,) array
    covariance : (n, n) array
    """

    frame: pd.DataFrame
    mean: Array
    covariance: Array


@dataclass(frozen=True)
class Prior:
    """Weak beliefs that keep a small series' answers finite and honest.

    Parameters
    ----------
    effect_sd : float
        Each effect, over the whole range of its factor, is normal around zero with this standard
        deviation: in logits for grades; in standard deviations of the response for measurements.
    sd_shape, sd_rate : float
        Each source of variation's standard deviation follows a gamma distribution of this shape
        and rate (in the same units; a slope's where its column is farthest from 0). A shape of 2
        keeps it off zero and otherwise says little: Chung, Rabe-Hesketh, Dorie, Gelman and Liu
        (2013), A nondegenerate penalized likelihood estimator for variance parameters in multilevel
        models, Psychometrika 78.
    step_shape, step_rate : float
        Each distance between neighbouring thresholds follows a gamma distribution of this shape
        and rate, in logits. It lets a step of the scale that was never used keep a small chance.
    sources : mapping of str to Amount
        Random terms of which more is known: their standard deviation, on the scale of eta; a
        slope's for each unit of its column.
    steps : tuple of Amount
        All distances between neighbouring thresholds, where more is known of them.
    rows : RowBelief or None
        What is known of the effects and the first threshold together, beside the weak belief in
        each effect.

    Notes
    -----
    On the logit scale an effect of 2 moves a grade that is as likely as not to about nine in ten.
    """

    effect_sd: float = 2.0
    sd_shape: float = 2.0
    sd_rate: float = 2.0
    step_shape: float = 2.0
    step_rate: float = 0.5
    sources: Mapping[str, Amount] = field(default_factory=dict)
    steps: tuple[Amount, ...] = ()
    rows: RowBelief | None = None

    def __post_init__(self) -> None:
        if self.effect_sd <= 0 or self.sd_rate < 0 or self.step_rate < 0:
            raise Misuse("A prior needs a positive effect_sd and rates of at least 0.")
        if self.sd_shape < 1 or self.step_shape < 1:
            raise Misuse("A prior needs shapes of at least 1; a shape of 1 is flat near zero.")

    def describe(self) -> str:
        """The prior of a model of grades in plain words, for a report."""
        return (
            f"{self._beliefs()} Neighbouring steps of the scale were taken to lie "
            f"{_around((self.step_shape - 1), self.step_rate)} apart. A unit is a logit, the "
            "model's own ruler: 2 units turn an even chance into about nine in ten. "
            "The grades outweigh these beliefs as soon as there are more than a handful."
        )

    def describe_for_measurements(self) -> str:
        """The prior of a model of measurements in plain words."""
        return (
            f"{self._beliefs()} A unit is the standard deviation (the usual distance from the "
            "mean) of all measurements together. "
            "The measurements outweigh these beliefs as soon as there are more than a handful."
        )

    def _beliefs(self) -> str:
        return (
            "Before anything was seen, every effect was taken to be small rather than huge: over "
            f"its factor's whole range it lies within {2 * self.effect_sd:.1f} units either way, "
            "19 times in 20. Every source of variation was taken to be real but of unknown size, "
            f"{_around(self.sd_shape, self.sd_rate)}."
        )

    def source(self, name: str, unit: float = 1.0) -> Amount:
        """What is believed of the standard deviation of one random term.

        Parameters
        ----------
        name : str
        unit : float
            Length of one unit of the general belief, on the scale of eta.
        """
        return self.sources.get(name) or Amount(self.sd_shape, self.sd_rate / unit)

    def sd_terms(
        self,
        sd: Array,
        unit: float = 1.0,
        names: Sequence[str] = (),
        reach: Array | float = 1.0,
    ) -> tuple[float, Array, Array]:
        """Log density of standard deviations up to a constant, its slopes and bends.

        The density is that of log sd, shape log sd - rate sd, so that the best fit is the mode on
        the log scale: there the posterior is close to normal, whereas on the plain scale its long
        right tail leaves the mode too low.

        Parameters
        ----------
        sd : (terms,) array
            The sign is free: a standard deviation and its negative mean the same.
        unit : float
            Length of one unit of the general belief, in the units of `sd`.
        names : sequence of str
            The random terms; without them the general belief holds for all.
        reach : (terms,) array or float
            What `sd` is, where more is known of it, for each unit of a slope's column.
        """
        size = np.abs(sd)
        if np.any(size == 0):
            return -np.inf, np.zeros_like(sd), np.zeros_like(sd)
        shape, rate = self._shapes_and_rates(sd, unit, names, reach)
        value = float(np.sum(shape * np.log(size) - rate * size))
        return value, (shape / size - rate) * np.sign(sd), -shape / size**2

    def held(
        self,
        sd: Array,
        unit: float = 1.0,
        names: Sequence[str] = (),
        reach: Array | float = 1.0,
    ) -> Array:
        """Information that the prior gives on the log of each standard deviation, at `sd`.

        Minus the second derivative of the log density by log sd; parameters as in `sd_terms`.
        """
        information: Array = self._shapes_and_rates(sd, unit, names, reach)[1] * np.abs(sd)
        return information

    def _shapes_and_rates(
        self, sd: Array, unit: float, names: Sequence[str], reach: Array | float
    ) -> tuple[Array, Array]:
        shape = np.full(sd.shape, self.sd_shape)
        rate = np.full(sd.shape, self.sd_rate / unit)
        for j, name in enumerate(names):
            if name in self.sources:
                own = self.sources[name]
                shape[j], rate[j] = own.shape, own.rate / np.broadcast_to(reach, sd.shape)[j]
        return shape, rate

    def step_terms(self, theta: Array) -> tuple[float, Array, Array]:
        """Log density of thresholds' distances up to a constant, its slopes, and minus bends.

        Returns
        -------
        value : float
        slope : (cuts,) array
        bend : (cuts - 1,) array
            Minus the second derivative by each distance.
        """
        gap = np.diff(theta)
        own = self.steps if len(self.steps) == gap.size else ()
        shape = np.array([a.shape for a in own]) - 1 if own else self.step_shape - 1
        rate = np.array([a.rate for a in own]) if own else self.step_rate
        value = float(np.sum(shape * np.log(gap) - rate * gap))
        pull = shape / gap - rate
        slope = np.zeros_like(theta)
        slope[1:] += pull
        slope[:-1] -= pull
        return value, slope, shape / gap**2


def _around(count: float, rate: float) -> str:
    if rate == 0:
        return "any number of units"
    return f"around {count / rate:.1f} units"


def as_prior(prior: "Prior | Literal['weak'] | None") -> Prior | None:
    """Read the `prior` argument of a fit."""
    if prior is None or isinstance(prior, Prior):
        return prior
    if prior == "weak":
        return Prior()
    raise Misuse(f"prior must be None, 'weak' or a Prior, not {prior!r}.")
