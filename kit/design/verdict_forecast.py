"""What verdicts a plan can be expected to allow, at this size and at others, and when to stop."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.design.plan_costs import costs
from kit.design.surveys import (
    SCORES,
    Ints,
    PairKnowledge,
    Places,
    dealt_evenly,
    expected_verdicts,
    known_of_series,
    learned_scores,
    remaining_shares,
    score_of_rule,
    source_beliefs,
    survey_task,
    verdicts_now,
)
from kit.design.which_pairs import patches_in_places, tile_format
from kit.errors import Misuse
from kit.model import FINE_EDGE, HIT_OR_MISS, NOT_KNOWN, PairSetting
from kit.series import Series, patches_in_full
from kit.wording import counted, listed, percent, plain_name

STUDIOS = 8
"""Studios drawn from the prior to forecast with."""

AS_GOOD = 0.01
"""A plan does as well as another when it misses no more than this share of right verdicts."""

_MOST_PAIRS = 132
"""Pairs that a forecast looks at in each studio."""

_SIZES = (1 / 3, 1 / 2, 2 / 3, 5 / 6, 1, 4 / 3)


@dataclass(frozen=True, eq=False)
class VerdictForecast:
    """What verdicts to expect of a plan, over all pairs and firing counts.

    Parameters
    ----------
    pairs : int
    given : float
        Expected share of pairs that get a verdict.
    right : float
        Expected share of pairs that get the right one.
    """

    pairs: int
    given: float
    right: float

    def sentences(self) -> tuple[str, ...]:
        """What a person should know before firing."""
        of_ten = 10 * self.right / self.given if self.given else 0.0
        given = round(self.given * self.pairs)
        told = f"Of {self.pairs} pairs, about {given} can be expected to get a verdict at each "
        told += "firing count"
        if given:
            told += f", and about {of_ten:.1f} in 10 of those to be right"
        return (f"{told}.",)


def forecast_verdicts(
    planned: Series,
    after: Sequence[Series] = (),
    *,
    studios: int = STUDIOS,
    progress: Callable[[str], None] | None = None,
) -> VerdictForecast:
    """Say before anything is fired how many pairs to expect a verdict on, and how many right.

    Studios are drawn from the prior of the models: how much everything varies, then what families
    and colours do. With graded series before it, what those left unknown takes the prior's place.

    Parameters
    ----------
    planned : Series
    after : sequence of Series
        Graded series that it goes on from.
    studios : int
    progress : callable, optional

    Returns
    -------
    VerdictForecast
    """
    if planned.patches.empty:
        raise Misuse("Nothing is planned yet: plan some tiles with patches first.")
    known = known_of_series(planned, planned.stock, after)
    pair, places = patches_in_places(patches_in_full(planned), known)
    if after:
        expected = expected_verdicts(known, remaining_shares(known, pair, places))
        return VerdictForecast(
            len(known.judged), float(expected.given.mean()), float(expected.right.mean())
        )
    return _forecast(planned, known.counts, pair, places, studios, progress)


def verdict_curve(
    series: Series,
    tiles: Sequence[int] | None = None,
    *,
    studios: int = STUDIOS,
    progress: Callable[[str], None] | None = None,
) -> pd.DataFrame:
    """Expected verdicts of a pair survey against trips through the heat.

    Colours are dealt evenly at each size, without the search, which changes little.

    Parameters
    ----------
    series : Series
        Its stock, settings and format of tiles.
    tiles : sequence of int, optional
        Sizes; from a third to four thirds of the settings' by default.
    studios : int
    progress : callable, optional

    Returns
    -------
    DataFrame
        One row a size: tiles, patches, trips, given, right (shares of all pairs).
    """
    settings = series.settings
    sizes = tiles or sorted({max(1, round(share * settings.tiles)) for share in _SIZES})
    known = known_of_series(series, series.stock, ())
    task = survey_task(known, None)
    coats = float(np.mean(settings.factors["base_coats"]))
    rows = []
    for count in sizes:
        if progress:
            progress(f"Forecasting {counted(count, 'tile')}.")
        places = tile_format(settings, series.stock).places(count)
        pair = dealt_evenly(known, task, places, np.random.default_rng(settings.seed))
        told = _forecast(series, known.counts, pair, places, studios)
        trips = count * (1 + coats + settings.last_firing)
        rows.append((count, len(pair), trips, told.given, told.right))
    return pd.DataFrame(rows, columns=["tiles", "patches", "trips", "given", "right"])


def what_to_expect(
    planned: Series,
    after: Sequence[Series] = (),
    progress: Callable[[str], None] | None = None,
) -> tuple[str, ...]:
    """Say what a plan takes and what it can be expected to settle, and whether less would do.

    Parameters
    ----------
    planned : Series
    after : sequence of Series
        Graded series that it goes on from.
    progress : callable, optional

    Returns
    -------
    tuple of str
        Sentences; about verdicts only where the series asks which pairs work.
    """
    told = [costs(planned).sentence()]
    if planned.settings.ask != "which pairs work":
        return tuple(told)
    told += forecast_verdicts(planned, after, progress=progress).sentences()
    if varied := planned.settings.varied_by_session:
        names = listed([plain_name(name) for name in varied])
        told.append(
            f"That assumes that another level of {names} changes nothing, which is too hopeful: "
            "where it does, a pair is known less surely."
        )
    tiles = len(planned.tiles)
    if after:
        told += next_step(planned, after).sentences()
    elif tiles > 2:
        sized = replace(planned, settings=replace(planned.settings, tiles=tiles))
        curve = verdict_curve(sized, progress=progress)
        told += [curve_in_words(curve), fewer_would_do(curve, tiles)]
    return tuple(sentence for sentence in told if sentence)


def curve_in_words(curve: pd.DataFrame) -> str:
    """Right verdicts to expect at each size, in one sentence."""
    sizes = [
        f"{percent(row.right)} with {counted(int(row.tiles), 'tile')} ({row.trips:.0f} trips)"
        for row in curve.itertuples()
    ]
    return f"Right verdicts to expect, of all pairs: {listed(sizes)}."


def fewer_would_do(curve: pd.DataFrame, tiles: int) -> str:
    """Say when fewer tiles would do as well, or how much more would help; else nothing."""
    here = curve.loc[(curve["tiles"] - tiles).abs().idxmin()]
    enough = curve[(curve["right"] >= here["right"] - AS_GOOD) & (curve["tiles"] < here["tiles"])]
    if enough.empty:
        return ""
    least = enough.loc[enough["tiles"].idxmin()]
    return (
        f"{counted(int(least['tiles']), 'tile')} would do as well: "
        f"{least['trips']:.0f} trips through the heat for {here['trips']:.0f}."
    )


@dataclass(frozen=True, eq=False)
class NextStep:
    """What a further round can be expected to settle.

    Parameters
    ----------
    tiles : int
    pairs : int
    open_pairs, settles : float
        Pairs that are not known yet, and how many of them the round settles: at a firing count,
        on average over all of them.
    by_nature : int
        Pairs that are hit or miss.
    refire : tuple of int
        Tiles that deserve another firing, the most telling first.
    """

    tiles: int
    pairs: int
    open_pairs: float
    settles: float
    by_nature: int
    refire: tuple[int, ...]

    @property
    def stop(self) -> bool:
        """Whether the round would settle less than one pair."""
        return self.settles < 1

    def sentences(self) -> tuple[str, ...]:
        """Say what the tiles would settle, or that it is time to stop."""
        open_pairs = counted(max(1, round(self.open_pairs)), "pair")
        now = f"Before that about {open_pairs} of {self.pairs} had no verdict at each firing count;"
        more = f"{now} {counted(self.tiles, 'tile')} would settle"
        if not self.open_pairs:
            said = ["Every pair has its verdict; stop."]
        elif self.stop:
            said = [f"{more} less than one of them; stop."]
        else:
            said = [f"{more} about {round(self.settles)} of them."]
        if self.by_nature:
            said.append(
                f"{counted(self.by_nature, 'pair')} {'is' if self.by_nature == 1 else 'are'} "
                f"{HIT_OR_MISS}: no number of samples settles that."
            )
        if self.refire:
            tiles = listed([str(tile) for tile in self.refire])
            said.append(
                f"Of the tiles already fired, {tiles} deserve another firing: what keeps a fine "
                "edge on them so far may keep it longer."
            )
        return tuple(said)


def next_step(planned: Series, after: Sequence[Series]) -> NextStep:
    """Say what a planned round will settle, what is settled by nature, what to fire again.

    Parameters
    ----------
    planned : Series
        The round, with its own colours and rule.
    after : sequence of Series
        Graded series that it goes on from.

    Returns
    -------
    NextStep
    """
    known = known_of_series(planned, planned.stock, after)
    pair, places = patches_in_places(patches_in_full(planned), known)
    then = expected_verdicts(known, remaining_shares(known, pair, places))
    verdicts = verdicts_now(known)
    open_pairs = float((verdicts == NOT_KNOWN).mean(axis=1).sum())
    open_then = len(known.judged) - float(then.given.sum())
    return NextStep(
        tiles=len(planned.tiles),
        pairs=len(known.judged),
        open_pairs=open_pairs,
        settles=open_pairs - open_then,
        by_nature=int((verdicts == HIT_OR_MISS).any(axis=1).sum()),
        refire=_worth_refiring(after[-1], known, verdicts),
    )


def _worth_refiring(series: Series, known: PairKnowledge, verdicts: np.ndarray) -> tuple[int, ...]:
    """Tiles whose pairs keep a fine edge at the last count, those with most such pairs first."""
    holds = np.zeros(len(known.pairs), dtype=bool)
    holds[known.judged] = verdicts[:, -1] == FINE_EDGE
    patches = patches_in_full(series)
    sound = patches[np.isinf(patches["lost_from"]) & (patches["base"] != patches["overlay"])]
    sound = sound[sound["overlay"].isin(known.colours) & sound["base"].isin(known.colours)]
    keeps = pd.Series(holds[known.numbers(sound)], index=sound["tile"]).groupby(level=0).sum()
    most = keeps[keeps * 2 > sound.groupby("tile").size()].sort_values(ascending=False)
    return tuple(int(tile) for tile in most.index[:3])


def _forecast(
    series: Series,
    counts: Sequence[int],
    pair: Ints,
    places: Places,
    studios: int,
    progress: Callable[[str], None] | None = None,
) -> VerdictForecast:
    settings, learned = series.settings, learned_scores([series])
    colours = series.stock.reset_index(drop=True)
    setting = PairSetting.of(settings.verdict)
    graders = max(1, len(settings.graders))
    rng = np.random.default_rng(settings.seed)
    found = []
    for number in range(studios):
        scores = []
        for name in SCORES:
            own = learned.get(name)
            beliefs = source_beliefs(own)
            sds = rng.gamma(
                [b.shape for b in beliefs.values()], [1 / b.rate for b in beliefs.values()]
            )
            variances = dict(zip(beliefs, sds**2, strict=True))
            graded = len(counts) * graders
            scores.append(score_of_rule(colours, setting, counts, graded, variances, own))
        names = tuple(colours["colour"].astype("str"))
        known = PairKnowledge(names, tuple(counts), (scores[0], scores[1]), setting.confidence)
        # Of many pairs some stand for all, so that each is judged by draws enough.
        some = rng.permutation(len(known.judged))[:_MOST_PAIRS]
        left = remaining_shares(known, pair, places)
        shares = (left[0][some], left[1][some])
        expected = expected_verdicts(known, shares, known.judged[some], number)
        found.append((expected.given.mean(), expected.right.mean()))
        if progress:
            progress(f"Verdicts forecast for {number + 1} of {studios} studios.")
    given, right = np.mean(found, axis=0)
    c = len(colours)
    return VerdictForecast(c * (c - 1), float(given), float(right))
