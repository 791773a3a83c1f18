"""The standard model of a series for what the photographs measured, and its scale."""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from kit.errors import AliasedEffectWarning, Misuse
from kit.mixed import (
    Array,
    JointMixedModel,
    JointResults,
    Prior,
    read_group,
)
from kit.model.right_hand_side import (
    formula,
    groups_carried,
    own_reactions,
    series_apart,
    varied_factors,
    with_refirings,
)
from kit.model.series_prior import MEASURE_PRIOR
from kit.series import PULL_THROUGH, SPREAD, over_another
from kit.wording import is_share, mm_and_inches, percent

MEASURE_OF = {SPREAD.name: "spread_mm", PULL_THROUGH.name: "pull_through_share"}
"""What photographs measure of each score."""

SHARE_ERROR = 0.01
"""Added at both ends so that 0 and 1 have a place: about what a share can be measured to."""


FLOORS = {"spread_mm": 0.25, "pull_through_share": 0.03}
CEILINGS = {"pull_through_share": 0.97}
"""Beyond which a measurement follows what a patch is no more. An edge that hardly creeps cannot
creep less, however much better another would be, and a share has ends: there a measurement says
'this or less', or 'this or more'. Of the floors tried over a wide population of invented studios
(tests/benchmarks/bench_beside_grades.py) these kept the intervals as honest as by grades alone."""


@dataclass(frozen=True)
class MeasureLine:
    """How what photographs measured follows the latent value of a patch: constant + slope z.

    Attributes
    ----------
    measure : str
    on : str
        Column of what lies on the line: the measure itself, or 'scaled_...' for the logit of a
        share (`scaled`).
    constant, slope : float
        On that scale.
    off : float
        Standard deviation of what a measurement is off by, beside its known error.
    """

    measure: str
    on: str
    constant: float
    slope: float
    off: float

    @property
    def unit(self) -> str:
        """The scale of the line in words."""
        if is_share(self.measure):
            return "as a logit (the logarithm of the odds of the share)"
        return "in mm"

    @property
    def ends(self) -> str:
        """What measurements say that lie beyond what can be told apart, in a sentence."""
        return _ends_said(self.measure)


def _ends_said(measure: str) -> str:
    floor, ceiling = FLOORS[measure], CEILINGS.get(measure)
    if ceiling is None:
        return f"A length of {mm_and_inches(floor)} or less counts as 'this or less'."
    return (
        f"A share of {percent(floor)} or less counts as 'this or less', one of "
        f"{percent(ceiling)} or more as 'this or more'."
    )


def told_apart(measure: str) -> tuple[float, float]:
    """Floor and ceiling of a measure, on the scale of the models."""
    ends = np.array([FLOORS.get(measure, -np.inf), CEILINGS.get(measure, np.inf)])
    low, high = share_to_scale(ends) if is_share(measure) else ends
    return float(low), float(high)


def between(values: pd.Series, measure: str) -> pd.Series:
    """Whether measured values lie between floor and ceiling: those that can be told apart."""
    return (values > FLOORS.get(measure, -np.inf)) & (values < CEILINGS.get(measure, np.inf))


def scaled(measured: pd.DataFrame, measure: str) -> tuple[pd.DataFrame, str]:
    """Add a measure on the scale of the models, and give its column's name.

    A share's column is named 'scaled_...', and its standard error, where there is one, is carried
    along the slope of the scale.
    """
    if not is_share(measure):
        return measured, measure
    response, error = f"scaled_{measure}", f"{measure}_se"
    share = measured[measure].to_numpy(float)
    own = {response: share_to_scale(share)}
    if error in measured:
        p = np.clip(share, 0.0, 1.0)
        slope = 1 / (p + SHARE_ERROR) + 1 / (1 - p + SHARE_ERROR)
        own[f"{response}_se"] = slope * measured[error].to_numpy(float)
    return measured.assign(**own), response


def share_to_scale(share: Array, epsilon: float = SHARE_ERROR) -> Array:
    """Carry shares (0 to 1) to the logit scale used by the models.

        y = log((p + e) / (1 - p + e))

    A share can be measured to about e, so 0 is read as about e and 1 as about 1 - e; without that
    the logit would be infinite there and small shares would be stretched past what is known.

    Parameters
    ----------
    share : ndarray
        p, 0 to 1; nan stays nan. Values a little outside are taken as 0 or 1.
    epsilon : float
        e.

    Returns
    -------
    ndarray
        y, about -4.6 to 4.6 with the e given here.
    """
    p = np.clip(np.asarray(share, float), 0.0, 1.0)
    y: Array = np.log((p + epsilon) / (1 - p + epsilon))
    return y


def scale_to_share(y: Array, epsilon: float = SHARE_ERROR) -> Array:
    """Carry values on the logit scale back to shares, 0 to 1: undoes `share_to_scale`."""
    odds = np.exp(np.asarray(y, float))
    share: Array = np.clip((odds * (1 + epsilon) - epsilon) / (1 + odds), 0.0, 1.0)
    return share


@dataclass(frozen=True, eq=False)
class MeasureFit:
    """A fitted measure of one series or several.

    Attributes
    ----------
    measure : str
        Its column.
    results : JointResults
        Without grades: in mm, or for a share on the scale of `share_to_scale`.
    frame : DataFrame
        The measured rows, as `kit.series.join_measurements` gives them.
    factors : tuple of str
        Factors with more than one level, which the formula uses.
    dropped : tuple of str
        What was left out or cannot be told apart, and why, one sentence each.
    """

    measure: str
    results: JointResults
    frame: pd.DataFrame
    factors: tuple[str, ...]
    dropped: tuple[str, ...]

    @property
    def seen(self) -> pd.DataFrame:
        """Every row that was fitted."""
        return self.frame

    @property
    def is_share(self) -> bool:
        return is_share(self.measure)

    @property
    def ends(self) -> str:
        """As for `MeasureLine`."""
        return _ends_said(self.measure)

    @property
    def values(self) -> Array:
        """What was measured, on the scale of the model, within what can be told apart."""
        told: Array = np.clip(self.to_scale(self.frame[self.measure]), *told_apart(self.measure))
        return told

    def to_scale(self, values: ArrayLike) -> Array:
        """Carry measured values to the scale of the model."""
        plain: Array = np.asarray(values, float)
        return share_to_scale(plain) if self.is_share else plain

    def from_scale(self, values: ArrayLike) -> Array:
        """Carry values on the scale of the model back to mm or shares."""
        scaled: Array = np.asarray(values, float)
        return scale_to_share(scaled) if self.is_share else scaled

    def foretell(self, frame: pd.DataFrame, noise: Sequence[str] = ()) -> tuple[Array, Array]:
        """Foretell single new measurements.

        Parameters
        ----------
        frame : DataFrame, n rows
        noise : sequence of str
            As for `JointResults.latent`.

        Returns
        -------
        mean, sd : (n,) arrays
            On the scale of the model.
        """
        mean, variance = self.results.latent_marginal(frame, noise)
        return mean, np.sqrt(variance + self.results.residual_sd**2)


def fit_beside(
    right: str,
    graded: pd.DataFrame | None,
    measured: pd.DataFrame,
    measure: str,
    groups: Sequence[str],
    slopes: Mapping[str, Sequence[str]],
    prior: Prior | None,
) -> JointResults:
    """Fit measurements, beside grades or alone: known errors weigh them, and floors censor them.

    Parameters
    ----------
    right : str
        Formula, with the response of the grades.
    graded : DataFrame or None
    measured : DataFrame
    measure : str
    groups, slopes, prior
        As for `JointMixedModel`.
    """
    rows, response = scaled(measured, measure)
    error = f"{response}_se" if f"{response}_se" in rows else None
    rows = rows.fillna({error: 0.0}) if error else rows
    floor, ceiling = told_apart(measure)
    model = JointMixedModel(right, graded, rows, response, groups, slopes, error, floor, ceiling)
    return model.fit(prior=prior)


def fit_measurements(
    frame: pd.DataFrame, measure: str, prior: Prior | None = MEASURE_PRIOR
) -> MeasureFit:
    """Fit the standard model to one measure: what stands beside grades, with no grades.

    Nobody grades a photograph, so there is no grader among the sources of variation. What one
    picture is off by, beside its known error, counts in the residual.

    Parameters
    ----------
    frame : DataFrame
        As `kit.series.join_measurements` gives it; several series one below the other. A colour
        keeps its identity across series; tiles, patches and sessions do not. Controls are left
        out (`over_another`).
    measure : str
        A column in mm such as 'spread_mm', or a share such as 'pull_through_share', which is
        fitted on the scale of `share_to_scale`.
    prior : Prior or None
        None fits by maximum likelihood alone.

    Raises
    ------
    Misuse
        If nothing was measured, every value is the same or beyond what can be told apart, or there
        are fewer than the effects need.

    Warns
    -----
    AliasedEffectWarning
        If terms cannot be told apart and no prior shares them out; it says which. Under a prior
        `dropped` says so.
    """
    if measure not in frame:
        raise Misuse(f"The measurements have no column {measure!r}.")
    seen = over_another(frame[frame[measure].notna()]).reset_index(drop=True)
    measured = with_refirings(series_apart(seen))
    if measured.empty:
        raise Misuse(f"No photograph gave {measure} yet.")
    factors, dropped = varied_factors(measured)
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        carried, reasons = groups_carried(measured, with_prior=prior is not None)
        groups = [name for name in carried if read_group(name, measured).size < len(measured)]
        slopes = own_reactions(groups, measured)
        right = formula(measure, factors)
        results = fit_beside(right, None, measured, measure, groups, slopes, prior)
    for warning in said:
        aliased = issubclass(warning.category, AliasedEffectWarning)
        if aliased:
            reasons.append(str(warning.message))
        if not aliased or prior is None:
            warnings.warn(warning.message, warning.category, stacklevel=2)
    reasons += [
        f"No {name} was measured twice, so its variation counts with the residual."
        for name in carried
        if name not in groups
    ]
    return MeasureFit(
        measure, results, measured, tuple(factors), tuple(dict.fromkeys(dropped + reasons))
    )
