"""Do the chances come true? Of every grade, and of each tile or pair that was left out.

A chance that is checked on the very grades that were fitted nearly always looks right. So each tile
(or each pair of colours) is left out in turn, its grades are expected from all the others, and what
was given is held against that. Refitting for each would be slow; instead `kit.mixed.leave_out`
takes one Newton step from the whole fit.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy.stats import norm
from statsmodels.stats.proportion import proportion_confint

from kit.mixed import Array, leave_out
from kit.model.right_hand_side import NOISE
from kit.model.series_fit import ScaleFit
from kit.model.verdict_rule import VerdictRule
from kit.wording import counted, percent

COME_TRUE = "come true"
TOO_SURE = "too sure"
TOO_CAUTIOUS = "too cautious"
TOO_HIGH = "too high"
TOO_LOW = "too low"
TOO_FEW = "too few to say"

FEWEST = 8
"""Tiles or pairs that nothing is said below."""

FALSE_ALARM = {"left out": 0.01, "cuts": 0.02, "drift": 0.005, "losses": 0.01}
"""Chance that a check speaks where nothing is wrong, over the scores of spread and pull-through
together. With tiles that surprise and slips of a grader, whose bounds are far out, all of them stay
below one series in twenty (tests/benchmarks/bench_checks.py)."""


@dataclass(frozen=True, eq=False)
class LeftOut:
    """Chances of grades left out, and what became of them.

    Attributes
    ----------
    by : str
        'tile' or 'pair'.
    readings : DataFrame
        One row a grade: scale, group (what was left out with it), expected (chance that it stays
        within a fine edge, without its group) and stayed.
    table : DataFrame
        In five bins of expected: expected, observed, readings and groups.
    finding : str
    bias, sharpness : float
        How far grades stay within a fine edge more often than expected, and how much more often
        the surer it was expected; standard normal where the chances are right.
    """

    by: str
    readings: pd.DataFrame
    table: pd.DataFrame
    finding: str
    bias: float
    sharpness: float

    @property
    def sentence(self) -> str:
        """What was found and what to do about it."""
        groups = self.readings["group"].nunique()
        left_out = counted(groups, self.by)
        if self.finding == TOO_FEW:
            return (
                f"Whether the chances come true cannot be said from {left_out}: at least "
                f"{FEWEST} are needed, and grades that differ."
            )
        stayed = percent(float(self.readings["stayed"].mean()))
        expected = percent(float(self.readings["expected"].mean()))
        seen = (
            f"Each {self.by} left out in turn, {stayed} of its grades stayed within a fine edge "
            f"where {expected} were expected"
        )
        if self.finding == COME_TRUE:
            return f"{seen}: the chances come true as well as {left_out} can tell."
        doing = {
            TOO_SURE: (
                "the chances are surer than they should be. Read verdicts as one step less sure, "
                f"and fire more {self.by}s"
            ),
            TOO_CAUTIOUS: "the chances are more cautious than they need be",
            TOO_HIGH: "fine edges are rarer than the chances say. See what the surprises share",
            TOO_LOW: "fine edges are commoner than the chances say. See what the surprises share",
        }[self.finding]
        return f"{seen}: {doing}."


def left_out(
    fits: Mapping[str, ScaleFit], rule: VerdictRule, by: Literal["tile", "pair"] = "tile"
) -> LeftOut:
    """Leave out each tile or each pair in turn, and hold its grades against what was expected.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
    rule : VerdictRule
        Its step of a fine edge is what grades stay within, or do not.
    by : 'tile' or 'pair'
    """
    readings = pd.concat(
        [expected_without(fit, rule.fine_edge_at_most, by) for fit in fits.values()],
        ignore_index=True,
    )
    off = (readings["stayed"] - readings["expected"]).to_numpy(float)
    surer = readings["expected"].to_numpy(float) - 0.5
    bias, sharpness = (_standardised(off * v, readings["group"]) for v in (1.0, surer))
    return LeftOut(
        by, readings, _binned(readings), _finding(readings, bias, sharpness), bias, sharpness
    )


def expected_without(fit: ScaleFit, step: int, by: str) -> pd.DataFrame:
    """Chance that each grade stays at or below a step, worked out without its tile or pair.

    By the grades alone: few tiles are photographed, and one Newton step does not carry the line
    from grades to photographs over to what it would be without one of them.
    """
    fit, frame = fit.by_grades, fit.frame
    group = frame["tile"] if by == "tile" else frame["base"].str.cat(frame["overlay"], sep=" / ")
    without = fit.tiles_left_out if by == "tile" else leave_out(fit.results, "base:overlay")
    stayed = frame[fit.scale].astype(float).to_numpy() <= step
    return pd.DataFrame(
        {
            "scale": fit.scale,
            "group": group.astype(str),
            "expected": without.at_most[step].to_numpy(),
            "stayed": stayed,
        }
    )


def _standardised(off: Array, group: pd.Series) -> float:
    """Sum over its own standard deviation, groups being independent of each other."""
    sums = pd.Series(off).groupby(group.to_numpy()).sum().to_numpy()
    size = float(np.sqrt((sums**2).sum()))
    return float(sums.sum()) / size if size > 0 else 0.0


def _finding(readings: pd.DataFrame, bias: float, sharpness: float) -> str:
    if readings["group"].nunique() < FEWEST or readings["stayed"].nunique() < 2:
        return TOO_FEW
    bound = float(norm.ppf(1 - FALSE_ALARM["left out"] / 4))
    if abs(sharpness) > max(bound, abs(bias)):
        return TOO_CAUTIOUS if sharpness > 0 else TOO_SURE
    if abs(bias) > bound:
        return TOO_LOW if bias > 0 else TOO_HIGH
    return COME_TRUE


def _binned(readings: pd.DataFrame, bins: int = 5) -> pd.DataFrame:
    which = np.minimum((readings["expected"] * bins).astype(int), bins - 1)
    table = readings.groupby(which.to_numpy()).agg(
        expected=("expected", "mean"),
        observed=("stayed", "mean"),
        readings=("stayed", "size"),
        groups=("group", "nunique"),
    )
    return table.reset_index(drop=True)


def residuals(fit: ScaleFit) -> pd.DataFrame:
    """Distance of every grade from what was foretold for its patch.

    Parameters
    ----------
    fit : ScaleFit

    Returns
    -------
    DataFrame
        The graded rows with columns expected (foretold grade), grade, off (grade - expected) and
        residual: the normal score of the middle of the grade's share of the foretold distribution,
        roughly standard normal when the model holds. Dunn and Smyth (1996), Randomized
        quantile residuals, Journal of Computational and Graphical Statistics 5, with the middle in
        place of a random point.
    """
    below = fit.results.at_most(fit.frame)
    steps = np.asarray([float(label) for label in below.columns])
    chance = np.diff(below.to_numpy(), prepend=0.0)
    grade = fit.frame[fit.scale].astype(float).to_numpy()
    place = np.searchsorted(steps, grade)
    rows = np.arange(len(grade))
    middle = below.to_numpy()[rows, place] - 0.5 * chance[rows, place]
    expected = chance @ steps
    return fit.frame.assign(
        expected=expected,
        grade=grade,
        off=grade - expected,
        residual=norm.ppf(np.clip(middle, 1e-6, 1 - 1e-6)),
    )


def observed_against_foretold(
    fit: ScaleFit, bins: int = 8, confidence: float = 0.9
) -> pd.DataFrame:
    """Compare how often grades stayed at or below each step with the chances foretold.

    Each grade is foretold as if its patch and tile were new, so that the comparison shows how the
    pair chart's chances would have served.

    Parameters
    ----------
    fit : ScaleFit
    bins : int
        Rows are gathered into this many bins of about equal size by their foretold chance.
    confidence : float
        Of the interval about the observed share (Wilson 1927). Grades of one patch repeat each
        other, so patches and not grades are counted for it.

    Returns
    -------
    DataFrame
        Columns step, foretold, observed, low, high, grades, patches.
    """
    new = fit.frame.drop(columns=[c for c in NOISE if c in fit.frame])
    noise = [name for name in NOISE if name in fit.results.random_sd]
    below = fit.results.at_most(new, noise)
    grade = fit.frame[fit.scale].astype(float).to_numpy()
    rows = []
    for step in below.columns[:-1]:
        foretold = below[step].to_numpy()
        stayed = grade <= float(step)
        order = np.argsort(foretold, kind="stable")
        for part in np.array_split(order, min(bins, len(order))):
            patches = fit.frame["patch"].iloc[part].nunique()
            share = float(stayed[part].mean())
            low, high = proportion_confint(share * patches, patches, 1 - confidence, "wilson")
            rows.append(
                {
                    "step": step,
                    "foretold": float(foretold[part].mean()),
                    "observed": share,
                    "low": float(low),
                    "high": float(high),
                    "grades": len(part),
                    "patches": patches,
                }
            )
    return pd.DataFrame(rows)
