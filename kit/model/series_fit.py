"""The standard model of a series: which terms its grades can carry, and the fit itself."""

import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from kit.errors import AliasedEffectWarning, Misuse
from kit.mixed import Group, OrdinalMixedModel, OrdinalResults, Prior, read_group, same_division
from kit.model.pool_of_series import poolable
from kit.series import Series, observations
from kit.wording import counted, escape, listed, of_a_step, plain_name

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

OF_STRIPED_TILES = {"stripe": ["small"], "small_patch": ["small"]}
"""What patches on tiles with several bases have beside all others: their stripe's own variation,
and what a small patch varies by beyond one of full size. A verdict speaks of neither."""

REFIRINGS = "refirings"
"""Column of how often a patch went back into the heat after its first firing."""

STEPS = range(5)
"""Steps of a scale when the series does not say: 0 (none) to 4 (total)."""

SERIES_PRIOR = Prior(effect_sd=4.0, spread_rate=3.5)
"""What is assumed before a grade is seen. Of the priors tried over a wide population of invented
studios, it foretold new patches best (tests/benchmarks/bench_prior.py)."""


@dataclass(frozen=True, eq=False, repr=False)
class ScaleFit:
    """A fitted scale of one series or several.

    Attributes
    ----------
    scale : str
    results : OrdinalResults
    frame : DataFrame
        The graded rows, as in `kit.series.observations`.
    factors : tuple of str
        Factors with more than one level, which the formula uses.
    dropped : tuple of str
        What was left out or cannot be told apart, and why, one sentence each.
    """

    scale: str
    results: OrdinalResults
    frame: pd.DataFrame
    factors: tuple[str, ...]
    dropped: tuple[str, ...]

    def __repr__(self) -> str:
        patches = counted(int(self.frame["patch"].nunique()), "patch", "patches")
        return f"<ScaleFit of {self.scale}: {counted(len(self.frame), 'grade')} on {patches}>"

    def _repr_html_(self) -> str:
        left_out = "".join(f"<li>{escape(sentence)}</li>" for sentence in self.dropped)
        heading = f"<p><b>{escape(repr(self)[1:-1])}</b></p>"
        return f"{heading}{self.results.summary()._repr_html_()}<ul>{left_out}</ul>"

    @property
    def pooled_sentence(self) -> str:
        """Which series count together, and what each lends the others; '' where there is one."""
        names = list(self.frame["series"].unique()) if "series" in self.frame else []
        if len(names) < 2:
            return ""
        return (
            f"The grades of {listed(names)} count together, each grade once: what they show of "
            "families, of the steps of the scale and of how much colours, tiles and graders vary "
            "serves every pair."
        )

    @property
    def prior_sentence(self) -> str:
        """What was assumed before any grade was seen, in steps of the scale; '' if nothing was."""
        prior = self.results.prior
        if prior is None:
            return ""
        step = (prior.step_shape - 1) / prior.step_rate
        return (
            "Before any grade was seen, each factor was taken to move a patch by at most "
            f"{of_a_step(2 * prior.effect_sd / step)} over its whole range, 19 times in 20; and "
            "each source of variation (colours, pairs, tiles, patches, sessions, graders) to move "
            f"it by around {of_a_step(prior.spread_shape / prior.spread_rate / step)}, which may "
            "turn out much less or several times as much. The grades outweigh this as soon as "
            "there are more than a handful."
        )


def fit_series(
    series: Series | Iterable[Series],
    scale: str,
    prior: Prior | None = SERIES_PRIOR,
) -> ScaleFit:
    """Fit the standard model to one scale of a series, or of several together.

    Parameters
    ----------
    series : Series or iterable of Series
        The newest last. A colour or a grader keeps its identity across series; tiles, patches and
        sessions do not, and each series may have used another jar of a colour. Every grade counts
        once. Series that cannot be pooled (`poolable`) are left out, and `dropped` says why.
    scale : str
        Name of the scale's column.
    prior : Prior or None
        None fits by maximum likelihood alone.

    Returns
    -------
    ScaleFit

    Raises
    ------
    Misuse
        If no series has such a scale, or nothing was graded on it, or every grade is the same.

    Warns
    -----
    AliasedEffectWarning
        If terms cannot be told apart; it says which.
    """
    each = [series] if isinstance(series, Series) else list(series)
    scales = {s.name: s for one in each for s in one.settings.scales}
    if scale not in scales:
        raise Misuse(f"There is no scale {scale!r}; there is {', '.join(scales) or 'none'}.")
    kept, reasons = poolable(each, scale)
    frame = pd.concat([observations(one) for one in kept], ignore_index=True)
    fit = fit_observations(frame, scale, prior, kept[-1].settings.scale(scale).grades)
    return replace(fit, dropped=(*reasons, *fit.dropped))


def fit_observations(
    frame: pd.DataFrame,
    scale: str,
    prior: Prior | None = SERIES_PRIOR,
    steps: Sequence[int] = STEPS,
) -> ScaleFit:
    """Fit the standard model to a table of graded rows.

    Parameters
    ----------
    frame : DataFrame
        As `kit.series.observations` gives it.
    scale : str
    prior : Prior or None
        None fits by maximum likelihood alone.
    steps : sequence of int
        Every step of the scale.
    """
    graded = with_refirings(_graded(frame, scale, steps))
    factors, dropped = varied_factors(graded)
    groups, reasons = groups_carried(graded, with_prior=prior is not None)
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        model = OrdinalMixedModel(
            formula(scale, factors),
            graded,
            groups,
            own_reactions(groups, graded) | slopes_carried(graded),
        )
        results = model.fit(prior=prior)
    for warning in said:
        warnings.warn(warning.message, warning.category, stacklevel=3)
        if issubclass(warning.category, AliasedEffectWarning):
            reasons.append(str(warning.message))
    return ScaleFit(scale, results, graded, tuple(factors), tuple(dropped + reasons))


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


def _graded(frame: pd.DataFrame, scale: str, steps: Sequence[int]) -> pd.DataFrame:
    if scale not in frame.columns:
        raise Misuse(f"The observations have no column {scale!r}.")
    graded = frame[frame[scale].notna()].reset_index(drop=True)
    if not len(graded):
        raise Misuse(f"Nothing was graded for {scale} yet.")
    values = graded[scale].astype(int)
    if (values == values.iloc[0]).all():
        raise Misuse(
            f"Every {scale} grade is {values.iloc[0]}. Where nothing differs there is nothing to "
            "explain; at least two different grades are needed."
        )
    graded[scale] = pd.Categorical(values, categories=list(steps), ordered=True)
    apart = series_apart(graded)
    return apart.assign(small_patch=apart["patch"])


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
    for name in GROUPS:
        if not set(name.split(":")) <= set(seen.columns):
            continue
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
        twin = next((other for other in kept if same_division(group, other)), None)
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


def _used_again(seen: pd.DataFrame, role: str) -> bool:
    """Whether any colour stands in a role in more than one series."""
    times = seen[[role, "series"]].drop_duplicates()
    return bool(times[role].duplicated().any())
