"""What the photographs measured, and how they judge pairs beside the grades."""

from dataclasses import replace
from typing import Any

import pandas as pd

from kit.drawing import pair_charts
from kit.errors import Misuse
from kit.model import (
    LOOKS,
    MEASURE_OF,
    NOT_KNOWN,
    VERDICTS,
    GradeMeaning,
    MeasureFit,
    VerdictRule,
    grades_against_measurements,
)
from kit.report.analysis import Analysis
from kit.report.figures.measured_charts import grades_and_measurements, measurements_by_firing
from kit.report.findings.headline import spoken_of
from kit.report.findings.pair_findings import PairFindings
from kit.report.page.document import (
    Block,
    Bullets,
    Fold,
    Paragraph,
    Point,
    Section,
    TableBlock,
    table_of,
)
from kit.series import Scale, Verdict
from kit.wording import amount, between, counted, listed, mm_and_inches

_TITLE = "What the photographs say"
_STRIKE_OUT = (
    "The grades do not rise with what was measured. Look at the pictures of what was measured, and "
    "strike out in measurements.csv what you doubt."
)


def measured(analysis: Analysis) -> Section | None:
    """Show what was measured, hold grades against it, judge pairs by it; None without any."""
    pictures = analysis.photographs.measurements
    if pictures.empty:
        return None
    size = counted(pictures["patch"].nunique(), "patch was", "patches were")
    opening = Paragraph(
        f"{size} measured in photographs, {counted(len(pictures), 'time')} in all. A grade is an "
        "opinion; these are lengths and shares."
    )
    scales = [scale for scale in analysis.series.settings.scales if scale.name in MEASURE_OF]
    parts = [of_scale(analysis, scale) for scale in scales]
    return Section(
        "measured", _TITLE, (opening, *what_they_add(analysis), *parts, measured_pairs(analysis))
    )


def of_scale(analysis: Analysis, scale: Scale) -> Section:
    """Show one measure by firing, and say what a grade of its scale is worth."""
    measure, pictures = MEASURE_OF[scale.name], analysis.photographs.measurements
    name, title = f"measured-{scale.name.replace('_', '-')}", f"{scale.title}, measured"
    seen = measurements_by_firing(pictures, measure, scale)
    try:
        meaning = grades_against_measurements(analysis.observations, pictures, scale.name, measure)
    except Misuse as reason:
        return Section(name, title, (seen, Paragraph(str(reason))))
    return Section(name, title, (seen, *_grades(meaning, scale)))


def _grades(meaning: GradeMeaning, scale: Scale) -> tuple[Block, ...]:
    points = tuple(Point(sentence) for sentence in meaning.sentences)
    doubt = (Paragraph(_STRIKE_OUT),) if meaning.step_high < 0 else ()
    return (
        grades_and_measurements(meaning, scale),
        *doubt,
        Paragraph(
            "What is a grade worth, and does it mean the same to each grader? A grader whose eye "
            "varies pulls these averages towards each other: they say what to expect at a grade, "
            "not where one grade ends and the next begins."
        ),
        Bullets(points),
        _levels(meaning, scale),
    )


def _levels(meaning: GradeMeaning, scale: Scale) -> TableBlock:
    """What was measured at each grade, a column a grader."""
    told = meaning.levels.assign(said=[_level(row, meaning) for row in meaning.levels.itertuples()])
    wide = told.pivot_table("said", "grade", "grader", aggfunc="first").fillna("not given")
    wide.index = wide.index.astype(str)
    caption = f"{scale.title}: average measured at each grade, with its interval (9 times in 10)"
    return table_of(caption, wide.rename_axis("Grade").reset_index())


def _level(row: Any, meaning: GradeMeaning) -> str:
    average = amount(row.average, meaning.measure)
    patches = counted(row.patches, "patch", "patches")
    if row.low != row.low:
        return f"{average}; {patches}"
    return f"{average} ({between(row.low, row.high, meaning.measure)}); {patches}"


_NAME, _PAIRS_TITLE = "measured-pairs", "The pairs, judged by the photographs"


def measured_pairs(analysis: Analysis) -> Section:
    """Draw the pair chart from what was measured, and compare it with the graders' chart."""
    judged, fits = analysis.photographs.judged, analysis.photographs.fits
    if judged.table.empty:
        told = Paragraph(f"No pair can be judged yet: {judged.missing}")
        return Section(_NAME, _PAIRS_TITLE, (told,))
    charts = [
        replace(chart, name=chart.name.replace("pair-chart", "pair-chart-measured"))
        for chart in pair_charts(judged.table, analysis.series.colours)
    ]
    doubts = (Bullets(tuple(Point(said) for said in judged.warned)),) if judged.warned else ()
    blocks: tuple[Block, ...] = (
        Paragraph(measured_rule(analysis.series.settings.verdict)),
        *charts,
        *_compared(analysis.pairs_by_grades, PairFindings(judged.table)),
        *doubts,
        *(_estimates(fit) for fit in fits.values()),
    )
    return Section(_NAME, _PAIRS_TITLE, blocks)


def what_they_add(analysis: Analysis) -> tuple[Block, ...]:
    """Say what verdicts each source gives, alone and both together."""
    if not analysis.series.settings.verdict.photographs:
        return (Paragraph(_SET_ASIDE),)
    fits, scales = analysis.fits.by_scale, analysis.series.settings.scales
    fitted = [scale for scale in scales if scale.name in fits]
    beside = [scale.title.lower() for scale in fitted if len(fits[scale.name].measured)]
    together, alone = analysis.pairs_found, analysis.pairs_by_grades
    if not beside or not len(together) or not len(alone):
        return ()
    told = [spoken_of(analysis, found) for found in (alone, together)]
    before, after = (
        {pair.name: pair.shown.verdict for pair in pairs if pair.shown.verdict != NOT_KNOWN}
        for pairs in told
    )
    kept = before.keys() & after.keys()
    turned = sum(before[name] != after[name] for name in kept)
    return (
        Paragraph(
            f"Everywhere else in this report the photographs count beside the grades, for "
            f"{listed(beside)}: together they give a verdict on {len(after)} of "
            f"{counted(len(told[1]), 'pair')}, the grades alone on {len(before)}. "
            f"{counted(len(after.keys() - kept), 'pair gains', 'pairs gain')} a verdict by them, "
            f"{counted(len(before.keys() - kept), 'loses', 'lose')} one, and "
            f"{counted(turned, 'gets', 'get')} another. To judge by the grades alone, write "
            "photographs = false under [verdict] in series.toml."
        ),
        _by_source(analysis),
    )


_SET_ASIDE = (
    "Everywhere else in this report the grades count alone, as photographs = false under [verdict] "
    "in series.toml asks."
)


def _by_source(analysis: Analysis) -> TableBlock:
    """How many pairs get which verdict by each source."""
    sources = {
        "The grades alone": analysis.pairs_by_grades,
        "The photographs alone, by millimetres": PairFindings(analysis.photographs.judged.table),
        "Both together": analysis.pairs_found,
    }
    rows = [
        {"Source": source}
        | {
            LOOKS[verdict].label: sum(
                pair.shown.verdict == verdict for pair in spoken_of(analysis, found)
            )
            for verdict in VERDICTS
        }
        for source, found in sources.items()
        if len(found)
    ]
    return table_of("What each source adds: pairs by verdict", pd.DataFrame(rows))


def measured_rule(verdict: Verdict) -> str:
    """Say how pairs are judged by measurements."""
    return (
        f"Here the rule is: {VerdictRule.of(verdict).measured_sentence}. The limits are "
        f"fine_edge_mm ({mm_and_inches(verdict.fine_edge_mm)}) and fine_edge_share in "
        "series.toml; all else is as for the chart from the grades."
    )


def _compared(graded: PairFindings, by_picture: PairFindings) -> tuple[Paragraph, ...]:
    """Hold the verdict that stands for a pair by grades against the one by photographs."""
    if not len(graded):
        return ()
    pictured = {pair.name: pair for pair in by_picture}
    both = [(pair, pictured[pair.name]) for pair in graded.known if pair.name in pictured]
    known = [(one, other) for one, other in both if other.shown.verdict != NOT_KNOWN]
    if not known:
        return (Paragraph("No pair has a verdict both by grades and by photographs."),)
    unlike = [(one, other) for one, other in known if one.shown.verdict != other.shown.verdict]
    named = "; ".join(
        f"{one.name} ({one.headline} by grades, {other.headline} by photographs)"
        for one, other in unlike[:6]
    )
    rest = f" They differ on {named}." if named else ""
    return (
        Paragraph(
            f"{counted(len(known), 'pair has', 'pairs have')} a verdict both by grades and by "
            f"photographs; it is the same for {len(known) - len(unlike)}.{rest}"
        ),
    )


def _estimates(fit: MeasureFit) -> Fold:
    results = fit.results
    interval = results.conf_int(confidence=0.9)
    unit = "logit of the share" if fit.is_share else "mm"
    effects = pd.DataFrame(
        {
            "Term": list(results.params.index),
            f"Estimate ({unit})": results.params.to_numpy(),
            "Standard error": results.bse.to_numpy(),
            "Low (90 %)": interval["low"].to_numpy(),
            "High (90 %)": interval["high"].to_numpy(),
        }
    )
    deviations = pd.DataFrame(
        {
            "Source": list(results.random_sd),
            f"Standard deviation ({unit})": list(results.random_sd.values()),
        }
    )
    prior = results.prior.describe_for_measurements() if results.prior else ""
    left_out = (Bullets(tuple(Point(s) for s in fit.dropped)),) if fit.dropped else ()
    return Fold(
        f"{fit.measure}: formula and estimates",
        (
            Paragraph(
                f"A mixed model of {results.nobs} "
                f"measurements: {results.formula}. {fit.ends} {prior}"
            ),
            table_of(f"{fit.measure}: effects", effects),
            table_of(f"{fit.measure}: what else varies", deviations),
            *left_out,
        ),
    )
