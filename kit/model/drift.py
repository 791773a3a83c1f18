"""Does a session drift? Tiles fired late in it against those fired early."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.mixed import Array
from kit.model.goodness_of_fit import FALSE_ALARM
from kit.model.joint_density import JointDensity, score_of_added
from kit.model.series_fit import ScaleFit
from kit.model.variation import logits_a_step
from kit.wording import of_a_step, percent, plain_name


@dataclass(frozen=True)
class Drift:
    """How far a scale moves from the first tile of a session to the last.

    Attributes
    ----------
    scale : str
    steps : float
        Of the scale; what one Newton step from the fit adds from the first turn to the last.
    chance : float
        Of so large a drift, or larger, where there is none; 1 where no turn is known.
    """

    scale: str
    steps: float
    chance: float

    @property
    def stands_out(self) -> bool:
        """Whether it is more than chance would have."""
        return self.chance < FALSE_ALARM["drift"] / 2

    @property
    def sentence(self) -> str:
        """What was found and what to do about it."""
        name = plain_name(self.scale)
        if not self.stands_out:
            return f"No drift of {name} within a session can be told."
        way = "rises" if self.steps > 0 else "falls"
        return (
            f"From the first tile of a session to the last, {name} {way} by "
            f"{of_a_step(self.steps)}; so much would come by chance in {percent(self.chance)} of "
            "cases. See whether the heat changes while you work, keep to the mixed order of the "
            "bench sheets, and fire a control tile at both ends of a session."
        )


def drift_in_session(fit: ScaleFit, order: pd.DataFrame) -> Drift:
    """Test whether the turn of a tile in its session moves the grades.

    A score test: Rao (1948), Large sample tests of statistical hypotheses, Proceedings of the
    Cambridge Philosophical Society 44.

    Parameters
    ----------
    fit : ScaleFit
    order : DataFrame
        Columns tile (as in the fit), firing and step: when a tile had its turn in the heat,
        counted through a session. Of tiles that are not in it nothing is said.
    """
    turn = turn_in_session(fit.frame, order)
    if not turn.any():
        return Drift(fit.scale, 0.0, 1.0)
    whole = JointDensity.of(fit.by_grades)
    sides = np.any(whole.upper, axis=1), np.any(whole.lower, axis=1)
    upper, lower = (np.where(has, -turn, 0.0)[:, None] for has in sides)
    score, variance = score_of_added(whole, upper, lower)
    size = max(float(variance[0, 0]), 1e-12)
    chance = 2 * float(norm.sf(abs(float(score[0])) / np.sqrt(size)))
    return Drift(fit.scale, float(score[0]) / size / logits_a_step(fit), chance)


def turn_in_session(rows: pd.DataFrame, order: pd.DataFrame) -> Array:
    """Turn of each row's tile among those of its session that had the same firing.

    -0.5 for the first, 0.5 for the last; 0 where it is not known, or there was one tile only.
    """
    known = rows[["session", "tile", "firing"]].merge(order, on=["tile", "firing"], how="left")
    together = [known["session"], known["firing"]]
    rank = known["step"].groupby(together, dropna=False).rank("dense") - 1
    last = rank.groupby(together, dropna=False).transform("max")
    turn: Array = (rank / last.where(last > 0) - 0.5).fillna(0.0).to_numpy(float)
    return turn
