"""The pair table: what every ordered pair of colours would do, and how surely that is known."""

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from kit.errors import ExtrapolationWarning, Misuse
from kit.model.crossed import Array
from kit.model.dependence import both_below, score_correlation
from kit.model.plain import PLAIN
from kit.model.series_fit import MEASURES, NOISE, ScaleFit
from kit.model.verdicts import NOT_KNOWN, verdicts
from kit.series import Verdict

SCORES = ("spread", "pull_through")


@dataclass(frozen=True)
class PairSetting:
    """The work that pairs are judged for, and the rule they are judged by.

    Parameters
    ----------
    mesh, base_mesh : int
        Sifters of the overlay and of the base.
    coat_weight, base_coat_weight : float
        mg/cm².
    firings : int
        How often the overlay will have been fired.
    fine_edge_at_most : int
        A fine edge holds when spread and pull-through are both at or below this step.
    breaks_through_from : int or None
        The base breaks through when pull-through is at or above this step; None for the step
        after `fine_edge_at_most`.
    confidence : float
        Least chance at which a verdict is given; also the chance that the intervals state.
    """

    mesh: int = 100
    coat_weight: float = 40.0
    base_mesh: int = 80
    base_coat_weight: float = 60.0
    firings: int = 3
    fine_edge_at_most: int = 1
    breaks_through_from: int | None = None
    confidence: float = 0.8

    @classmethod
    def of(cls, verdict: Verdict) -> "PairSetting":
        """The setting that a series' settings ask for."""
        names = {f.name for f in fields(cls)} & {f.name for f in fields(verdict)}
        return cls(**{name: getattr(verdict, name) for name in names})

    def __post_init__(self) -> None:
        if not 0.5 < self.confidence < 1:
            raise Misuse(f"confidence must lie above 0.5 and below 1, not {self.confidence}.")
        if self.breaks_from <= self.fine_edge_at_most:
            raise Misuse("breaks_through_from must lie above fine_edge_at_most.")

    @property
    def breaks_from(self) -> int:
        """The step from which the base breaks through."""
        if self.breaks_through_from is None:
            return self.fine_edge_at_most + 1
        return self.breaks_through_from


def pair_table(
    fits: Mapping[str, ScaleFit], colours: pd.DataFrame, setting: PairSetting
) -> pd.DataFrame:
    """Foretell and judge every ordered pair, fired or not.

    What is foretold is a new patch on a new tile, seen by the average grader in an average session,
    after `setting.firings` firings. Its chances are averaged over everything that is not known
    exactly: effects and thresholds, what each colour and pair does of its own (for a pair never
    fired, the whole variation of pairs), and how much tiles and patches vary.

    Spread and pull-through are modelled apart. A patch that does badly on one may do badly on the
    other, so the chance that both stay low is not the product of two chances. Their correlation is
    estimated beneath the grades that patches got on both scales (`score_correlation`), and the two
    chances are joined by a normal copula with it. `p_fine_edge_at_least` is the chance that remains
    under the worst dependence there could be (Frechet's bound): where it reaches the confidence,
    the verdict does not rest on the estimated correlation.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
        Needs 'spread' and 'pull_through'.
    colours : DataFrame
        Columns colour, family.
    setting : PairSetting

    Returns
    -------
    DataFrame
        One row a pair, with columns base, overlay, base_family, overlay_family, patches (fired,
        not lost), p_fine_edge, p_fine_edge_at_least, p_breaks_through, then for each score its
        average grade and the interval that holds this average with the setting's confidence
        (spread, spread_low, spread_high, pull_through, ...), and verdict.

    Raises
    ------
    Misuse
        If a fit is missing.

    Warns
    -----
    ExtrapolationWarning
        If the setting lies outside what was fired. Such pairs are 'not known yet'.
    """
    missing = [score for score in SCORES if score not in fits]
    if missing:
        raise Misuse(f"Pairs are judged by spread and pull-through; {missing[0]} has no fit.")
    table = _every_pair(colours)
    recipe = _recipes(table, setting)
    table["patches"] = _patches_behind(table, fits)
    below = {}
    grades = {}
    for score in SCORES:
        fit = fits[score]
        new = _with_habits(recipe, fit)
        noise = [name for name in NOISE if name in fit.results.random_sd]
        below[score] = fit.results.at_most(new, noise)
        grades[score] = fit.results.expected_grade(new, setting.confidence, noise)
    spread, pull = (_at_most(below[score], setting.fine_edge_at_most) for score in SCORES)
    rho = score_correlation(fits["spread"], fits["pull_through"])
    breaks = 1 - _at_most(below["pull_through"], setting.breaks_from - 1)
    table["p_fine_edge"] = both_below(spread, pull, rho)
    table["p_fine_edge_at_least"] = np.maximum(0.0, spread + pull - 1)
    table["p_breaks_through"] = breaks
    for score, grade in grades.items():
        table[score] = grade["middle"].to_numpy()
        table[f"{score}_low"] = grade["low"].to_numpy()
        table[f"{score}_high"] = grade["high"].to_numpy()
    judged = verdicts(table["p_fine_edge"].to_numpy(), breaks, setting.confidence)
    outside = _outside(recipe, fits)
    table["verdict"] = np.where(outside, NOT_KNOWN, judged)
    return table


def _every_pair(colours: pd.DataFrame) -> pd.DataFrame:
    missing = [column for column in ("colour", "family") if column not in colours]
    if missing:
        raise Misuse(f"The colours have no column {', '.join(missing)}.")
    own = colours[["colour", "family"]]
    bases = own.rename(columns={"colour": "base", "family": "base_family"})
    overlays = own.rename(columns={"colour": "overlay", "family": "overlay_family"})
    pairs = bases.merge(overlays, how="cross")
    return pairs[["base", "overlay", "base_family", "overlay_family"]]


def _recipes(pairs: pd.DataFrame, setting: PairSetting) -> pd.DataFrame:
    return pairs.assign(
        mesh=setting.mesh,
        coat_weight=setting.coat_weight,
        base_mesh=setting.base_mesh,
        base_coat_weight=setting.base_coat_weight,
        firings=setting.firings,
    )


def _with_habits(recipe: pd.DataFrame, fit: ScaleFit) -> pd.DataFrame:
    """Add the usual value of factors that the setting does not speak of."""
    usual = {
        factor: fit.frame[factor].mode().iloc[0]
        for factor in fit.factors
        if factor not in recipe.columns
    }
    return recipe.assign(**usual)


def _patches_behind(pairs: pd.DataFrame, fits: Mapping[str, ScaleFit]) -> Array:
    keys = ["series", "base", "overlay", "patch"]
    seen = pd.concat([fits[s].frame[[k for k in keys if k in fits[s].frame]] for s in SCORES])
    counts = seen.drop_duplicates().groupby(["base", "overlay"]).size()
    places = pd.MultiIndex.from_frame(pairs[["base", "overlay"]])
    return counts.reindex(places, fill_value=0).to_numpy()


def _at_most(below: pd.DataFrame, step: int) -> Array:
    """P(y <= step) from chances of at most each label."""
    within = [label for label in below.columns if label <= step]
    return below[within[-1]].to_numpy() if within else np.zeros(len(below))


def _outside(recipe: pd.DataFrame, fits: Mapping[str, ScaleFit]) -> Array:
    """Which pairs ask for what was never fired: a family pair, or a setting beyond the range."""
    outside = np.zeros(len(recipe), dtype=bool)
    said: list[str] = []
    for fit in fits.values():
        frame = fit.frame
        fired = set(zip(frame["base_family"], frame["overlay_family"], strict=True))
        pairs = list(zip(recipe["base_family"], recipe["overlay_family"], strict=True))
        strange = np.array([pair not in fired for pair in pairs], dtype=bool)
        said += [f"no {o} overlay was fired on a {b} base" for b, o in sorted(set(pairs) - fired)]
        outside |= strange
        for factor in MEASURES:
            if factor not in recipe or factor not in frame:
                continue
            asked, low, high = recipe[factor].iloc[0], frame[factor].min(), frame[factor].max()
            if not low <= asked <= high:
                outside[:] = True
                seen = f"{low:g}" if low == high else f"{low:g} to {high:g}"
                said.append(f"{PLAIN[factor]} would be {asked:g}, but {seen} was graded")
    if said:
        warnings.warn(
            f"Some pairs lie outside what was fired ({'; '.join(dict.fromkeys(said))}). "
            f"They are {NOT_KNOWN}.",
            ExtrapolationWarning,
            stacklevel=3,
        )
    return outside
