"""The pair table: what every ordered pair of colours comes to, at every firing count."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import takewhile
from typing import Any, Literal, TypeVar

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.errors import Misuse
from kit.model.correlated_scores import measure_correlation, score_correlation
from kit.model.measurement_fit import MEASURE_OF, MeasureFit, fit_measurements, told_apart
from kit.model.pair_setting import (
    Fit,
    PairSetting,
    beyond_what_was_fired,
    counts_fired,
    every_pair,
    patches_behind,
    recipes,
    with_jars,
)
from kit.model.pair_states import (
    ScoreState,
    outlook,
    reading_fine_edge,
    state_by_grades,
    state_by_measurements,
)
from kit.model.series_fit import ScaleFit, fit_series
from kit.model.verdict_rule import DOES, ENDINGS, FINE_EDGE, NOT_KNOWN, look, verdicts
from kit.series import PULL_THROUGH, SPREAD, Series, colours_in_stock, join_measurements
from kit.wording import counted, listed

F = TypeVar("F", ScaleFit, MeasureFit)

SCORES = (SPREAD.name, PULL_THROUGH.name)

PAIR = ["base", "overlay", "base_family", "overlay_family"]
ENDING_COLUMNS = [ending.replace(" ", "_") for ending in ENDINGS]


def pairs(
    series: Series | Iterable[Series],
    jars: Literal["fired", "new"] = "fired",
    photographs: bool = True,
) -> pd.DataFrame:
    """Judge every pair of a series' colours, or of several series together.

    What earlier series showed (family effects, steps, how much each source varies) counts for the
    last one when they are given too, each grade once. The recipe and the rule are those that the
    settings of the last series ask for. What photographs measured counts beside the grades; where
    nothing was graded it decides alone, by the rule in millimetres.

    Parameters
    ----------
    series : Series or iterable of Series
        The newest last.
    jars : 'fired' or 'new'
        As for `pair_table`.
    photographs : bool
        False judges by the grades alone.

    Returns
    -------
    DataFrame
        As `pair_table` gives it; as `measured_pair_table` does where nothing was graded.
    """
    each = [series] if isinstance(series, Series) else list(series)
    stock = [colours_in_stock(one.colours, one.settings) for one in each]
    colours = pd.concat(stock).drop_duplicates("colour", ignore_index=True)
    setting = PairSetting.of(each[-1].settings.verdict)
    photographs = photographs and each[-1].settings.verdict.photographs
    if photographs and all(one.grades.empty for one in each):
        pictured = pd.concat([join_measurements(one) for one in each], ignore_index=True)
        if len(pictured):
            measures = {name: fit_measurements(pictured, name) for name in MEASURE_OF.values()}
            return measured_pair_table(measures, colours, setting, jars=jars)
    fits = {score: fit_series(each, score, photographs=photographs) for score in SCORES}
    return pair_table(fits, colours, setting, jars=jars)


def pair_table(
    fits: Mapping[str, ScaleFit],
    colours: pd.DataFrame,
    setting: PairSetting,
    firings: Iterable[int] | None = None,
    jars: Literal["fired", "new"] = "fired",
) -> pd.DataFrame:
    """Judge every ordered pair, fired or not, at every firing count, by the steps of the scales.

    Grades, and photographs where the fits have them, tell what a patch is; the steps decide.

    What is judged is the state of a new patch on a new tile in a new session, as the average grader
    sees it. Its chances are averaged over all that is not known exactly: effects and cuts, what
    each colour and pair does of its own (for a pair never fired, the whole variation of pairs), and
    how much tiles, patches and sessions vary. The two scores are joined by the correlation of
    patches' states (`score_correlation`).

    Parameters
    ----------
    fits : mapping of str to ScaleFit
        Needs 'spread' and 'pull_through'.
    colours : DataFrame
        Columns colour, family. A colour over itself is a control, and is not judged.
    setting : PairSetting
    firings : iterable of int or None
        None for every count that was fired anywhere.
    jars : 'fired' or 'new'
        Where several series are pooled: whether pairs are judged with the jars that were fired
        last, or with new jars of the same colours, which may differ as jars were seen to.

    Returns
    -------
    DataFrame
        One row for each pair and firing count: base, overlay, base_family, overlay_family, firings,
        patches (of the pair seen at that count), fine_edge, soft_edge, broken_through (chances that
        sum to one), verdict, leans_to (the likeliest ending), share_low, share_high (within which
        the share of the pair's patches that come to it lies, with the setting's confidence),
        hit_or_miss (chance that no ending's share reaches the confidence), reading_fine_edge
        (chance that a single grader writes a fine edge), then for each score the average step of
        the pair's patches with its interval (spread, spread_low, spread_high, pull_through, ...),
        and foretold: whether the row lies beyond what was fired. Such rows have no verdict.

    Raises
    ------
    Misuse
        If a fit is missing.

    Warns
    -----
    ExtrapolationWarning
        If rows lie beyond what was fired.
    """
    own = _needed(fits, SCORES)
    table, recipe = _rows(own, colours, setting, firings, jars)
    states = {s: state_by_grades(own[s], recipe, setting.rule) for s in SCORES}
    rho = score_correlation(own["spread"], own["pull_through"])
    table = _judged(table, states, rho, setting.confidence)
    tail = _tail(setting)
    for score, state in states.items():
        for column, normal in (("", 0.0), ("_low", -tail), ("_high", tail)):
            table[f"{score}{column}"] = state.average_step(normal)
    return _foretold(table, recipe, own)


def measured_pair_table(
    fits: Mapping[str, MeasureFit],
    colours: pd.DataFrame,
    setting: PairSetting,
    firings: Iterable[int] | None = None,
    jars: Literal["fired", "new"] = "fired",
) -> pd.DataFrame:
    """Judge every ordered pair by what photographs measured, at every firing count.

    As `pair_table`, with millimetres and shares in place of grades: what is judged is what a
    perfect picture would measure of a new patch.

    Parameters
    ----------
    fits : mapping of str to MeasureFit
        Needs 'spread_mm' and 'pull_through_share'.
    colours, setting, firings, jars
        As for `pair_table`.

    Returns
    -------
    DataFrame
        As `pair_table` gives it, but spread is in mm and pull_through is a share: what is expected
        of the pair (for the share, its middle) and the interval that holds it, within what can be
        told apart. `reading_fine_edge` is that of a single picture.

    Raises
    ------
    Misuse
        If a fit is missing.

    Warns
    -----
    ExtrapolationWarning
        If rows lie beyond what was fired.
    """
    named = _needed(fits, tuple(MEASURE_OF.values()))
    own = {score: named[measure] for score, measure in MEASURE_OF.items()}
    table, recipe = _rows(own, colours, setting, firings, jars)
    limits = {"spread": setting.fine_edge_mm, "pull_through": setting.fine_edge_share}
    states = {s: state_by_measurements(own[s], recipe, limits[s]) for s in SCORES}
    rho = measure_correlation(own["spread"], own["pull_through"])
    table = _judged(table, states, rho, setting.confidence)
    for score, fit in own.items():
        told = fit.results.predict(recipe, setting.confidence)
        for column, end in (("", "mean"), ("_low", "low"), ("_high", "high")):
            table[f"{score}{column}"] = fit.from_scale(told[end].clip(*told_apart(fit.measure)))
    return _foretold(table, recipe, own)


def through(table: pd.DataFrame) -> pd.DataFrame:
    """How many firings each pair keeps a fine edge through, and its headline.

    Parameters
    ----------
    table : DataFrame
        As `pair_table` gives it.

    Returns
    -------
    DataFrame
        One row a pair: base, overlay, base_family, overlay_family, patches (the most seen at one
        firing count), through (it has the verdict of a fine edge at every count up to this; 0 for
        none) and headline, a clause without its subject: 'keeps a fine edge through 2 firings'.
    """
    counts = table.sort_values("firings", kind="stable")
    of_pair: dict[tuple[str, ...], list[Any]] = {
        names: [] for names in table[PAIR].itertuples(index=False, name=None)
    }
    for names, row in zip(
        counts[PAIR].itertuples(index=False, name=None), counts.itertuples(index=False), strict=True
    ):
        of_pair[names].append(row)
    rows = []
    for names, own in of_pair.items():
        held = list(takewhile(lambda row: row.verdict == FINE_EDGE, own))
        kept = int(held[-1].firings) if held else 0
        said = _headline(own, len(held))
        rows.append((*names, int(max(row.patches for row in own)), kept, said))
    return pd.DataFrame(rows, columns=[*PAIR, "patches", "through", "headline"])


def _headline(own: Sequence[Any], held: int) -> str:
    """Of a pair's rows by firing count, the first `held` of which keep a fine edge."""
    if held:
        said = f"{DOES[FINE_EDGE]} through {counted(int(own[held - 1].firings), 'firing')}"
        return f"{said}; after {_row_said(own[held])}" if len(own) > held else said
    return f"after {_row_said(own[0])}"


def _row_said(row: Any) -> str:
    """'3 it is broken through', '1 firing it is not known yet (leans to a soft edge)'."""
    does = DOES[row.verdict]
    if row.verdict == NOT_KNOWN:
        does += f" ({look(NOT_KNOWN, row.leans_to).label})"
    return f"{counted(int(row.firings), 'firing')} it {does}"


def _needed(fits: Mapping[str, F], names: tuple[str, ...]) -> dict[str, F]:
    missing = [name for name in names if name not in fits]
    if missing:
        raise Misuse(f"Pairs are judged by spread and pull-through; {listed(missing)} has no fit.")
    return {name: fits[name] for name in names}


def _rows(
    own: Mapping[str, Fit],
    colours: pd.DataFrame,
    setting: PairSetting,
    firings: Iterable[int] | None,
    jars: str,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The head of the table, and the recipes behind its rows."""
    counts = counts_fired(own) if firings is None else firings
    recipe = recipes(every_pair(colours), setting, counts, own)
    if jars == "fired" and all("series" in fit.results.random_sd for fit in own.values()):
        recipe = with_jars(recipe, own)
    table = recipe[[*PAIR, "firings"]].assign(patches=patches_behind(recipe, own))
    return table, recipe


def _judged(
    table: pd.DataFrame, states: Mapping[str, ScoreState], rho: float, confidence: float
) -> pd.DataFrame:
    both = [states[score] for score in SCORES]
    seen = outlook(both[0], both[1], rho, confidence)
    return table.assign(
        **dict(zip(ENDING_COLUMNS, seen.chances.T, strict=True)),
        verdict=verdicts(seen.chances, seen.hit_or_miss, confidence),
        leans_to=np.asarray(ENDINGS, dtype=object)[seen.leans_to],
        share_low=seen.share_low,
        share_high=seen.share_high,
        hit_or_miss=seen.hit_or_miss,
        reading_fine_edge=reading_fine_edge(both[0], both[1], rho),
    )


def _foretold(table: pd.DataFrame, recipe: pd.DataFrame, own: Mapping[str, Fit]) -> pd.DataFrame:
    beyond = beyond_what_was_fired(recipe, own)
    return table.assign(verdict=np.where(beyond, NOT_KNOWN, table["verdict"]), foretold=beyond)


def _tail(setting: PairSetting) -> float:
    return float(norm.ppf(0.5 + setting.confidence / 2))
