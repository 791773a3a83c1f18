"""Power by trial: fire a plan in many invented studios and see how often it finds what is there."""

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd
from joblib import Parallel, delayed

from kit.design.pair_knowledge import fitted_scores
from kit.errors import Misuse, StatisticalWarning
from kit.model import FINE_EDGE, NOT_KNOWN, PairSetting, common_practice_check, pair_table
from kit.series import Series

Studio = Callable[[Series, int], Series]
"""Fires a planned series in an invented studio that a seed draws, and grades it."""


@dataclass(frozen=True, eq=False)
class Power:
    """What a plan found in invented studios.

    Parameters
    ----------
    trials : DataFrame
        One row per studio: seed; for each scale with a saying of common practice, whether the fit
        agrees with it, contradicts it or cannot tell; and the percentages of pairs called suited
        and not known yet.
    """

    trials: pd.DataFrame

    def sentences(self) -> tuple[str, ...]:
        """Say how often what is there was found."""
        count = len(self.trials)
        said = [f"The plan was fired in {count} invented studios and fitted each time."]
        for scale in (c for c in self.trials if c not in ("seed", "suited", "not_known")):
            found = (self.trials[scale] == "agrees").sum()
            said.append(
                f"That one family over the other differs in {scale.replace('_', '-')} from like "
                f"over like was noticed {found} times out of {count}."
            )
        open_pairs, suited = self.trials["not_known"].mean(), self.trials["suited"].mean()
        said.append(
            f"On average {suited:.0f} of 100 pairs were called suited to fine stencils, and "
            f"{open_pairs:.0f} of 100 stayed 'not known yet'."
        )
        return tuple(said)


def power(
    series: Series,
    studio: Studio,
    *,
    studios: int = 20,
    seed: int = 1,
    workers: int = 2,
    progress: Callable[[str], None] | None = None,
) -> Power:
    """Fire a plan in invented studios and fit each with the real model.

    Parameters
    ----------
    series : Series
        Planned: with tiles and patches.
    studio : callable
        Takes the series and a seed, and returns it fired and graded.
    studios : int
    seed : int
        Studios are drawn with this seed and those that follow it.
    workers : int
        Processes to use.
    progress : callable, optional

    Returns
    -------
    Power

    Raises
    ------
    Misuse
        When nothing is planned.
    """
    if series.patches.empty:
        raise Misuse("Nothing is planned yet: plan some tiles with patches first.")
    jobs = (delayed(_trial)(series, studio, s) for s in range(seed, seed + studios))
    trials = []
    for trial in Parallel(n_jobs=workers, return_as="generator")(jobs):
        trials.append(trial)
        if progress:
            progress(f"{len(trials)} of {studios} studios fired and fitted.")
    return Power(pd.DataFrame(trials))


def _trial(series: Series, studio: Studio, seed: int) -> dict[str, object]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", StatisticalWarning)
        fits = fitted_scores(studio(series, seed))
        found = common_practice_check(fits).set_index("scale")["finding"]
        table = pair_table(fits, series.colours, PairSetting.of(series.settings.verdict))
    two = table.loc[table["base"] != table["overlay"], "verdict"]
    shares = {
        "suited": 100 * (two == FINE_EDGE).mean(),
        "not_known": 100 * (two == NOT_KNOWN).mean(),
    }
    return {"seed": seed, **found.to_dict(), **shares}
