"""All that is known about a series, worked out once and read by every part of the report."""

import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import pandas as pd

from kit.errors import Misuse, StatisticalWarning
from kit.model import (
    MEASURE_OF,
    MeasureFit,
    PairSetting,
    ScaleFit,
    fit_measurements,
    fit_series,
    measured_pair_table,
    pair_table,
)
from kit.photo import PatchPicture
from kit.report.findings.effect_findings import ScoreFindings, practice_findings, score_findings
from kit.report.findings.finding import Finding
from kit.report.findings.pair_findings import PairFindings
from kit.series import (
    PULL_THROUGH,
    SPREAD,
    Scale,
    Series,
    Verdict,
    join_measurements,
    middle_grades,
    observations,
    rounds_before,
)
from kit.wording import escape


@dataclass(frozen=True)
class Fits:
    """The fitted scales, and the reasons where there is no fit.

    Parameters
    ----------
    by_scale : mapping of str to ScaleFit
    missing : mapping of str to str
        Why a scale could not be fitted, by scale.
    warned : mapping of str to tuple of str
        What must be said about a fit, by scale.
    """

    by_scale: Mapping[str, ScaleFit]
    missing: Mapping[str, str]
    warned: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, eq=False)
class Judged:
    """The pairs with their verdicts, or the reason why there are none.

    Parameters
    ----------
    table : DataFrame
        As `kit.model.pair_table` gives it; no rows when no pair can be judged.
    missing : str
        Then the reason, as a sentence.
    warned : tuple of str
        What must be said about the pairs.
    """

    table: pd.DataFrame
    missing: str = ""
    warned: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Photographs:
    """What the photographs say.

    Parameters
    ----------
    measurements : DataFrame
        As `kit.series.join_measurements` gives it.
    fits : mapping of str to MeasureFit
        By measure; empty when there is too little to fit.
    judged : Judged
        The pairs judged by what was measured, as `kit.model.measured_pair_table` gives them.
    """

    measurements: pd.DataFrame
    fits: Mapping[str, MeasureFit]
    judged: Judged


@dataclass(frozen=True, eq=False, repr=False)
class Analysis:
    """A series with what was worked out from it.

    Parameters
    ----------
    series : Series
    observations : DataFrame
        As `kit.series.observations` gives it.
    fits : Fits
    judged : Judged
    before : tuple of Series
        The rounds that it goes on from: the fits have their grades too, the rest is of this series.
    pictures : tuple of PatchPicture
        Photographs of single patches.
    """

    series: Series
    observations: pd.DataFrame
    fits: Fits
    judged: Judged
    before: tuple[Series, ...] = ()
    pictures: tuple[PatchPicture, ...] = ()

    def __repr__(self) -> str:
        fitted = ", ".join(self.fits.by_scale) or "nothing"
        return f"<Analysis of {self.series.name}: {fitted} fitted, {self.pairs_found!r:.200}>"

    def _repr_html_(self) -> str:
        """Show the answer, then the pairs."""
        from kit.report.findings.headline import answer

        return f"<p><b>{escape(answer(self))}</b></p>{self.pairs_found._repr_html_()}"

    @property
    def pairs(self) -> pd.DataFrame:
        """Every pair with its verdict; no rows when none can be judged."""
        return self.judged.table

    @cached_property
    def pairs_found(self) -> PairFindings:
        """Every pair as the outputs show and say it."""
        return PairFindings(self.judged.table)

    @cached_property
    def pairs_by_grades(self) -> PairFindings:
        """Every pair as it would be judged without the photographs."""
        fits = self.fits.by_scale
        if all(fit.measured.empty for fit in fits.values()):
            return self.pairs_found
        with collected_warnings():
            alone = {name: fit.by_grades for name, fit in fits.items()}
        verdict = self.series.settings.verdict
        only = replace(self.fits, by_scale=alone)
        return PairFindings(judge_pairs(only, self.series.stock, verdict).table)

    @cached_property
    def grades(self) -> pd.DataFrame:
        """Middle grades of every scale, as `middle_grades` gives them, with a column scale."""
        each = [
            middle_grades(self.observations, scale.name).assign(scale=scale.name)
            for scale in self.series.settings.scales
        ]
        return pd.concat(each, ignore_index=True)

    @cached_property
    def scores(self) -> dict[str, ScoreFindings]:
        """What the fit of each scale shows, by scale."""
        return {name: score_findings(fit, self.series) for name, fit in self.fits.by_scale.items()}

    @cached_property
    def findings(self) -> list[Finding]:
        """Everything that the fits show of families, factors and colours, surest first."""
        found = practice_findings(self.fits.by_scale)
        for scale in self.scales:
            found += self.scores[scale.name].listed if scale.name in self.scores else []
        return sorted(found, key=lambda finding: -finding.chance)

    @cached_property
    def photographs(self) -> Photographs:
        """What the photographs say of the same pairs."""
        return read_photographs(self.series)

    def graded(self, scale: str) -> pd.DataFrame:
        """Middle grades of one scale."""
        return self.grades[self.grades["scale"] == scale]

    @property
    def scales(self) -> tuple[Scale, ...]:
        """The scales that anything was graded on."""
        settings = self.series.settings
        return tuple(s for s in settings.scales if self.observations[s.name].notna().any())


def analyse(
    series: Series,
    photographs: bool = True,
    before: Sequence[Series] | None = None,
    pictures: tuple[PatchPicture, ...] = (),
) -> Analysis:
    """Work out everything that the report says about a series.

    Parameters
    ----------
    series : Series
    photographs : bool
        False judges by the grades alone.
    before : sequence of Series, optional
        The rounds that it goes on from; by default those that its settings name, as they lie
        beside it.
    pictures : tuple of PatchPicture
        Photographs of single patches to be shown, as `kit.photo.patch_pictures` gives them.
    """
    settings = series.settings
    rounds = rounds_before(series) if before is None else tuple(before)
    fits = fit_scales([*rounds, series], settings.scales, photographs)
    judged = judge_pairs(fits, series.stock, settings.verdict)
    return Analysis(series, observations(series), fits, judged, rounds, pictures)


def fit_scales(
    several: Sequence[Series], scales: Sequence[Scale], photographs: bool = True
) -> Fits:
    """Fit every scale to one series or several, keeping the reasons where that cannot be done."""
    by_scale, missing, warned = {}, {}, {}
    for scale in scales:
        with collected_warnings() as said:
            try:
                by_scale[scale.name] = fit_series(several, scale.name, photographs=photographs)
            except Misuse as reason:
                missing[scale.name] = str(reason)
        warned[scale.name] = warning_sentences(said)
    return Fits(by_scale, missing, warned)


def judge_pairs(
    fits: Fits,
    colours: pd.DataFrame,
    verdict: Verdict,
    jars: Literal["fired", "new"] = "fired",
) -> Judged:
    """Judge every ordered pair of the colours by the fits of spread and pull-through."""
    for scale in (SPREAD, PULL_THROUGH):
        if scale.name in fits.missing:
            why = f"A verdict needs both scores. {fits.missing[scale.name]}"
            return Judged(pd.DataFrame(), why)
    scales = {scale.name: fits.by_scale[scale.name] for scale in (SPREAD, PULL_THROUGH)}
    with collected_warnings() as said:
        pairs = pair_table(scales, colours, PairSetting.of(verdict), jars=jars)
    return Judged(pairs, "", warning_sentences(said))


def read_photographs(series: Series) -> Photographs:
    """Fit what was measured, and judge every ordered pair of the colours by it."""
    measurements = join_measurements(series)
    setting = PairSetting.of(series.settings.verdict)
    with collected_warnings() as said:
        try:
            fits = {name: fit_measurements(measurements, name) for name in MEASURE_OF.values()}
        except Misuse as reason:
            return Photographs(measurements, {}, Judged(pd.DataFrame(), str(reason)))
        pairs = measured_pair_table(fits, series.stock, setting)
    return Photographs(measurements, fits, Judged(pairs, "", warning_sentences(said)))


@contextmanager
def collected_warnings() -> Iterator[list[warnings.WarningMessage]]:
    """Collect statistical warnings instead of printing them."""
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always", StatisticalWarning)
        yield said


def warning_sentences(said: Sequence[warnings.WarningMessage]) -> tuple[str, ...]:
    """The sentences of the statistical warnings that were collected, each once."""
    told = (str(w.message) for w in said if issubclass(w.category, StatisticalWarning))
    return tuple(dict.fromkeys(told))
