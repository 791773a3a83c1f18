"""All series read as one, and what that does to the verdicts of each."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from kit.errors import DataProblems, Misuse
from kit.model import NOT_KNOWN
from kit.report.analysis import Fits, Judged, fit_scales, judge_pairs
from kit.report.findings.pair_findings import PairFindings
from kit.report.publish import checked_ready
from kit.series import (
    PULL_THROUGH,
    SPREAD,
    Series,
    Verdict,
    observations,
    over_another,
    read_series,
)
from kit.wording import counted, listed, upper_first

INVENTED = "demo"
"""The series that the kit makes up; it says nothing of anybody's own jars."""

_LAST_DAY = "9999"
USUAL = Verdict()
"""The rule, and the sifter, coats and firings, that series are judged by together."""


@dataclass(frozen=True, eq=False)
class Pooled:
    """Several series with what they say as one.

    Parameters
    ----------
    series : tuple of Series
        By date, undated last.
    colours : DataFrame
        Columns colour, family; every colour of any series once.
    fits : Fits
        Of spread and pull-through over all series.
    judged, of_new_jars : Judged
        With the jars that were fired last, and with jars of the same names that none was fired of.
    """

    series: tuple[Series, ...]
    colours: pd.DataFrame
    fits: Fits
    judged: Judged
    of_new_jars: Judged

    @property
    def pairs(self) -> pd.DataFrame:
        """Every pair with its verdict; no rows when none can be judged."""
        return self.judged.table


def read_every_series(
    data: Path | str, only: Sequence[str] = ()
) -> tuple[list[Series], dict[str, str]]:
    """Read all series of a folder, or those of it that are named.

    Returns
    -------
    several : list of Series
    unread : dict of str to str
        Why each of the others is left out, by name.
    """
    several, unread = [], {}
    folders = series_folders(data, only)
    invented = (Path(data) / INVENTED / "series.toml").exists()
    if invented and not only and folders[0].name != INVENTED:
        unread[INVENTED] = (
            "The kit made it up, so it is kept apart from your own series. Its own report: "
            f"kit report {INVENTED}"
        )
    for folder in folders:
        try:
            several.append(checked_ready(read_series(folder)))
        except (Misuse, DataProblems) as problem:
            unread[folder.name] = str(problem)
    return several, unread


def series_folders(data: Path | str, only: Sequence[str] = ()) -> list[Path]:
    """List the folders below `data` that hold a series; the invented one only if it is alone.

    Those that are named are listed instead, if any are.

    Raises
    ------
    Misuse
        When there is none, or none of a name.
    """
    below = Path(data)
    found = sorted(p.parent for p in below.glob("*/series.toml"))
    if not found:
        raise Misuse(f"There is no series in {below}. `kit new NAME` starts one.")
    if only:
        unknown = [name for name in only if name not in {folder.name for folder in found}]
        if unknown:
            have = listed([folder.name for folder in found])
            raise Misuse(f"There is no series {listed(unknown)} in {below}; there is {have}.")
        return [folder for folder in found if folder.name in only]
    own = [folder for folder in found if folder.name != INVENTED]
    return own or found


def analyse_together(several: Sequence[Series], verdict: Verdict = USUAL) -> Pooled:
    """Fit all series as one and judge every pair of all their colours.

    Parameters
    ----------
    several : sequence of Series
    verdict : Verdict
        The rule, and the sifter, coats and firings that the pooled chart is for.

    Raises
    ------
    Misuse
        When there is no series, or a colour is leaded in one and unleaded in another.
    """
    if not several:
        raise Misuse("No series can be told of yet. `kit check NAME` says what is wrong with one.")
    ordered = tuple(sorted(several, key=_date_then_name))
    colours = _colours(ordered)
    fits = fit_scales(ordered, (SPREAD, PULL_THROUGH))
    judged = judge_pairs(fits, colours, verdict)
    return Pooled(ordered, colours, fits, judged, judge_pairs(fits, colours, verdict, "new"))


def what_each_added(pooled: Pooled) -> pd.DataFrame:
    """Say what each series brought that was not there before it; only what is graded counts.

    Returns
    -------
    DataFrame
        A row per series by date: series, dated, patches (graded and not lost), colours (new ones),
        pairs (seen for the first time), pairs_so_far, settled (of the pairs it was first to fire,
        those that have a verdict now).
    """
    known_colours: set[str] = set()
    known_pairs: set[tuple[str, str]] = set()
    settled = {(p.first.base, p.first.overlay) for p in PairFindings(pooled.pairs).known}
    rows = []
    for series in pooled.series:
        patches = graded_patches(series)
        colours = set(patches["base"]) | set(patches["overlay"])
        apart = over_another(patches)
        pairs = set(zip(apart["base"], apart["overlay"], strict=True))
        new = pairs - known_pairs
        rows.append(
            {
                "series": series.name,
                "dated": series.settings.started,
                "patches": len(patches),
                "colours": len(colours - known_colours),
                "pairs": len(new),
                "pairs_so_far": len(known_pairs | pairs),
                "settled": len(new & settled),
            }
        )
        known_colours |= colours
        known_pairs |= pairs
    return pd.DataFrame(rows)


def graded_patches(series: Series) -> pd.DataFrame:
    """Patches that spread or pull-through was graded on, lost ones left out: a row each."""
    seen = observations(series)
    graded = seen[[SPREAD.name, PULL_THROUGH.name]].notna().any(axis=1)
    return seen[graded].drop_duplicates("patch")


def _date_then_name(series: Series) -> tuple[str, str]:
    started = series.settings.started
    return (started.isoformat() if started else _LAST_DAY, series.name)


def _colours(several: Sequence[Series]) -> pd.DataFrame:
    each = pd.concat([s.colours[["colour", "family"]].assign(series=s.name) for s in several])
    unlike = each.groupby("colour")["family"].nunique()
    if (unlike > 1).any():
        name = str(unlike.index[unlike > 1][0])
        where = each[each["colour"] == name].drop_duplicates("family")
        told = " and ".join(
            f"{f} in {s}" for f, s in zip(where["family"], where["series"], strict=True)
        )
        raise Misuse(
            f"The colour '{name}' is {told}. One of the two is misspelt, or they are two colours: "
            "give them two names."
        )
    used = each.drop_duplicates("colour").sort_values(["family", "colour"], ignore_index=True)
    return used[["colour", "family"]]


@dataclass(frozen=True)
class Change:
    """How the verdicts of one series read once it is pooled.

    Parameters
    ----------
    series : str
    known : int
        Pairs that have a verdict by this series alone.
    lost : int
        Of these, pairs that are not known when pooled.
    turned : int
        Of these, pairs that have another verdict when pooled.
    gained : int
        Pairs that have a verdict only when pooled.
    """

    series: str
    known: int
    lost: int
    turned: int
    gained: int

    @property
    def much(self) -> bool:
        """Whether more than one verdict in ten is lost or turned."""
        return 10 * (self.lost + self.turned) > self.known

    def sentence(self) -> str:
        """Say it in words."""
        if not self.known:
            return f"alone it gives no verdict; together {self.gained} of its pairs have one."
        return (
            f"alone it gives {counted(self.known, 'verdict')}. Together {self.turned} of them turn "
            f"into another verdict and {self.lost} into '{NOT_KNOWN}'; "
            f"{counted(self.gained, 'pair more gets', 'pairs more get')} a verdict."
        )


def changes(pooled: Pooled, verdict: Verdict = USUAL) -> list[Change]:
    """Compare every series judged alone with all of them together, by the same rule."""
    if pooled.pairs.empty or len(pooled.series) < 2:
        return []
    return [
        _change(series, pooled, verdict)
        for series in pooled.series
        if not graded_patches(series).empty
    ]


def _change(series: Series, pooled: Pooled, verdict: Verdict) -> Change:
    fits = fit_scales([series], (SPREAD, PULL_THROUGH))
    alone = _verdicts(judge_pairs(fits, series.stock, verdict).table)
    own = set(series.stock["colour"])
    together = {
        pair: verdict
        for pair, verdict in _verdicts(pooled.pairs).items()
        if pair[0] in own and pair[1] in own
    }
    known = {pair for pair, verdict in alone.items() if verdict != NOT_KNOWN}
    still = {pair for pair, verdict in together.items() if verdict != NOT_KNOWN}
    return Change(
        series.name,
        len(known),
        len(known - still),
        sum(alone[pair] != together[pair] for pair in known & still),
        len(still - known),
    )


def _verdicts(table: pd.DataFrame) -> dict[tuple[str, str], str]:
    """The verdict that stands for each pair."""
    return {(p.first.base, p.first.overlay): p.shown.verdict for p in PairFindings(table)}


def dangers(pooled: Pooled) -> list[tuple[str, str]]:
    """Name the series whose own level cannot be told from their colours or from their grader.

    The model lets a whole series lie higher or lower than the others (its copper, its heat, its
    eye), by as much for every pair. That amount is carried over to pairs the series never fired.

    Returns
    -------
    list of (str, str)
        Series, and what is the matter with it.
    """
    if len(pooled.series) < 2:
        return []
    found = []
    for series in pooled.series:
        seen = observations(series)
        reasons = [*_one_family(seen), *_one_grade(seen)]
        if reasons:
            found.append((series.name, f"{upper_first('; '.join(reasons))}."))
    return found


def _one_family(seen: pd.DataFrame) -> list[str]:
    return [
        f"it has {seen[f'{role}_family'].iloc[0]} {role}s only, so what looks like the way of this "
        "series may be the way of that family"
        for role in ("base", "overlay")
        if len(set(seen[f"{role}_family"])) == 1
    ]


def _one_grade(seen: pd.DataFrame) -> list[str]:
    told = []
    for scale in (SPREAD, PULL_THROUGH):
        given = seen[scale.name].dropna().unique()
        if len(given) == 1:
            told.append(
                f"every {scale.title.lower()} grade in it is {given[0]}, so how far it lies from "
                "the others has no bound and pulls every pair that way"
            )
    return told
