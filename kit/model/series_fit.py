"""The standard model of a series: which terms its grades can carry, and the fit itself."""

import warnings
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import pandas as pd

from kit.errors import AliasedEffectWarning, Misuse, StatisticalWarning
from kit.mixed import (
    JointResults,
    LeftOut,
    OrdinalMixedModel,
    OrdinalResults,
    Prior,
    leave_out,
)
from kit.model.colour_labels import NO_LABELS, Labels, labels_worth
from kit.model.measurement_fit import MEASURE_OF, MeasureLine, between, fit_beside
from kit.model.pool_of_series import poolable
from kit.model.right_hand_side import (
    PICTURED,
    formula,
    groups_carried,
    own_reactions,
    series_apart,
    slopes_carried,
    varied_factors,
    with_refirings,
)
from kit.model.series_prior import SERIES_PRIOR, LearnedPrior, prior_sentence
from kit.series import Series, join_measurements, observations, over_another
from kit.wording import counted, escape, listed, plain_name

FEWEST_MEASURED = 12
"""Measurements that are not set beside grades below."""

STEPS = range(5)
"""Steps of a scale when the series does not say: 0 (none) to 4 (total)."""


@dataclass(frozen=True, eq=False, repr=False)
class ScaleFit:
    """A fitted scale of one series or several.

    Attributes
    ----------
    scale : str
    results : OrdinalResults
        A `JointResults` where photographs stand beside the grades.
    frame : DataFrame
        The graded rows, as in `kit.series.observations`.
    factors : tuple of str
        Factors with more than one level, which the formula uses.
    dropped : tuple of str
        What was left out or cannot be told apart, and why, one sentence each.
    measured : DataFrame
        The measured rows that count beside the grades, as in `kit.series.join_measurements`; no
        rows where the grades count alone.
    labels : Labels
        What the labels of colours say, and which of them the fit uses.
    learned : LearnedPrior or None
        What earlier series showed, where the fit started from that.
    """

    scale: str
    results: OrdinalResults
    frame: pd.DataFrame
    factors: tuple[str, ...]
    dropped: tuple[str, ...]
    measured: pd.DataFrame = field(default_factory=pd.DataFrame)
    labels: Labels = NO_LABELS
    learned: LearnedPrior | None = None

    def __repr__(self) -> str:
        patches = counted(int(self.frame["patch"].nunique()), "patch", "patches")
        graded = f"{counted(len(self.frame), 'grade')} on {patches}"
        beside = len(self.measured)
        more = f", {counted(beside, 'measurement')} from photographs" if beside else ""
        return f"<ScaleFit of {self.scale}: {graded}{more}>"

    def _repr_html_(self) -> str:
        left_out = "".join(f"<li>{escape(sentence)}</li>" for sentence in self.dropped)
        heading = f"<p><b>{escape(repr(self)[1:-1])}</b></p>"
        return f"{heading}{self.results.summary()._repr_html_()}<ul>{left_out}</ul>"

    @property
    def seen(self) -> pd.DataFrame:
        """Every row that was fitted, graded or measured."""
        if self.measured.empty:
            return self.frame
        return pd.concat([self.frame, self.measured], ignore_index=True)

    @property
    def line(self) -> MeasureLine:
        """How photographs stand to the grades; Misuse where there are none."""
        if not isinstance(self.results, JointResults):
            raise Misuse(f"No photograph stands beside the grades of {plain_name(self.scale)}.")
        results = self.results
        measure = MEASURE_OF[self.scale]
        return MeasureLine(measure, results.model.measure, *results.link, results.residual_sd)

    @cached_property
    def by_grades(self) -> "ScaleFit":
        """The same model of the grades alone: for questions about grades and not about patches."""
        return self if self.measured.empty else self.refitted(self.frame, measured=pd.DataFrame())

    def without_grader(self, grader: str) -> "ScaleFit":
        """The same model without the grades of one grader, fitted once."""
        if grader not in self._without:
            others = self.frame[self.frame["grader"] != grader]
            self._without[grader] = self.refitted(others)
        return self._without[grader]

    @cached_property
    def _without(self) -> "dict[str, ScaleFit]":
        return {}

    @cached_property
    def tiles_left_out(self) -> LeftOut:
        """Every tile left out in turn, worked out once."""
        return leave_out(self.results, "tile")

    def refitted(
        self,
        frame: pd.DataFrame,
        steps: Sequence[int] | None = None,
        measured: pd.DataFrame | None = None,
    ) -> "ScaleFit":
        """Fit the same scale to other graded rows, beside the same photographs unless told."""
        return fit_observations(
            frame,
            self.scale,
            self.results.prior,
            self.results.labels if steps is None else steps,
            self.measured if measured is None else measured,
            self.labels,
        )

    @property
    def prior_sentence(self) -> str:
        """What was assumed before any grade was seen, in steps of the scale; '' if nothing was."""
        if self.learned is not None:
            return self.learned.sentence
        return "" if self.results.prior is None else prior_sentence(self.results.prior)


def fit_series(
    series: Series | Iterable[Series],
    scale: str,
    prior: Prior | Literal["usual"] | None = "usual",
    photographs: bool = True,
) -> ScaleFit:
    """Fit the standard model to one scale of a series, or of several together.

    What photographs measured of the same thing (`MEASURE_OF`) tells of a patch beside its grades:
    both see one latent value, the grades through the cuts of the scale, a photograph along a line
    that is fitted too, with an error of its own. Either may be missing.

    Parameters
    ----------
    series : Series or iterable of Series
        The newest last. A colour or a grader keeps its identity across series; tiles, patches and
        sessions do not, and each series may have used another jar of a colour. Every grade counts
        once. Series that cannot be pooled (`poolable`) are left out, and `dropped` says why.
    scale : str
        Name of the scale's column.
    prior : 'usual', Prior or None
        'usual' takes what earlier series showed, where the settings name some to learn from
        (`learned_prior`), else `SERIES_PRIOR`. None fits by maximum likelihood alone.
    photographs : bool
        False fits the grades alone; so do the settings of a series that say so, for that series.

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
        If terms cannot be told apart and no prior shares them out; it says which. Under a prior
        `dropped` says so.
    """
    each = [series] if isinstance(series, Series) else list(series)
    scales = {s.name: s for one in each for s in one.settings.scales}
    if scale not in scales:
        raise Misuse(f"There is no scale {scale!r}; there is {', '.join(scales) or 'none'}.")
    kept, reasons = poolable(each, scale)
    frame = pd.concat([observations(one) for one in kept], ignore_index=True)
    asked = [one for one in kept if photographs and one.settings.verdict.photographs]
    pictured = [join_measurements(one) for one in asked if len(one.measurements)]
    measured = pd.concat(pictured, ignore_index=True) if pictured else None
    learned = None
    if prior == "usual":
        prior = SERIES_PRIOR
        learned, said = learned_prior(each, scale, photographs)
        reasons += said
        graded = frame[frame[scale].notna()]
        if learned is not None and len(graded):
            prior, why = learned.prior_for(graded)
            reasons += [why] if why else []
    labels = Labels.of(kept)
    steps = kept[-1].settings.scale(scale).grades
    fit = fit_observations(frame, scale, prior, steps, measured, labels)
    chosen = replace(labels, worth=labels_worth(fit.results, labels.table))
    if chosen.groups:
        fit = fit_observations(frame, scale, prior, steps, measured, chosen)
    return replace(fit, dropped=(*reasons, *fit.dropped), labels=chosen, learned=learned)


def learned_prior(
    several: Sequence[Series], scale: str, photographs: bool = True
) -> tuple[LearnedPrior | None, list[str]]:
    """What the series that others learn from showed of a scale, beside those others.

    A series that is among the others counts with its grades, and is not learned from; what those
    learned from have themselves learned from does not count. So every grade counts once.

    Parameters
    ----------
    several : sequence of Series
        The newest, whose scale counts, last.
    scale : str
    photographs : bool

    Returns
    -------
    learned : LearnedPrior or None
        None where there is nothing to learn from.
    reasons : list of str
        A sentence for each series that could not be learned from.
    """
    pooled = {one.name for one in several}
    earlier = {e.name: e for one in several for e in one.earlier if e.name not in pooled}
    if not earlier:
        return None, []
    alike, reasons = poolable([*earlier.values(), several[-1]], scale)
    graded = [e for e in alike if e.name in earlier and observations(e)[scale].notna().any()]
    if not graded:
        return None, [*reasons, f"{listed(list(earlier))} has no grades to learn from."]
    title = several[-1].settings.scale(scale).title
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", StatisticalWarning)
            fit = fit_series(graded, scale, SERIES_PRIOR, photographs)
    except Misuse as reason:
        return None, [*reasons, f"Nothing was learned of {title.lower()}: {reason}"]
    names = tuple(one.name for one in graded)
    return LearnedPrior(names, title, fit.results, fit.seen), reasons


def fit_observations(
    frame: pd.DataFrame,
    scale: str,
    prior: Prior | None = SERIES_PRIOR,
    steps: Sequence[int] = STEPS,
    measured: pd.DataFrame | None = None,
    labels: Labels = NO_LABELS,
) -> ScaleFit:
    """Fit the standard model to a table of graded rows, beside one of measured rows.

    Parameters
    ----------
    frame : DataFrame
        As `kit.series.observations` gives it. Controls are left out (`over_another`).
    scale : str
    prior : Prior or None
        None fits by maximum likelihood alone.
    steps : sequence of int
        Every step of the scale.
    measured : DataFrame or None
        As `kit.series.join_measurements` gives it. Measurements of a scale that no photograph
        measures, or too few to draw a line through, do not count.
    labels : Labels
        Those that help enter the model.
    """
    graded = _graded(frame, scale, steps)
    pictured, left_out = _pictured(measured, scale)
    if controls := int(frame.loc[frame[scale].notna(), "patch"].nunique()) - int(
        graded["patch"].nunique()
    ):
        left_out.append(
            f"{counted(controls, 'patch', 'patches')} of a colour over itself: no edge can be seen "
            "there, so what was graded of it counts only where graders are compared."
        )
    graded, pictured, seen = _made_ready(graded, pictured, scale, labels)
    factors, dropped = varied_factors(seen)
    groups, reasons = groups_carried(seen, with_prior=prior is not None)
    groups += labels.groups
    right = formula(scale, factors)
    slopes = own_reactions(groups, seen) | slopes_carried(seen)
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        results: OrdinalResults | JointResults | None = None
        if not pictured.empty:
            try:
                measure = MEASURE_OF[scale]
                results = _beside(right, graded, pictured, groups, slopes, prior, measure)
            except Misuse:  # such grades and such photographs lie on no common line
                left_out.append(f"The photographs of {plain_name(scale)} do not fit its grades.")
                pictured = pd.DataFrame()
        if results is None:
            results = OrdinalMixedModel(right, graded, groups, slopes).fit(prior=prior)
    for warning in said:
        aliased = issubclass(warning.category, AliasedEffectWarning)
        if aliased:
            reasons.append(str(warning.message))
        if not aliased or prior is None:
            warnings.warn(warning.message, warning.category, stacklevel=3)
    not_used = tuple(left_out + dropped + reasons)
    return ScaleFit(scale, results, graded, tuple(factors), not_used, pictured, labels)


def _graded(frame: pd.DataFrame, scale: str, steps: Sequence[int]) -> pd.DataFrame:
    if scale not in frame.columns:
        raise Misuse(f"The observations have no column {scale!r}.")
    every = frame[frame[scale].notna()]
    graded = over_another(every).reset_index(drop=True)
    if not len(graded):
        alone = " but colours over themselves, where no edge can be seen" if len(every) else ""
        raise Misuse(f"Nothing was graded for {scale} yet{alone}.")
    values = graded[scale].astype(int)
    if (values == values.iloc[0]).all():
        raise Misuse(
            f"Every {scale} grade is {values.iloc[0]}. Where nothing differs there is nothing to "
            "explain; at least two different grades are needed."
        )
    graded[scale] = pd.Categorical(values, categories=list(steps), ordered=True)
    return graded


def _pictured(measured: pd.DataFrame | None, scale: str) -> tuple[pd.DataFrame, list[str]]:
    """Measured rows that can stand beside grades, and a sentence where there are too few."""
    measure = MEASURE_OF.get(scale)
    if measured is None or measure is None or measure not in measured:
        return pd.DataFrame(), []
    pictured = over_another(measured[measured[measure].notna()]).reset_index(drop=True)
    if pictured.empty:
        return pd.DataFrame(), []
    read = pictured.loc[between(pictured[measure], measure), measure]
    if len(read) >= FEWEST_MEASURED and (read != read.iloc[0]).any():
        return pictured, []
    beyond = len(pictured) - len(read)
    said = (
        f"{counted(len(pictured), 'measurement')} of {plain_name(scale)} from photographs cannot "
        f"be set beside the grades: at least {FEWEST_MEASURED} are needed, and some that differ"
    )
    more = f"; {beyond} of them say no more than 'this or less'" if beyond else ""
    return pd.DataFrame(), [f"{said}{more}."]


def _beside(
    right: str,
    graded: pd.DataFrame,
    pictured: pd.DataFrame,
    groups: Sequence[str],
    slopes: Mapping[str, Sequence[str]],
    prior: Prior | None,
    measure: str,
) -> JointResults:
    """Fit grades and measurements together."""
    # What the photographs of one patch share is seen only where there are several of it.
    if pictured["patch"].duplicated().any():
        pictured = pictured.assign(**{PICTURED: pictured["patch"]})
        groups = [*groups, PICTURED]
    return fit_beside(right, graded, pictured, measure, groups, slopes, prior)


def _made_ready(
    graded: pd.DataFrame, pictured: pd.DataFrame, scale: str, labels: Labels
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Graded rows, measured rows and both, with the columns that only the model needs."""
    if pictured.empty:
        seen = _with_own_columns(graded, labels)
        return seen, pictured, seen
    both = pd.concat([graded.drop(columns=scale), pictured], ignore_index=True)
    seen = _with_own_columns(both, labels)
    count, added = len(graded), [c for c in seen if c not in both]
    first = seen.iloc[:count][[c for c in (*graded, *added) if c != scale]]
    second = seen.iloc[count:][list(dict.fromkeys((*pictured, *added)))]
    return first.assign(**{scale: graded[scale]}), second.reset_index(drop=True), seen


def _with_own_columns(seen: pd.DataFrame, labels: Labels) -> pd.DataFrame:
    apart = series_apart(labels.on(seen))
    return with_refirings(apart.assign(small_patch=apart["patch"]))
