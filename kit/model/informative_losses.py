"""Do the lost patches hide bad ones? A test, family on family, and the worst they could mean."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.mixed import Array
from kit.model.goodness_of_fit import FALSE_ALARM
from kit.model.pair_setting import PairSetting
from kit.model.pair_verdicts import SCORES, pair_table
from kit.model.series_fit import ScaleFit, fit_series
from kit.model.verdict_rule import NOT_KNOWN
from kit.series import (
    Series,
    colours_in_stock,
    family_pair,
    last_firings,
    observations,
    patches_in_full,
)
from kit.wording import counted, percent

SHUFFLES = 999


@dataclass(frozen=True, eq=False)
class LossBias:
    """How losses fall on the family pairs, and what they could hide.

    Attributes
    ----------
    table : DataFrame
        One row a family pair: family_pair, lost, patches.
    chance : float
        Of losses as uneven as these, or more so, if they fell alike on every family pair; 1 where
        nothing was lost.
    changed : DataFrame
        Rows of the pair table whose verdict would differ if every lost patch had been the worst,
        with columns base, overlay, firings, verdict and worst_verdict. No rows where nothing was
        lost.
    pairs : int
        How many pairs are judged.
    """

    table: pd.DataFrame
    chance: float
    changed: pd.DataFrame
    pairs: int

    @property
    def uneven(self) -> bool:
        """Whether losses fall on some family pairs more than chance would have it."""
        return self.chance < FALSE_ALARM["losses"]

    @property
    def sentences(self) -> tuple[str, ...]:
        """What losses may hide, and what to do about it; nothing where nothing was lost."""
        lost = int(self.table["lost"].sum())
        if not lost:
            return ()
        share = self.table["lost"] / self.table["patches"]
        most = self.table.loc[share.idxmax()]
        if self.uneven:
            first = (
                f"Patches of {most['family_pair']} were lost most ({most['lost']} of "
                f"{most['patches']}): losses this uneven or more would come by chance in "
                f"{percent(self.chance)} of cases. If they were lost because they went badly, "
                "what is left looks better than it is: fire some of them again."
            )
        else:
            first = (
                "That losses fall more on one family over another cannot be told from "
                f"{counted(lost, 'lost patch', 'lost patches')}."
            )
        return (first, self._worst())

    def _worst(self) -> str:
        of_pair = self.changed.drop_duplicates(["base", "overlay"])
        if of_pair.empty:
            return "Had every lost patch been the worst, every verdict would be the same."
        turned = self.changed[self.changed["worst_verdict"] != NOT_KNOWN]
        other = turned.drop_duplicates(["base", "overlay"])
        return (
            f"Had every lost patch been the worst, verdicts on {len(of_pair)} of {self.pairs} "
            f"pairs would differ; on {len(other)} the verdict would be another, and not only less "
            "sure."
        )


def loss_bias(
    series: Series, seed: int = 0, by_grades: Mapping[str, ScaleFit] | None = None
) -> LossBias:
    """Test whether losses fall evenly on family pairs, and judge with every lost patch the worst.

    Parameters
    ----------
    series : Series
    seed : int
        Of the shuffles.
    by_grades : mapping of str to ScaleFit, optional
        Fits of this series' grades alone, by scale, where there are some; else they are worked out.

    Raises
    ------
    Misuse
        If the series cannot be fitted.
    """
    table, chance = losses_by_family(series, seed)
    changed = pd.DataFrame(columns=["base", "overlay", "firings", "verdict", "worst_verdict"])
    pairs = 0
    if table["lost"].any():
        patches = patches_in_full(series)
        lost = np.isfinite(patches["lost_from"].to_numpy(float))
        fits = by_grades or {s: fit_series(series, s, photographs=False) for s in SCORES}
        changed, pairs = _if_worst(series, patches[lost], {s: fits[s] for s in SCORES})
    return LossBias(table, chance, changed, pairs)


def losses_by_family(series: Series, seed: int = 0) -> tuple[pd.DataFrame, float]:
    """Count losses by family pair, and test whether they fall evenly.

    A lost tile takes all its patches, so what is shuffled for the test is which tile had which
    losses, and which of its patches they were: Pitman (1937), Significance tests which may be
    applied to samples from any populations, Supplement to the Journal of the Royal Statistical
    Society 4.

    Returns
    -------
    table : DataFrame
        As in `LossBias`.
    chance : float
    """
    patches = patches_in_full(series)
    lost = np.isfinite(patches["lost_from"].to_numpy(float))
    names = np.array(
        [
            family_pair(base, overlay)
            for base, overlay in zip(patches["base_family"], patches["overlay_family"], strict=True)
        ],
        dtype=object,
    )
    codes, kinds = pd.factorize(names, sort=True)
    table = pd.DataFrame(
        {
            "family_pair": kinds,
            "lost": np.bincount(codes, weights=lost).astype(int),
            "patches": np.bincount(codes),
        }
    )
    chance = _shuffled(codes, lost, patches["tile"].to_numpy(), seed) if lost.any() else 1.0
    return table, chance


def _shuffled(codes: Array, lost: Array, tile: Array, seed: int) -> float:
    """Chance of a chi-squared as large, over shuffles of tiles and of patches within them."""
    random = np.random.default_rng(seed)
    places = [np.flatnonzero(tile == name) for name in pd.unique(tile)]
    expected = np.bincount(codes) * lost.mean()

    def uneven(fallen: Array) -> float:
        return float(((np.bincount(codes, weights=fallen) - expected) ** 2 / expected).sum())

    seen = uneven(lost)
    shares = [float(lost[place].mean()) for place in places]
    as_uneven = 0
    for _ in range(SHUFFLES):
        fallen = np.zeros(len(lost))
        for place, share in zip(places, random.permutation(shares), strict=True):
            count = round(share * len(place))
            fallen[random.permutation(place)[:count]] = 1
        as_uneven += uneven(fallen) >= seen - 1e-9
    return (as_uneven + 1) / (SHUFFLES + 1)


def _if_worst(
    series: Series, lost: pd.DataFrame, fits: Mapping[str, ScaleFit]
) -> tuple[pd.DataFrame, int]:
    """Verdicts that would differ, and how many pairs are judged."""
    setting = PairSetting.of(series.settings.verdict)
    colours = colours_in_stock(series.colours, series.settings)
    worst = pd.concat([observations(series), _worst_rows(series, lost)], ignore_index=True)
    harsh = {
        score: fits[score].refitted(worst, series.settings.scale(score).grades) for score in SCORES
    }
    keys = ["base", "overlay", "firings"]
    both = pair_table(fits, colours, setting)[[*keys, "verdict"]].merge(
        pair_table(harsh, colours, setting)[[*keys, "verdict"]].rename(
            columns={"verdict": "worst_verdict"}
        ),
        on=keys,
    )
    differs = both[both["verdict"] != both["worst_verdict"]].reset_index(drop=True)
    return differs, len(both.drop_duplicates(keys[:2]))


def _worst_rows(series: Series, lost: pd.DataFrame) -> pd.DataFrame:
    """Every lost patch with the worst grades by every grader, from its loss to its last firing."""
    if series.grades.empty:
        raise Misuse("Nothing was graded yet.")
    session = series.tiles.set_index("tile")["session"]
    planned = last_firings(series)
    graders = series.grades["grader"].unique()
    rows = []
    for patch in lost.to_dict("records"):
        first = max(int(patch["lost_from"]), int(patch["before_firing"]))
        for firing in range(first, int(planned[patch["tile"]]) + 1):
            for grader in graders:
                rows.append(
                    {
                        **patch,
                        "series": series.name,
                        "firing": firing,
                        "firings": firing - int(patch["before_firing"]) + 1,
                        "session": session[patch["tile"]],
                        "grader": grader,
                        **{s: series.settings.scale(s).grades[-1] for s in SCORES},
                    }
                )
    return pd.DataFrame(rows)
