"""The four verdicts on a pair: how each looks, and which one an undecided pair leans to."""

from dataclasses import dataclass

import pandas as pd
from matplotlib.path import Path

from kit.model import BROKEN_THROUGH, FINE_EDGE, NOT_KNOWN, SOFT_EDGE


@dataclass(frozen=True)
class Look:
    """How a verdict is drawn and named.

    Parameters
    ----------
    colour : str
    marker : str or Path or None
        Drawn in the cell, so that the verdicts can be told apart in grey.
    heading : str
        What a list of such pairs is called.
    """

    colour: str
    marker: str | Path | None
    heading: str


_THREE_DOTS = Path.make_compound_path(
    *(Path.circle(at, 0.34) for at in ((0, 0.5), (-0.5, -0.36), (0.5, -0.36)))
)

LOOKS = {
    FINE_EDGE: Look("#16697a", "o", "Pairs to trust with a fine stencil"),
    BROKEN_THROUGH: Look("#e3a72f", _THREE_DOTS, "Pairs for a broken effect"),
    SOFT_EDGE: Look("#7b1e3a", "x", "Pairs to avoid"),
    NOT_KNOWN: Look("#9aa3ad", None, "Pairs that nobody knows yet"),
}


def leanings(pairs: pd.DataFrame) -> pd.DataFrame:
    """Say what each pair leans to, and how surely.

    Parameters
    ----------
    pairs : DataFrame
        As `kit.model.pair_table` gives it.

    Returns
    -------
    DataFrame
        The same rows with columns leaning (one of the first three verdicts) and sureness (the
        chance that the leaning is right, 0 to 1).
    """
    chances = pd.DataFrame(
        {
            FINE_EDGE: pairs["fine_edge"],
            BROKEN_THROUGH: pairs["broken_through"],
            SOFT_EDGE: 1 - pairs["fine_edge"] - pairs["broken_through"],
        }
    )
    leaning = chances.idxmax(axis=1)
    decided = pairs["verdict"] != NOT_KNOWN
    leaning = leaning.mask(decided, pairs["verdict"])
    sureness = pd.Series(
        [chances.at[row, verdict] for row, verdict in leaning.items()], index=pairs.index
    )
    return pairs.assign(leaning=leaning, sureness=sureness.astype(float))
