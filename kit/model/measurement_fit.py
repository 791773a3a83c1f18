"""The standard model of a series for what the photographs measured."""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from kit.errors import AliasedEffectWarning, Misuse
from kit.mixed import (
    Array,
    LinearMixedModel,
    LinearResults,
    Prior,
    read_group,
)
from kit.model.measure_scale import scale_to_share, scaled, share_to_scale
from kit.model.right_hand_side import (
    formula,
    groups_carried,
    own_reactions,
    series_apart,
    varied_factors,
    with_refirings,
)
from kit.model.series_prior import MEASURE_PRIOR
from kit.wording import is_share


@dataclass(frozen=True, eq=False)
class MeasureFit:
    """A fitted measure of one series or several.

    Attributes
    ----------
    measure : str
        Its column.
    results : LinearResults
        In mm, or for a share on the scale of `share_to_scale`.
    frame : DataFrame
        The measured rows, as `kit.series.join_measurements` gives them.
    factors : tuple of str
        Factors with more than one level, which the formula uses.
    dropped : tuple of str
        What was left out or cannot be told apart, and why, one sentence each.
    """

    measure: str
    results: LinearResults
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
            As for `LinearResults.latent`.

        Returns
        -------
        mean, sd : (n,) arrays
            On the scale of the model.
        """
        mean, variance = self.results.latent_marginal(frame, noise)
        return mean, np.sqrt(variance + self.results.residual_sd**2)


def fit_measurements(
    frame: pd.DataFrame, measure: str, prior: Prior | None = MEASURE_PRIOR
) -> MeasureFit:
    """Fit the standard model to one measure: the right-hand side of the grades, a normal response.

    Nobody grades a photograph, so there is no grader among the sources of variation. What one
    picture is off by counts in the residual.

    Parameters
    ----------
    frame : DataFrame
        As `kit.series.join_measurements` gives it; several series one below the other. A colour
        keeps its identity across series; tiles, patches and sessions do not.
    measure : str
        A column in mm such as 'spread_mm', or a share such as 'pull_through_share', which is
        fitted on the scale of `share_to_scale`.
    prior : Prior or None
        None fits by residual maximum likelihood alone.

    Raises
    ------
    Misuse
        If nothing was measured, every value is the same, or there are fewer than the effects need.

    Warns
    -----
    AliasedEffectWarning
        If terms cannot be told apart and no prior shares them out; it says which. Under a prior
        `dropped` says so.
    """
    if measure not in frame:
        raise Misuse(f"The measurements have no column {measure!r}.")
    measured = with_refirings(series_apart(frame[frame[measure].notna()].reset_index(drop=True)))
    if measured.empty:
        raise Misuse(f"No photograph gave {measure} yet.")
    factors, dropped = varied_factors(measured)
    rows, response = scaled(measured, measure)
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        carried, reasons = groups_carried(measured, with_prior=prior is not None)
        groups = [name for name in carried if read_group(name, measured).size < len(measured)]
        model = LinearMixedModel(
            formula(response, factors), rows, groups, own_reactions(groups, rows)
        )
        results = model.fit(prior=prior)
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
