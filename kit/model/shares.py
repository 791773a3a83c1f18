"""A scale for shares on which a linear model makes sense."""

import numpy as np
from numpy.typing import NDArray

EPSILON = 0.01
"""Added at both ends so that 0 and 1 have a place: about what a share can be measured to."""


def share_to_scale(share: NDArray[np.floating], epsilon: float = EPSILON) -> NDArray[np.float64]:
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
    return np.log((p + epsilon) / (1 - p + epsilon))


def scale_to_share(y: NDArray[np.floating], epsilon: float = EPSILON) -> NDArray[np.float64]:
    """Carry values on the logit scale back to shares, 0 to 1: undoes `share_to_scale`."""
    odds = np.exp(np.asarray(y, float))
    return np.clip((odds * (1 + epsilon) - epsilon) / (1 + odds), 0.0, 1.0)
