"""The right-hand side of the standard model: which terms the rows of a series can carry."""

import warnings
from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit.errors import AliasedEffectWarning
from kit.mixed import Group, read_group, same_division
from kit.wording import plain_name

MEASURES = (
    "firings",
    "mesh",
    "coat_weight",
    "base_mesh",
    "base_coat_weight",
    "base_coats",
    "minutes",
)
"""Numeric factors, the ones that matter most first."""

HEAT = "heat"
"""Torch or kiln, in the words that were written down: a factor without measure."""

READING = 0.1
"""Share of the mean by which minutes must vary (standard deviation) to be more than what a clock is
read by."""

GROUPS = (
    "base",
    "overlay",
    "base:overlay",
    "base:series",
    "overlay:series",
    "grader",
    "tile",
    "patch",
    "session",
    "series",
)
"""Sources of variation. Of two that cannot be told apart, the earlier one is kept."""

JARS = ("base:series", "overlay:series")
"""How the jars of one colour differ from series to series, where several are pooled."""

NOISE = ("tile", "patch", "session")
"""What a pair meets anew each time it is fired: a new patch on a new tile in a new session."""

LOGISTIC_VARIANCE = np.pi**2 / 3
"""Variance of the standard logistic distribution: what a single grade wavers by."""

OF_STRIPED_TILES = {"stripe": ["small"], "small_patch": ["small"]}
"""What patches on tiles with several bases have beside all others: their stripe's own variation,
and what a small patch varies by beyond one of full size. A verdict speaks of neither."""

PICTURED = "pictured"
"""What all photographs of one patch are off by together: only measured rows have it, and it is no
part of the patch."""

REFIRINGS = "refirings"
"""Column of how often a patch went back into the heat after its first firing."""


def formula(scale: str, factors: Sequence[str]) -> str:
    """The fixed part for the given factors.

    Families enter as a pair: their combination changes with every firing. All other factors enter
    with two-factor terms.
    """
    families = [factor for factor in factors if factor.endswith("_family")]
    measures = [HEAT] if HEAT in factors else []
    measures += [f"center({factor})" for factor in factors if factor in MEASURES]
    terms = [" * ".join(families)] if families else []
    terms += [f"({' + '.join(families + measures)}) ** 2"] if measures else []
    if len(families) == 2 and "firings" in factors:
        terms.append(f"{families[0]}:{families[1]}:center(firings)")
    return f"{scale} ~ {' + '.join(terms) or '1'}"


def with_refirings(rows: pd.DataFrame) -> pd.DataFrame:
    """Add how often each row's patch went back into the heat: its firings but the first."""
    return rows.assign(**{REFIRINGS: rows["firings"] - 1}) if "firings" in rows else rows


def own_reactions(groups: Sequence[str], seen: pd.DataFrame) -> dict[str, list[str]]:
    """Slopes: every base and every overlay takes repeated firing in its own way.

    A slope is counted from the first firing and vanishes there, so that it says nothing of patches
    that were fired once.
    """
    if REFIRINGS not in seen or seen[REFIRINGS].nunique() < 2:
        return {}
    return {role: [REFIRINGS] for role in ("base", "overlay") if role in groups}


def series_apart(seen: pd.DataFrame) -> pd.DataFrame:
    """Name tiles, patches and sessions by their series too, where there are several."""
    if "series" not in seen or len(seen["series"].unique()) < 2:
        return seen
    apart = [c for c in ("tile", "stripe", "patch", "session") if c in seen]
    return seen.assign(**{c: seen["series"] + " " + seen[c].astype(str) for c in apart})


def slopes_carried(seen: pd.DataFrame) -> dict[str, list[str]]:
    """Further sources of variation where some tiles carry several bases in stripes."""
    return OF_STRIPED_TILES if "small" in seen and seen["small"].any() else {}


def varied_factors(seen: pd.DataFrame) -> tuple[list[str], list[str]]:
    """Factors that vary, and a sentence for each that does not."""
    varied, dropped = [], []
    for factor in ("base_family", "overlay_family", *MEASURES, HEAT):
        if factor not in seen:
            continue
        if factor in (HEAT, "minutes"):
            why = _not_recorded(seen, factor)
            if why:
                dropped.append(why)
                continue
        levels = seen[factor].unique()
        if len(levels) > 1:
            varied.append(factor)
        else:
            dropped.append(
                f"{plain_name(factor)} was {levels[0]} throughout, so it has no effect here."
            )
    return varied, [sentence[0].upper() + sentence[1:] for sentence in dropped]


def _not_recorded(seen: pd.DataFrame, factor: str) -> str:
    """Why what is written down of the heat cannot be used; '' where it can."""
    known = seen[factor].notna() & (seen[factor].astype("str") != "")
    name = plain_name(factor)
    if not known.all():
        missing = "not written down" if not known.any() else "not written down for every firing"
        return f"{name} was {missing}, so it is not asked what it does."
    if factor == "minutes":
        minutes = seen[factor].astype(float)
        if 0 < minutes.std() < READING * minutes.mean():
            span = f"{minutes.min():g} to {minutes.max():g} minutes"
            return f"{name} was {span}, too much alike to tell what it does."
    return ""


def groups_carried(seen: pd.DataFrame, with_prior: bool) -> tuple[list[str], list[str]]:
    """Groups that the rows can carry, and a sentence for each that they cannot.

    Under a prior two groups that divide the rows alike both stay: the prior shares their variation
    out, and neither the colour nor the tile is then taken to be surer than it is.
    """
    kept: list[Group] = []
    dropped: list[str] = []
    every = seen
    for name in GROUPS:
        if not set(name.split(":")) <= set(every.columns):
            continue
        # Nobody grades a photograph: graders are sought among the graded rows.
        seen = every.dropna(subset=name.split(":"), ignore_index=True)
        if name in JARS and not _used_again(seen, name.split(":")[0]):
            continue
        if seen[name.split(":")].drop_duplicates().shape[0] < 2:
            if name != "series":
                dropped.append(f"There is one {name} only, so its variation cannot be seen.")
            continue
        group = read_group(name, seen)
        if group.size == len(seen) and name in NOISE:
            dropped.append(
                f"Every {name} was seen once, so its variation cannot be told apart from "
                "what varies from one reading to the next; the two count together."
            )
            continue
        twin = next((k for k in kept if _divide_alike(group, k)), None)
        if twin is None or with_prior:
            kept.append(group)
            continue
        text = (
            f"{plain_name(name)} and {plain_name(twin.name)} divide the rows in the same way, so "
            f"they cannot be told apart; {plain_name(name)} was left out."
        )
        warnings.warn(text, AliasedEffectWarning, stacklevel=4)
        dropped.append(text[0].upper() + text[1:])
    return [group.name for group in kept], dropped


def _divide_alike(one: Group, other: Group) -> bool:
    return one.codes.size == other.codes.size and same_division(one, other)


def _used_again(seen: pd.DataFrame, role: str) -> bool:
    """Whether any colour stands in a role in more than one series."""
    times = seen[[role, "series"]].drop_duplicates()
    return bool(times[role].duplicated().any())
