"""Minutes and heat dealt to sessions: all tiles of a session meet the same."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.errors import Misuse
from kit.series import Series, Settings, heat_of_session, patches_in_full
from kit.wording import counted, listed, plain_name

SESSIONS_A_LEVEL = 2
"""Fewest sessions of each level: with one, a level could not be told from its day."""

_TRIES = 500


def check_session_levels(
    settings: Settings, kept: pd.DataFrame | None = None, sessions: int | None = None
) -> None:
    """Refuse a plan with too few sessions for what changes between them.

    Parameters
    ----------
    settings : Settings
        With as many tiles as are to be planned.
    kept : pandas.DataFrame, optional
        Sessions that there are already, with their levels.
    sessions : int, optional
        How many there are to deal levels to; by default as many as the tiles need.

    Raises
    ------
    Misuse
        When a level would have fewer than `SESSIONS_A_LEVEL`.
    """
    tiles, held = settings.tiles, settings.tiles_per_session
    sessions = math.ceil(tiles / held) if sessions is None else sessions
    for name, levels in settings.varied_by_session.items():
        used = _used(kept, name)
        needed = sum(max(0, SESSIONS_A_LEVEL - used[level]) for level in levels)
        if needed <= sessions:
            continue
        most = max((n for n in range(1, tiles + 1) if math.ceil(tiles / n) >= needed), default=0)
        fix = (
            f"set tiles_per_session to {'1' if most == 1 else f'{most} or fewer'}"
            if most
            else f"plan {needed} tiles or more, one a session"
        )
        raise Misuse(
            f"To compare {len(levels)} levels of {plain_name(name)}, each needs "
            f"{SESSIONS_A_LEVEL} sessions: with one, a level cannot be told from what else was "
            f"different that day. {counted(tiles, 'tile')} at {held} a session make "
            f"{counted(sessions, 'session')}, and {counted(needed, 'session')} are needed. In "
            f"series.toml {fix}, or take {name} out of [factors]."
        )


def deal_session_levels(series: Series) -> Series:
    """Give every session that has none yet its level of each factor that changes by session.

    Levels take turns over the sessions, in random order within each turn, so that none is fired
    only early or late. Of many such deals the one is taken that spreads the levels of one factor
    most evenly over those of the other, and then over families and bases.

    Parameters
    ----------
    series : Series
        Planned, with the sessions whose levels are settled. Its seed decides.

    Raises
    ------
    Misuse
        When a level would have fewer than `SESSIONS_A_LEVEL` sessions.
    """
    varied = series.settings.varied_by_session
    numbers = sorted(set(series.tiles["session"]))
    settled = series.sessions[series.sessions["session"].isin(numbers)]
    begun = series.tiles.loc[series.tiles["tile"].isin(series.firings["tile"]), "session"]
    new = [n for n in numbers if n not in {*settled["session"], *begun}]
    if not varied or not new:
        return series
    check_session_levels(series.settings, settled, len(new))
    rng = np.random.default_rng(series.settings.seed)
    known = settled.set_index("session").reindex(numbers).astype(object)
    met = _met(series, numbers)
    deals = [_deal(varied, settled, new, rng) for _ in range(_TRIES)]
    best = min(deals, key=lambda deal: _unevenness(varied, known, new, deal, met))
    dealt = pd.DataFrame({"session": new, "minutes": math.nan, "heat": ""} | best)
    sessions = pd.concat([settled, dealt.astype({"heat": "str", "minutes": float})])
    return replace(series, sessions=sessions.reset_index(drop=True))


def known_between_sessions(series: Series) -> tuple[str, ...]:
    """Say what each session is fired with where they differ, and how surely that will be known."""
    if not series.settings.varied_by_session or series.sessions.empty:
        return ()
    each = [f"session {n} {heat_of_session(series, n)}" for n in sorted(series.sessions["session"])]
    said = [
        f"Every firing of a session is alike, that of base coats too: {listed(each)}. What "
        "the session does by itself goes with it, so it is known less surely than what changes on "
        "a tile, however many patches a session holds. Verdicts are for what most of the patches "
        "meet."
    ]
    for name in series.settings.varied_by_session:
        used = _used(series.sessions, name)
        counts = [used[level] for level in series.settings.varied_by_session[name]]
        a_level = listed([str(n) for n in sorted(set(counts))], "or")
        said.append(
            f"What {plain_name(name)} does is known from {sum(counts)} sessions, {a_level} a level."
        )
    return tuple(said)


def _used(sessions: pd.DataFrame | None, name: str) -> Counter[Any]:
    return Counter() if sessions is None else Counter(sessions[name].dropna())


def _deal(
    varied: Mapping[str, Sequence[Any]],
    kept: pd.DataFrame,
    new: Sequence[int],
    rng: np.random.Generator,
) -> dict[str, list[Any]]:
    """For each factor a level a session, always one of those that were used least so far."""
    found = {}
    for name, levels in varied.items():
        used, dealt = _used(kept, name), []
        for _ in new:
            fewest = min(used[level] for level in levels)
            least = [level for level in levels if used[level] == fewest]
            dealt.append(least[rng.integers(len(least))])
            used[dealt[-1]] += 1
        found[name] = dealt
    return found


def _met(series: Series, numbers: Sequence[int]) -> list[NDArray[np.float64]]:
    """How many patches of each family, and of each base, a session holds: sessions by kinds."""
    patches = patches_in_full(series)
    session = patches["tile"].map(series.tiles.set_index("tile")["session"])
    kinds = (["base_family", "overlay_family"], ["base"])
    return [
        np.hstack(
            [pd.crosstab(session, patches[n]).reindex(numbers).to_numpy(float) for n in names]
        )
        for names in kinds
    ]


def _unevenness(
    varied: Mapping[str, Sequence[Any]],
    known: pd.DataFrame,
    new: Sequence[int],
    deal: Mapping[str, Sequence[Any]],
    met: Sequence[NDArray[np.float64]],
) -> tuple[float, ...]:
    """How far levels are from an even share: of each other's sessions, of families, of bases."""
    of = []
    for name, levels in varied.items():
        column = known[name].to_numpy(copy=True)
        column[known.index.isin(new)] = deal[name]
        of.append((column[:, None] == np.array(levels, dtype=object)).astype(float))
    crossed = sum(_uneven(one, other) for i, one in enumerate(of) for other in of[:i])
    return (crossed, *(sum(_uneven(one, kinds) for one in of) for kinds in met))


def _uneven(levels: NDArray[np.float64], kinds: NDArray[np.float64]) -> float:
    """Squared distance of the counts of kinds at each level from those of an even share."""
    even = np.outer(levels.mean(axis=0), kinds.sum(axis=0))
    return float(((levels.T @ kinds - even) ** 2).sum())
