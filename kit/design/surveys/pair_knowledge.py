"""What is known of every ordered pair at every firing count, and what grades tell of it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit

from kit.errors import Misuse
from kit.model import PairSetting, ScaleFit, ScoreState, fit_series, state_by_grades
from kit.series import PULL_THROUGH, SPREAD, Series
from kit.wording import listed

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def pair_numbers(colours: Sequence[str], pairs: pd.DataFrame) -> Ints:
    """Numbers of ordered pairs: base i and overlay j of c colours have number i * c + j.

    Parameters
    ----------
    colours : sequence of str
    pairs : DataFrame
        Columns base and overlay.

    Raises
    ------
    Misuse
        When a colour is not in the list.
    """
    place = {colour: i for i, colour in enumerate(colours)}
    unknown = sorted({*pairs["base"], *pairs["overlay"]} - set(place))
    if unknown:
        raise Misuse(
            f"{listed([str(name) for name in unknown])}: not in the list of colours. "
            "Check the spelling, or add the colour to the list."
        )
    base = pairs["base"].map(place).to_numpy(dtype=np.intp)
    overlay = pairs["overlay"].map(place).to_numpy(dtype=np.intp)
    numbers: Ints = base * len(colours) + overlay
    return numbers


def checked_colours(colours: pd.DataFrame) -> pd.DataFrame:
    """Return the colours if each has a name of its own and a family.

    Raises
    ------
    Misuse
    """
    missing = {"colour", "family"} - set(colours.columns)
    if missing:
        raise Misuse(f"The colours need the column {listed(sorted(missing))}.")
    twice = sorted(colours.loc[colours["colour"].duplicated(), "colour"].unique())
    if twice:
        raise Misuse(f"Each colour is listed once; {listed(twice)} is there more than once.")
    if colours["family"].isna().any():
        names = listed(colours.loc[colours["family"].isna(), "colour"].tolist())
        raise Misuse(f"Every colour has a family, leaded or unleaded; {names} has none.")
    if len(colours) < 2:
        raise Misuse("A pair needs two colours: list at least two.")
    return colours


SCORES = (SPREAD.name, PULL_THROUGH.name)

SMALL_SD_RATIO = 1.5
"""A small patch varies so much more than one of full size: common practice, no source."""

_NODES, _weights = np.polynomial.hermite_e.hermegauss(7)
_WEIGHTS = _weights / _weights.sum()


@dataclass(frozen=True, eq=False)
class ScoreKnowledge:
    """One score of all n = c² ordered pairs, in latent units above the cut of a fine edge.

    Parameters
    ----------
    mean, variance : (n, counts) arrays
        Of the pair's own value, at each firing count.
    covariance : (n, n) array
        Of the pairs' values at the middle count.
    broken_above : float
        How far the cut from which the base has broken through lies above that of a fine edge.
    tile_variance, stripe_variance, patch_variance, session_variance : float
    noise_variance : (n,) array
        Variance of what a full-size patch will show, given its pair and tile.
    """

    mean: Floats
    variance: Floats
    covariance: Floats
    broken_above: float
    tile_variance: float
    stripe_variance: float
    patch_variance: float
    session_variance: float
    noise_variance: Floats

    @property
    def small_variance(self) -> float:
        """What being small adds to a patch's own variance."""
        return (SMALL_SD_RATIO**2 - 1) * self.patch_variance

    def state(self, mean: Floats, variance: Floats) -> ScoreState:
        """What would be known of m pairs, in the form that the model judges by; (m,) arrays."""
        own = self.patch_variance + self.tile_variance + self.session_variance
        apart = self.broken_above > 0
        above = [0.0, self.broken_above] if apart else [0.0]
        return ScoreState(
            mean=mean[:, None] - np.array(above),
            variance=np.repeat(variance[:, None], len(above), axis=1),
            steps=np.arange(len(above) + 1.0),
            patch_variance=own,
            patch_variances=np.full(1, own),
            reading_variance=0.0,
            fine=0,
            broken=int(apart),
        )


@dataclass(frozen=True, eq=False)
class PairKnowledge:
    """Both scores of all ordered pairs of c colours.

    Parameters
    ----------
    colours : tuple of str
        The pair of base i and overlay j has number i * c + j.
    counts : tuple of int
        Firing counts that pairs are judged at.
    scores : tuple of ScoreKnowledge
        Spread and pull-through.
    confidence : float
    rho : float
        Correlation of a patch's two states, given its pair.
    """

    colours: tuple[str, ...]
    counts: tuple[int, ...]
    scores: tuple[ScoreKnowledge, ScoreKnowledge]
    confidence: float
    rho: float = 0.0

    @property
    def pairs(self) -> pd.DataFrame:
        """The base and overlay of each pair, in the order of the numbers."""
        c = len(self.colours)
        names = np.array(self.colours, dtype=object)
        frame = pd.DataFrame({"base": np.repeat(names, c), "overlay": np.tile(names, c)})
        return frame.astype("str")

    @cached_property
    def judged(self) -> Ints:
        """Numbers of the pairs of two different colours."""
        c = len(self.colours)
        return np.flatnonzero(~np.eye(c, dtype=bool).ravel())

    def numbers(self, pairs: pd.DataFrame) -> Ints:
        """Pair numbers of the rows of a frame with columns base and overlay."""
        return pair_numbers(self.colours, pairs)


def fitted_scores(series: Series | Iterable[Series]) -> dict[str, ScaleFit]:
    """Fit both scores of one series, or of several together."""
    each = [series] if isinstance(series, Series) else list(series)
    return {score: fit_series(each, score) for score in SCORES}


def known_from_grades(
    fits: Mapping[str, ScaleFit],
    colours: pd.DataFrame,
    setting: PairSetting,
    rho: float = 0.0,
) -> PairKnowledge:
    """What fits know of pairs.

    A future patch is taken to be graded as often as those of the fits were, and its grades to be as
    informative as at the setting itself.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
    colours : DataFrame
        Columns colour and family.
    setting : PairSetting
    rho : float

    Raises
    ------
    Misuse
        When a score has no fit.
    """
    missing = [score for score in SCORES if score not in fits]
    if missing:
        raise Misuse(f"Pairs are judged by spread and pull-through; {missing[0]} has no fit.")
    frame = fits[SCORES[0]].frame
    counts = tuple(sorted(frame["firings"].astype(int).unique())) if "firings" in frame else (1,)
    spread, pull = (_fitted_score(fits[score], colours, setting, counts) for score in SCORES)
    names = tuple(colours["colour"].astype("str"))
    return PairKnowledge(names, counts, (spread, pull), setting.confidence, rho)


def _fitted_score(
    fit: ScaleFit, colours: pd.DataFrame, setting: PairSetting, counts: tuple[int, ...]
) -> ScoreKnowledge:
    results, n = fit.results, len(colours) ** 2
    mean, variance = np.empty((n, len(counts))), np.empty((n, len(counts)))
    broken_above = 0.0
    for i, count in enumerate(counts):
        state = state_by_grades(fit, _recipes(fit, colours, setting, count), setting.rule)
        mean[:, i], variance[:, i] = state.mean[:, state.fine], state.variance[:, state.fine]
        broken_above = float(state.mean[0, state.fine] - state.mean[0, state.broken])
    middle = _recipes(fit, colours, setting, counts[len(counts) // 2])
    _, covariance = results.latent(middle)
    cuts = (
        results.thresholds.to_numpy() - (results.latent(middle)[0] - mean[:, len(counts) // 2])[0]
    )
    graded = len(fit.frame) / fit.frame["patch"].nunique()
    in_middle = np.minimum(variance[:, len(counts) // 2], np.diag(covariance))
    information = grade_information(cuts, mean[:, len(counts) // 2], in_middle)
    sds = results.random_sd
    own = {name: float(sds.get(name, 0.0)) ** 2 for name in ("tile", "patch", "session")}
    return ScoreKnowledge(
        mean=mean,
        variance=variance,
        covariance=covariance,
        broken_above=max(broken_above, 0.0),
        tile_variance=own["tile"],
        stripe_variance=float(sds["stripe.small"]) ** 2 if "stripe.small" in sds else own["tile"],
        patch_variance=own["patch"],
        session_variance=max(0.0, state.patch_variance - own["tile"] - own["patch"]),
        noise_variance=own["patch"] + 1 / (graded * information),
    )


def _recipes(
    fit: ScaleFit, colours: pd.DataFrame, setting: PairSetting, count: int
) -> pd.DataFrame:
    """Every ordered pair at the setting, a colour over itself too, in the order of the numbers."""
    bases = colours[["colour", "family"]].set_axis(["base", "base_family"], axis=1)
    overlays = colours[["colour", "family"]].set_axis(["overlay", "overlay_family"], axis=1)
    pairs = bases.merge(overlays, how="cross").assign(firings=count, refirings=count - 1)
    for factor in fit.factors:
        if factor not in pairs:
            usual = fit.frame[factor].mode().iloc[0]
            pairs[factor] = getattr(setting, factor, usual)
    return fit.labels.on(pairs)


def grade_information(cuts: Floats, m: Floats, v: Floats) -> Floats:
    """Expected Fisher information of one grade about eta ~ N(m, v) under a cumulative logit.

    For P(y <= k) = F_k = logistic(cut_k - eta) the information is the sum over grades of
    p_k (f_k + f_{k-1}), with f = F (1 - F) and p_k = F_k - F_{k-1}: McCullagh (1980), Regression
    models for ordinal data, JRSS B 42, 109-142. It is greatest, about 1/3, in the middle of the
    scale and falls to nothing where every grade would be the lowest or the highest.

    Parameters
    ----------
    cuts : (k,) array
    m, v : (n,) array

    Returns
    -------
    (n,) array
    """
    eta = m[:, None] + np.sqrt(v)[:, None] * _NODES
    F = expit(cuts - eta[..., None])
    F = np.concatenate([np.zeros((*eta.shape, 1)), F, np.ones((*eta.shape, 1))], axis=-1)
    f = F * (1 - F)
    information = np.sum(np.diff(F, axis=-1) * (f[..., 1:] + f[..., :-1]), axis=-1)
    return np.asarray(information @ _WEIGHTS)
