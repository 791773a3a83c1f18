"""Leaving out a group's rows: what the others say of them, and what they decide.

Each group is left out in turn by one Newton step from the fit of all rows, which costs a few
milliseconds instead of a fit: Pregibon (1981), Logistic regression diagnostics, Annals of
Statistics 9, for one row; here for all of a group's rows and with random effects. What the rows
alone would have told (their own tile, their own pair) stands at its prior when they are gone. A
step suits groups that are a small part of the rows; half of them would need a fit.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.mixed.cholesky import one_thread
from kit.mixed.grouping import read_group
from kit.mixed.ordinal import OrdinalFit
from kit.mixed.ordinal_results import OrdinalResults, reading_below
from kit.mixed.posterior import read_rows


@dataclass(frozen=True, eq=False, repr=False)
class LeftOut:
    """Every group of rows left out in turn.

    Attributes
    ----------
    by : str
    at_most : DataFrame, one row a graded row
        Chance, from the rows of all other groups, that its reading is at most each step.
    params : DataFrame, one row a group
        The parameters without it.
    """

    by: str
    at_most: pd.DataFrame
    params: pd.DataFrame

    def __repr__(self) -> str:
        return f"<LeftOut: {len(self.at_most)} rows, {len(self.params)} groups by {self.by}>"


def leave_out(results: OrdinalResults, by: str) -> LeftOut:
    """Leave the rows of each level of a group out in turn.

    Parameters
    ----------
    results : OrdinalResults
        Of grades alone.
    by : str
        A column of the data, or several joined by ':'; the groups need not be the model's.

    Raises
    ------
    Misuse
        If measurements were fitted too, the data lack such a column, or hold one group only.
    """
    model, fit = results.model, results.fit
    if not isinstance(fit, OrdinalFit):
        raise Misuse("Rows are left out of a fit of grades alone; this one has measurements too.")
    missing = sorted({part.strip() for part in by.split(":")} - set(model.data.columns))
    if missing:
        raise Misuse(f"The data have no column {', '.join(missing)} to leave rows out by.")
    group = read_group(by, model.data)
    design = read_rows(results.posterior, model.data)
    below = np.empty((len(model.y), len(results.labels)))
    params = np.empty((group.size, len(results.params)))
    with one_thread():
        for level in range(group.size):
            gone = group.codes == level
            part = fit.without(gone)
            params[level] = part.psi[: params.shape[1]]
            own = np.flatnonzero(gone)
            alone = replace(results, foretelling=part)
            below[own] = alone.steps_at_most(design.part(own), reading_below)
    return LeftOut(
        by,
        pd.DataFrame(below, index=model.data.index, columns=list(results.labels)),
        pd.DataFrame(params, index=group.levels.rename(by), columns=results.params.index),
    )
