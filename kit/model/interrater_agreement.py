"""How well graders agree, with themselves and each other, and whether they drift."""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import krippendorff
import numpy as np
import pandas as pd
from scipy.stats import t
from statsmodels.stats.inter_rater import cohens_kappa

from kit.errors import ConstantGraderWarning, FewGradersWarning, Misuse
from kit.mixed import Array
from kit.model.series_fit import STEPS

# Patches graded by both graders below which their agreement is not worked out.
FEWEST = 5
BOOTSTRAPS = 400

# Bands of Landis and Koch (1977), The measurement of observer agreement for categorical data,
# Biometrics 33.
BANDS = ((0.81, "almost perfect"), (0.61, "substantial"), (0.41, "moderate"), (0.21, "fair"))


@dataclass(frozen=True, eq=False)
class Agreement:
    """Agreement on one scale.

    Attributes
    ----------
    scale : str
    alpha : float or None
        Krippendorff's ordinal alpha over all graders; None where it cannot be worked out.
    pairs : DataFrame
        Columns first, second, patches, kappa, low, high: quadratically weighted kappa of every
        two graders, or of a grader's first and second look ('A again').
    drift : DataFrame
        Columns grader, grades, drift, low, high: how far a grader moves away from the others from
        the first to the last grade, in steps of the scale.
    sentences : tuple of str
        The same in words, alpha with its interval.
    """

    scale: str
    alpha: float | None
    pairs: pd.DataFrame
    drift: pd.DataFrame
    sentences: tuple[str, ...]


def agreement(
    observations: pd.DataFrame,
    scale: str,
    steps: Sequence[int] = STEPS,
    confidence: float = 0.9,
    seed: int = 1,
) -> Agreement:
    """Work out how well graders agree on one scale.

    Parameters
    ----------
    observations : DataFrame
        As `kit.series.observations` gives it, in the order of grading.
    scale : str
    steps : sequence of int
        Every step of the scale.
    confidence : float
    seed : int
        Of the bootstrap over patches that gives the intervals.

    Returns
    -------
    Agreement

    Raises
    ------
    Misuse
        If the observations have no such scale.

    Warns
    -----
    FewGradersWarning
        If no two graders, or looks, share enough patches.
    ConstantGraderWarning
        If a grader gave one grade throughout.

    Notes
    -----
    Weighted kappa: Cohen (1968), Weighted kappa, Psychological Bulletin 70. Alpha: Krippendorff
    (2004), Content Analysis, 2nd ed., chapter 11. Whole patches are drawn again, with all their
    firings, because grades of one patch hang together.
    """
    if scale not in observations.columns:
        raise Misuse(f"The observations have no column {scale!r}.")
    looks = _looks(observations, scale)
    constant = [name for name in looks.columns if _same_throughout(looks[name])]
    if constant:
        warnings.warn(
            f"{', '.join(constant)} gave the same {scale} grade throughout, so agreement with "
            "that grader cannot be seen; the grades still count.",
            ConstantGraderWarning,
            stacklevel=2,
        )
    random = np.random.default_rng(seed)
    draws = _patch_draws(looks, random)
    pairs = _kappas(looks.drop(columns=constant), list(steps), draws, confidence)
    alpha, low, high = _alpha(looks, list(steps), draws, confidence)
    if alpha is None:
        warnings.warn(
            f"No two graders graded the same {FEWEST} patches for {scale}, so how well they agree "
            "cannot be said.",
            FewGradersWarning,
            stacklevel=2,
        )
    drift = _drift(observations, scale, confidence)
    sentences = _sentences(alpha, low, high, pairs, drift, constant)
    return Agreement(scale, alpha, pairs, drift, sentences)


def _looks(observations: pd.DataFrame, scale: str) -> pd.DataFrame:
    """One row a patch and firing, one column a grader; second looks are columns of their own."""
    graded = observations[observations[scale].notna()]
    keys = [key for key in ("series", "patch", "firing") if key in graded]
    again = graded.groupby([*keys, "grader"]).cumcount()
    suffix = np.where(again == 0, "", np.where(again == 1, " again", " again " + again.astype(str)))
    graded = graded.assign(look=graded["grader"].astype(str) + suffix)
    graded = graded.assign(**{scale: graded[scale].astype(float)})
    return graded.pivot_table(index=keys, columns="look", values=scale, aggfunc="first")


def _same_throughout(grades: pd.Series) -> bool:
    given = grades.dropna()
    return len(given) >= FEWEST and bool((given == given.iloc[0]).all())


def _patch_draws(looks: pd.DataFrame, random: np.random.Generator) -> list[Array]:
    """Row numbers of bootstrap samples of whole patches."""
    outer = [name for name in looks.index.names if name != "firing"]
    code = looks.groupby(outer, sort=False).ngroup().to_numpy()
    rows_of = [np.flatnonzero(code == k) for k in range(int(code.max()) + 1)] if len(code) else []
    if not rows_of:
        return []
    return [
        np.concatenate([rows_of[k] for k in random.integers(0, len(rows_of), len(rows_of))])
        for _ in range(BOOTSTRAPS)
    ]


def weighted_kappa(one: Array, other: Array, steps: Sequence[int]) -> float:
    """Quadratically weighted kappa of two lists of grades; NaN where either never varies."""
    place = {float(step): k for k, step in enumerate(steps)}
    table = np.zeros((len(steps), len(steps)))
    np.add.at(table, ([place[g] for g in one], [place[g] for g in other]), 1)
    if (table.sum(axis=0) > 0).sum() < 2 and (table.sum(axis=1) > 0).sum() < 2:
        return float("nan")
    return float(cohens_kappa(table, wt="quadratic", return_results=False))


def _kappas(
    looks: pd.DataFrame, steps: list[int], draws: list[Array], confidence: float
) -> pd.DataFrame:
    rows = []
    tail = (1 - confidence) / 2
    for first, second in combinations(looks.columns, 2):
        if " again" in second and not second.startswith(f"{first} again"):
            continue
        if " again" in first:
            continue
        both = looks[[first, second]].to_numpy()
        shared = np.isfinite(both).all(axis=1)
        if shared.sum() < FEWEST:
            continue
        kappa = weighted_kappa(both[shared, 0], both[shared, 1], steps)
        drawn = np.array([_kappa_of(both[rows_], steps) for rows_ in draws])
        drawn = drawn[np.isfinite(drawn)]
        if not np.isfinite(kappa) or not drawn.size:
            continue
        low, high = np.quantile(drawn, [tail, 1 - tail])
        rows.append((first, second, int(shared.sum()), kappa, float(low), float(high)))
    return pd.DataFrame(rows, columns=["first", "second", "patches", "kappa", "low", "high"])


def _kappa_of(both: Array, steps: list[int]) -> float:
    both = both[np.isfinite(both).all(axis=1)]
    return weighted_kappa(both[:, 0], both[:, 1], steps) if len(both) else float("nan")


def _alpha(
    looks: pd.DataFrame, steps: list[int], draws: list[Array], confidence: float
) -> tuple[float | None, float | None, float | None]:
    grades = looks.to_numpy()
    if grades.size == 0 or (np.isfinite(grades).sum(axis=1) >= 2).sum() < FEWEST:
        return None, None, None
    alpha = ordinal_alpha(grades, steps)
    if not np.isfinite(alpha):
        return None, None, None
    drawn = np.array([ordinal_alpha(grades[rows], steps) for rows in draws])
    drawn = drawn[np.isfinite(drawn)]
    tail = (1 - confidence) / 2
    low, high = np.quantile(drawn, [tail, 1 - tail])
    return alpha, float(low), float(high)


def ordinal_alpha(grades: Array, steps: Sequence[int]) -> float:
    """Krippendorff's ordinal alpha of a (units, graders) table; NaN where nothing varies."""
    paired = grades[np.isfinite(grades).sum(axis=1) >= 2]
    given = paired[np.isfinite(paired)]
    if not given.size or np.all(given == given[0]):
        return float("nan")
    return float(
        krippendorff.alpha(
            reliability_data=paired.T,
            value_domain=[float(step) for step in steps],
            level_of_measurement="ordinal",
        )
    )


def _drift(observations: pd.DataFrame, scale: str, confidence: float) -> pd.DataFrame:
    """Slope of each grader's distance from the others' mean on the same patch, first to last."""
    graded = observations[observations[scale].notna()].copy()
    graded[scale] = graded[scale].astype(float)
    keys = [key for key in ("series", "patch", "firing") if key in graded]
    units = graded.groupby(keys)[scale]
    others = (units.transform("sum") - graded[scale]) / (units.transform("size") - 1).replace(
        0, np.nan
    )
    apart = graded[scale] - others
    rows = []
    for grader, own in apart.dropna().groupby(graded["grader"]):
        if len(own) < 2 * FEWEST:
            continue
        when = np.linspace(-0.5, 0.5, len(own))
        slope = float(when @ own.to_numpy() / (when @ when))
        rest = own.to_numpy() - own.mean() - slope * when
        error = float(np.sqrt(rest @ rest / (len(own) - 2) / (when @ when)))
        reach = _student(confidence, len(own) - 2) * error
        rows.append((grader, len(own), slope, slope - reach, slope + reach))
    return pd.DataFrame(rows, columns=["grader", "grades", "drift", "low", "high"])


def _student(confidence: float, freedom: int) -> float:
    return float(t.ppf(0.5 + confidence / 2, freedom))


def _sentences(
    alpha: float | None,
    low: float | None,
    high: float | None,
    pairs: pd.DataFrame,
    drift: pd.DataFrame,
    constant: list[str],
) -> tuple[str, ...]:
    said = []
    if alpha is None:
        said.append("How well graders agree cannot be said: too few patches had two grades.")
    else:
        band = next((word for bound, word in BANDS if alpha >= bound), "slight")
        said.append(
            f"Between graders there is {band} agreement (Krippendorff's alpha {alpha:.2f}, where 1 "
            f"is perfect and 0 is chance; {low:.2f} to {high:.2f})."
        )
    if len(pairs) > 1:
        worst = pairs.loc[pairs["kappa"].idxmin()]
        said.append(
            f"{worst['first']} and {worst['second']} agree least (weighted kappa "
            f"{worst['kappa']:.2f})."
        )
    for row in drift.itertuples():
        if row.low > 0 or row.high < 0:
            way = "higher" if row.drift > 0 else "lower"
            said.append(
                f"{row.grader} came to grade {way} than the others by {abs(row.drift):.1f} of a "
                "step from the first grade to the last."
            )
    said += [f"{name} gave the same grade throughout." for name in constant]
    return tuple(said)
