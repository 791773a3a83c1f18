"""The four verdicts on a pair, and the rule that gives them."""

import numpy as np

from kit.mixed import Array

SUITED = "suited"
BROKEN_ONLY = "suited to broken effects only"
AVOID = "avoid"
NOT_KNOWN = "not known yet"

VERDICTS = (SUITED, BROKEN_ONLY, AVOID, NOT_KNOWN)


def verdicts(p_fine_edge: Array, p_breaks_through: Array, confidence: float) -> Array:
    """Give each pair the verdict that is at least `confidence` sure.

    A patch ends in one of three ways: it holds a fine edge; the base breaks through; or neither,
    when it creeps without breaking. A pair is 'suited' if the first has at least the stated chance,
    'suited to broken effects only' if the second has, 'avoid' if the third has, and otherwise
    'not known yet'.

    Parameters
    ----------
    p_fine_edge, p_breaks_through : (n,) array
        Chances of the first two endings, which exclude each other.
    confidence : float
        Above one half, so that no two verdicts can apply.

    Returns
    -------
    (n,) array of str
    """
    neither = 1 - p_fine_edge - p_breaks_through
    return np.select(
        [p_fine_edge >= confidence, p_breaks_through >= confidence, neither >= confidence],
        [SUITED, BROKEN_ONLY, AVOID],
        NOT_KNOWN,
    )
