"""What is assumed before a series is graded: weak beliefs, or what earlier series showed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.mixed import Amount, Array, OrdinalResults, Prior, RowBelief
from kit.model.right_hand_side import HEAT, MEASURES, PICTURED
from kit.series import family_pair
from kit.wording import listed, of_a_step, plain_name

SERIES_PRIOR = Prior(
    effect_sd=4.0,
    sd_rate=3.5,
    sources={
        name: Amount(2.0, rate)
        for name, rate in {
            "base": 2.5,
            "overlay": 2.0,
            "base:overlay": 3.0,
            "tile": 4.0,
            "patch": 4.0,
            "grader": 4.0,
            "session": 6.0,
            "base.refirings": 8.0,
            "overlay.refirings": 8.0,
        }.items()
    },
)
"""What is assumed of grades: colours differ most, then pairs, then tiles, patches and graders, then
sessions; each loosely, and all else by one general belief. Of the priors tried over a wide
population of invented studios, it foretold new patches best (tests/benchmarks/bench_prior.py)."""

MEASURE_PRIOR = Prior(effect_sd=2.0, sd_rate=9.0)
"""What is assumed before a photograph is measured, in standard deviations of all measurements:
those of single sources are smaller than the whole. Tried over a population of invented studios
(tests/benchmarks/bench_measure_prior.py)."""

TOLD_SOURCES = ("base", "overlay", "base:overlay", "tile", "patch", "grader")

LEARNED = (
    "What earlier series showed of families, of the steps of the scale and of how much colours, "
    "tiles and graders vary is taken for known beforehand; their grades do not count again. To "
    "start afresh, empty learns_from in series.toml."
)

MEETS_ANEW = ("series", "session", "grader")
"""By what a new series may lie higher or lower throughout than the ones before it."""

NINE_IN_TEN = float(norm.ppf(0.95))

FAMILY_COLUMNS = ["base_family", "overlay_family"]


def prior_sentence(prior: Prior) -> str:
    """What was assumed before any grade was seen, in steps of the scale."""
    step = (prior.step_shape - 1) / prior.step_rate
    sizes = {n: prior.source(n).shape / prior.source(n).rate / step for n in TOLD_SOURCES}
    return (
        "Before any grade was seen, each factor was taken to move a patch by at most "
        f"{of_a_step(2 * prior.effect_sd / step)} over its whole range, 19 times in 20; and "
        f"each source of variation to move it by around so many steps: {sources_told(sizes)}; "
        "which may turn out much less or several times as much. The grades outweigh this as soon "
        "as there are more than a handful."
    )


def sources_told(sizes: Mapping[str, float]) -> str:
    """Name sources with their sizes, the largest first: 'overlay colour 0.5, tile 0.2'."""
    largest = sorted(sizes, key=lambda name: -sizes[name])
    return listed([f"{plain_name(name)} {sizes[name]:.1f}" for name in largest])


@dataclass(frozen=True, eq=False, repr=False)
class LearnedPrior:
    """What earlier series showed of one scale, taken for known before the next is graded.

    Taken over are what families do at each firing count, how far the steps of the scale lie apart,
    and how much each source varies. What single colours, pairs, tiles and graders did is not.

    Attributes
    ----------
    names : tuple of str
        The earlier series.
    title : str
        Of the scale.
    results : OrdinalResults
        Their fit.
    seen : DataFrame
        The rows of that fit.
    """

    names: tuple[str, ...]
    title: str
    results: OrdinalResults
    seen: pd.DataFrame

    def __repr__(self) -> str:
        return f"<LearnedPrior of {self.title.lower()}, from {listed(self.names)}>"

    @cached_property
    def amounts(self) -> Prior:
        """What was found of steps and of standard deviations, as a prior."""
        posterior = self.results.posterior
        error = np.sqrt(
            np.einsum("ij,jk,ik->i", posterior.sd_slopes, posterior.psi_cov, posterior.sd_slopes)
        )
        sources = {
            term.name: Amount.of_sd(float(sd), float(min(e / sd, 1.0)))
            for term, sd, e in zip(posterior.terms, posterior.sd, error, strict=True)
            if term.name != PICTURED and sd > 0
        }
        cuts = self.results.cuts
        difference = np.diff(np.eye(cuts), axis=0)
        gaps = difference @ posterior.psi[:cuts]
        errors = np.sqrt(np.diag(difference @ posterior.psi_cov[:cuts, :cuts] @ difference.T))
        steps = tuple(Amount.of_step(float(g), float(e)) for g, e in zip(gaps, errors, strict=True))
        known = {**SERIES_PRIOR.sources, **sources}
        return replace(SERIES_PRIOR, sources=known, steps=steps)

    @property
    def step(self) -> float:
        """Mean distance of the cuts, in latent units."""
        return float(np.mean([amount.mean for amount in self.amounts.steps]))

    def family_values(self, recipe: pd.DataFrame) -> tuple[Array, Array]:
        """What families come to above the first cut, over all colours, in a new series.

        Parameters
        ----------
        recipe : DataFrame, n rows
            Family of base and overlay, firings, and the other factors.

        Returns
        -------
        mean : (n,) array
        covariance : (n, n) array
            A new series, where nothing is known of its ways, may lie higher or lower throughout.
        """
        results = self.results
        mean, covariance = results.above(recipe, str(results.thresholds.index[0]))
        names = [term.name for term in results.posterior.terms]
        shift = 0.0
        for name in MEETS_ANEW:
            if name not in names:
                shift += self.amounts.source(name).mean_square
            elif name == "series":
                shift += float(results.posterior.new_var[names.index(name)])
        return mean, covariance + shift

    def covers(self, rows: pd.DataFrame, counts: Sequence[int]) -> bool:
        """Whether every family pair of some rows, and each firing count, lies within the fit."""
        fired = set(self.seen[FAMILY_COLUMNS].itertuples(index=False, name=None))
        asked = set(rows[FAMILY_COLUMNS].itertuples(index=False, name=None))
        seen = self.seen["firings"]
        return asked <= fired and seen.min() <= min(counts) and max(counts) <= seen.max()

    def families_after(self, rows: pd.DataFrame) -> tuple[Array, Array]:
        """`family_values` of rows with families and firings, all else as it was mostly fired."""
        usual = self.recipe.drop(columns=[*FAMILY_COLUMNS, "firings"]).iloc[0].to_dict()
        return self.family_values(rows.reset_index(drop=True).assign(**usual))

    def prior_for(self, rows: pd.DataFrame) -> tuple[Prior, str]:
        """The prior of a series with these rows, and why families are not in it; '' if they are."""
        recipe, why = self._recipe_for(rows)
        if why:
            where = f"What families do was not taken over from {listed(self.names)}: "
            return self.amounts, f"{where}{why}."
        belief = RowBelief(recipe, *self.family_values(recipe))
        return replace(self.amounts, rows=belief), ""

    def _recipe_for(self, rows: pd.DataFrame) -> tuple[pd.DataFrame, str]:
        """Family pairs and settings that both the earlier series and these rows have."""
        both = (
            rows[FAMILY_COLUMNS]
            .drop_duplicates()
            .merge(self.seen[FAMILY_COLUMNS].drop_duplicates())
        )
        if both.empty:
            return both, "no family pair was fired in both"
        for factor in MEASURES:
            if factor not in rows or rows[factor].isna().any():
                continue
            low, high = float(rows[factor].min()), float(rows[factor].max())
            known = (
                self.seen[factor].astype(float) if factor in self.seen else pd.Series(dtype=float)
            )
            if known.empty or known.isna().any():
                both = both.assign(**{factor: (low + high) / 2})
                continue
            ends = (low, high) if factor == "firings" else ((low + high) / 2,)
            levels = {float(np.clip(end, known.min(), known.max())) for end in ends}
            shared = sorted(level for level in levels if low <= level <= high)
            if not shared:
                return both, f"{plain_name(factor)} was another there"
            both = both.merge(pd.DataFrame({factor: shared}), how="cross")
        if HEAT in rows:
            there = set(self.seen[HEAT]) - {""} if HEAT in self.seen else set()
            here = rows[HEAT].mode().iloc[0]
            shared = sorted(there & set(rows[HEAT]))
            if there and here and not shared:
                return both, f"{plain_name(HEAT)} was another there"
            both = both.assign(**{HEAT: shared[0] if shared else here})
        return both, ""

    @cached_property
    def recipe(self) -> pd.DataFrame:
        """Every family pair that was fired, once and once more, as most was fired there."""
        first = float(self.seen["firings"].min())
        again = first + (first < self.seen["firings"].max())
        pairs = self.seen[FAMILY_COLUMNS].drop_duplicates().sort_values(FAMILY_COLUMNS)
        counts = pd.DataFrame({"firings": sorted({first, again})})
        usual = {
            factor: self.seen[factor].mode().iloc[0]
            for factor in (*MEASURES, HEAT)
            if factor in self.seen and factor != "firings" and self.seen[factor].notna().any()
        }
        return pairs.merge(counts, how="cross").assign(**usual)

    @property
    def sentence(self) -> str:
        """What was taken over and from which series, in steps of the scale."""
        told = [*self._families_told(), *self._firing_told(), self._sources_told()]
        return f"{self.title}, from {listed(self.names)}: {'; '.join(told)}."

    def _families_told(self) -> list[str]:
        first = self.recipe["firings"].min()
        once = self.recipe[self.recipe["firings"] == first].reset_index(drop=True)
        mean, covariance = self.family_values(once)
        alike = (once["base_family"] == once["overlay_family"]).to_numpy()
        told = []
        for place in np.flatnonzero(~alike) if alike.any() else ():
            contrast = np.eye(len(once))[place] - alike / alike.sum()
            by, error = self._in_steps(contrast, mean, covariance)
            name = family_pair(once["base_family"][place], once["overlay_family"][place])
            more = "more" if by >= 0 else "less"
            told.append(f"{name} comes to {of_a_step(by)} {more} than like over like, {error}")
        return told

    def _firing_told(self) -> list[str]:
        counts = self.recipe["firings"]
        if counts.min() == counts.max():
            return []
        mean, covariance = self.family_values(self.recipe)
        later = (counts == counts.max()).to_numpy()
        contrast = np.where(later, 1.0, -1.0) / later.sum()
        by, error = self._in_steps(contrast, mean, covariance)
        return [f"one more firing {'adds' if by >= 0 else 'takes off'} {of_a_step(by)}, {error}"]

    def _in_steps(self, contrast: Array, mean: Array, covariance: Array) -> tuple[float, str]:
        """A difference, and within what it lies nine times in ten."""
        error = NINE_IN_TEN * float(np.sqrt(contrast @ covariance @ contrast)) / self.step
        return float(contrast @ mean) / self.step, f"give or take {error:.1f}"

    def _sources_told(self) -> str:
        sizes = {
            name: own.mean / self.step
            for name, own in self.amounts.sources.items()
            if name in TOLD_SOURCES
        }
        return f"what usually differs, in steps: {sources_told(sizes)}"
