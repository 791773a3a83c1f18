"""What a plan will tell: how sure effects and pairs will be, before anything is fired."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.design.plan_model import (
    SIDE_FACTORS,
    TYPICAL,
    Forecast,
    StandardDeviations,
    forecast,
    in_sessions,
    planned_patches,
    planned_rows,
)
from kit.design.surveys import learned_scores
from kit.model import LearnedPrior
from kit.series import FAMILIES, FAMILY_PAIRS, HEATS, SESSION_FACTORS, Series, family_pair
from kit.wording import FACTOR_NAMES, upper_first

CONFIDENCE = 0.9

TREND = "what one more firing does"
_COUNTS = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}

FIRED = "an average pair on the plan"
UNFIRED = "an average pair not on the plan"


@dataclass(frozen=True, eq=False)
class Precision:
    """How sure a plan makes what is asked of it, in grades.

    Parameters
    ----------
    table : DataFrame
        One row per question, with columns about ('family', 'trend', 'session' or 'pair'), question,
        within (it will be known within so many grades either way, 9 times in 10), noticed (the
        smallest difference that would be noticed 9 times in 10) and one_grade (chance of noticing a
        difference of one grade). The last two are missing for pairs.
    tiles, patches, firings, graders : int
        Size of the plan.
    pairs_fired, pairs : int
        Ordered pairs of two colours on the plan, and in the stock.
    """

    table: pd.DataFrame
    tiles: int
    patches: int
    firings: int
    graders: int
    pairs_fired: int
    pairs: int

    def within(self, question: str) -> float:
        """Half-width for one question, grades; missing when the plan does not meet it."""
        found = self.table.loc[self.table["question"] == question, "within"]
        return float(found.iloc[0]) if len(found) else float("nan")

    def sentences(self) -> tuple[str, ...]:
        """What a person should know before firing."""
        size = f"With {self.tiles} tiles and {self.patches} patches"
        said = [f"{size}, {self.pairs_fired} of {self.pairs} pairs are fired."]
        for row in self.table.itertuples():
            if row.about == "pair":
                said.append(
                    f"{upper_first(row.question)} would be expected right to within "
                    f"±{_tenth(row.within)} grades, 9 times in 10."
                )
            else:
                said.append(
                    f"{upper_first(row.question)} would be known within ±{_tenth(row.within)} "
                    f"grades: you would notice a one-grade difference {_times(row.one_grade)}. The "
                    f"smallest you would notice 9 times in 10 is {_tenth(row.noticed)} grades."
                )
        return tuple(said)

    def describe(self) -> str:
        """The sentences, one a line."""
        return "\n".join(self.sentences())


def precision(planned: Series, after: Sequence[Series] = ()) -> Precision:
    """Work out how sure a planned series makes its answers, with the series before it.

    Firings, graders and colours are those of the series, so that whoever asks of one plan is told
    the same.

    Parameters
    ----------
    planned : Series
    after : sequence of Series
        Series that it goes on from: their sound patches count.

    Returns
    -------
    Precision

    Raises
    ------
    Misuse
        When nothing is planned.
    """
    graders = max(1, len(planned.settings.graders))
    patches = _every_round(planned, after) if after else planned
    learned = learned_scores((*after, planned))
    return precision_of(
        patches,
        planned.stock,
        firings=planned.settings.last_firing,
        graders=graders,
        sds=StandardDeviations.learned(learned) if learned else TYPICAL,
        learned=learned,
    )


def _every_round(planned: Series, earlier: Sequence[Series]) -> pd.DataFrame:
    """The patches of a plan and of the series before it, as one plan to judge."""
    columns = ["base", "overlay", "before_firing", *SIDE_FACTORS, *SESSION_FACTORS]
    rounds = []
    for series in (*earlier, planned):
        patches = in_sessions(series)
        sound = patches[patches["lost_from"] > patches["before_firing"]]
        tile = f"{series.name} " + sound["tile"].astype(str)
        session = f"{series.name} " + sound["session"].astype(str)
        rounds.append(sound[columns].assign(tile=tile, session=session))
    return pd.concat(rounds, ignore_index=True)


def precision_of(
    plan: Series | pd.DataFrame,
    colours: pd.DataFrame,
    *,
    firings: int = 3,
    graders: int = 1,
    sds: StandardDeviations = TYPICAL,
    learned: Mapping[str, LearnedPrior] | None = None,
) -> Precision:
    """Work out how sure family effects, the firing trend and pairs will be.

    Parameters
    ----------
    plan : Series or DataFrame
        A frame needs tile, base and overlay, as `survey` gives them.
    colours : DataFrame
        Columns colour and family.
    firings : int
        How often each tile will be fired, and graded after each.
    graders : int
        How many people grade each patch after each firing.
    sds : StandardDeviations
        How much each source of variation is thought to differ.
    learned : mapping of str to LearnedPrior, optional
        By score, what earlier series showed of families and firings.

    Returns
    -------
    Precision

    Raises
    ------
    Misuse
        When nothing is planned, or the plan uses colours that are not listed.

    Notes
    -----
    A difference is noticed when the interval that would hold it 9 times in 10 leaves out zero. One
    of d grades, with standard error s, is noticed with chance Phi(d / s - 1.645); so 9 times in 10
    when d = (1.645 + 1.282) s.
    """
    rows = planned_rows(plan, colours, firings)
    told = forecast(rows, sds, graders, learned)
    table = pd.DataFrame(
        [*_families(told), *_trend(told), *_by_session(told), *_pairs(told, colours, firings)]
    )
    return Precision(
        table=table,
        tiles=rows["tile"].nunique(),
        patches=int((planned_patches(plan)["before_firing"] <= firings).sum()),
        firings=firings,
        graders=graders,
        pairs_fired=len(_different(rows[["base", "overlay"]].drop_duplicates())),
        pairs=len(colours) * (len(colours) - 1),
    )


def _families(told: Forecast) -> list[dict[str, object]]:
    """Each unlike family pair against like over like, as far as they are on the plan."""
    on_plan = [name in set(told.rows["family_pair"]) for name in FAMILY_PAIRS]
    like = np.array([name in {family_pair(f, f) for f in FAMILIES} for name in FAMILY_PAIRS])
    alike = like & on_plan
    found = []
    for i, name in enumerate(FAMILY_PAIRS):
        if like[i] or not on_plan[i] or not alike.any():
            continue
        contrast = np.eye(len(FAMILY_PAIRS))[i] - alike / alike.sum()
        found.append(_difference("family", f"{name} against like over like", told, contrast))
    return found


def _trend(told: Forecast) -> list[dict[str, object]]:
    if told.rows["firings"].nunique() < 2:
        return []
    share = told.rows["family_pair"].value_counts(normalize=True).reindex(FAMILY_PAIRS)
    slopes = np.concatenate([np.zeros(len(FAMILY_PAIRS)), share.fillna(0).to_numpy()])
    return [_difference("trend", TREND, told, slopes)]


def _by_session(told: Forecast) -> list[dict[str, object]]:
    """What changes from session to session, from its lowest level to its highest."""
    found = []
    for factor in SESSION_FACTORS:
        if factor not in told.rows:
            continue
        levels = told.rows.dropna(subset=factor).groupby(factor)["session"].nunique()
        each = " or ".join(_COUNTS.get(n, str(n)) for n in sorted(set(levels)))
        low, high = levels.index[0], levels.index[-1]
        ends = (
            (HEATS[int(low)], HEATS[int(high)]) if factor == "heat" else (f"{low:g}", f"{high:g}")
        )
        step = FACTOR_NAMES[factor].change.format(start=ends[0], to=ends[1])
        question = f"with {each} sessions a level, what {step} does"
        found.append(_difference("session", question, told, told.from_to(factor)))
    return found


def _difference(
    about: str, question: str, told: Forecast, contrast: np.ndarray
) -> dict[str, object]:
    s = float(np.sqrt(told.effects(contrast[None])[0]))
    reach = norm.ppf(0.5 + CONFIDENCE / 2)
    return {
        "about": about,
        "question": question,
        "within": reach * s,
        "noticed": (reach + norm.ppf(CONFIDENCE)) * s,
        "one_grade": float(norm.cdf(1 / s - reach)),
    }


def _pairs(told: Forecast, colours: pd.DataFrame, firings: int) -> list[dict[str, object]]:
    own = colours[["colour", "family"]]
    every = own.set_axis(["base", "base_family"], axis=1).merge(
        own.set_axis(["overlay", "overlay_family"], axis=1), how="cross"
    )
    couples = zip(every["base_family"], every["overlay_family"], strict=True)
    every = _different(every.assign(family_pair=[family_pair(b, o) for b, o in couples]))
    sd = np.sqrt(told.pairs(every, firings))
    on_plan = set(zip(told.rows["base"], told.rows["overlay"], strict=True))
    fired = np.array([p in on_plan for p in zip(every["base"], every["overlay"], strict=True)])
    reach = norm.ppf(0.5 + CONFIDENCE / 2)
    return [
        {"about": "pair", "question": name, "within": reach * float(np.mean(sd[which]))}
        for name, which in ((FIRED, fired), (UNFIRED, ~fired))
        if which.any()
    ]


def _different(pairs: pd.DataFrame) -> pd.DataFrame:
    return pairs[pairs["base"] != pairs["overlay"]].reset_index(drop=True)


def _tenth(grades: float) -> str:
    """Round up, so that nothing is said to be surer than it is."""
    return f"{np.ceil(10 * grades - 1e-9) / 10:.1f}"


def _times(chance: float) -> str:
    tenths = int(np.floor(10 * chance + 1e-9))
    if tenths >= 10 or chance > 0.99:
        return "practically always"
    return f"{tenths} times in 10" if tenths else "hardly ever"
