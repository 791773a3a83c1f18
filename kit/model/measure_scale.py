"""On which scale measurements stand in the models: millimetres as they are, shares as logits."""

import numpy as np
import pandas as pd

from kit.mixed import Array
from kit.series import PULL_THROUGH, SPREAD
from kit.wording import is_share

MEASURE_OF = {SPREAD.name: "spread_mm", PULL_THROUGH.name: "pull_through_share"}
"""What photographs measure of each score."""

SHARE_ERROR = 0.01
"""Added at both ends so that 0 and 1 have a place: about what a share can be measured to."""


LEAST_MM = 0.02
"""Added to a length before its root is taken: about what a length can be measured to."""


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


def rooted(measured: pd.DataFrame, measure: str) -> tuple[pd.DataFrame, str, float]:
    """Add the square root of a length, as `scaled` does, with the logarithm of its slopes.

    A length cannot fall below 0: where edges hardly creep, a patch that is better still measures
    about the same, and a straight line bends away from what graders see. The square root of the
    length, with `LEAST_MM` added, bends less there; a reading below 0 mirrors one above.

    Returns
    -------
    rows : DataFrame
    response : str
    log_slopes : float
        Sum of the logarithms of the root's slopes by the length: what its log-likelihood is to be
        raised by before it is held against that of the length itself.
    """
    response, error = f"root_{measure}", f"{measure}_se"
    mm = measured[measure].to_numpy(float)
    root = np.sqrt(np.abs(mm) + LEAST_MM)
    own = {response: np.sign(mm) * (root - np.sqrt(LEAST_MM))}
    if error in measured:
        own[f"{response}_se"] = measured[error].to_numpy(float) / (2 * root)
    return measured.assign(**own), response, float(-np.log(2 * root).sum())


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
