"""On which scale measurements stand in the models, and what they say near its ends."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.mixed import Array
from kit.series import PULL_THROUGH, SPREAD
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
        floor, ceiling = FLOORS[self.measure], CEILINGS.get(self.measure)
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
