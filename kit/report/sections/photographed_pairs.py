"""The pairs judged by the photographs instead of the grades."""

from dataclasses import replace

import pandas as pd

from kit.model import NOT_KNOWN, MeasureFit
from kit.report.analysis import Analysis
from kit.report.figures.pair_chart import pair_chart
from kit.report.page.document import Block, Bullets, Fold, Paragraph, Point, Section, table_of
from kit.series import Verdict
from kit.wording import counted, mm_and_inches, percent

_NAME, _TITLE = "measured-pairs", "The pairs, judged by the photographs"


def measured_pairs(analysis: Analysis) -> Section:
    """Draw the pair chart from what was measured, and compare it with the graders' chart."""
    judged, fits = analysis.photographs.judged, analysis.photographs.fits
    if judged.table.empty:
        told = Paragraph(f"No pair can be judged yet: {judged.missing}")
        return Section(_NAME, _TITLE, (told,))
    chart = replace(pair_chart(judged.table, analysis.series.colours), name="pair-chart-measured")
    doubts = (Bullets(tuple(Point(said) for said in judged.warned)),) if judged.warned else ()
    blocks: tuple[Block, ...] = (
        Paragraph(measured_rule(analysis.series.settings.verdict)),
        chart,
        *_compared(analysis.pairs, judged.table),
        *doubts,
        *(_estimates(fit) for fit in fits.values()),
    )
    return Section(_NAME, _TITLE, blocks)


def measured_rule(verdict: Verdict) -> str:
    """Say when a pair is suited, judged by measurements."""
    return (
        "Here a fine edge holds when the edge stands at most "
        f"{mm_and_inches(verdict.fine_edge_mm)} beyond the stencil's line and the base shows in "
        "at most "
        f"{percent(verdict.fine_edge_share)} of the patch. The limits are fine_edge_mm and "
        "fine_edge_share in series.toml; all else is as for the chart from the grades."
    )


def _compared(graded: pd.DataFrame, by_picture: pd.DataFrame) -> tuple[Paragraph, ...]:
    if graded.empty:
        return ()
    keys = ["base", "overlay"]
    both = graded[[*keys, "verdict"]].merge(
        by_picture[[*keys, "verdict"]], on=keys, suffixes=("_graded", "_measured")
    )
    known = both[(both["verdict_graded"] != NOT_KNOWN) & (both["verdict_measured"] != NOT_KNOWN)]
    same = int((known["verdict_graded"] == known["verdict_measured"]).sum())
    if known.empty:
        return (Paragraph("No pair has a verdict both by grades and by photographs."),)
    unlike = known[known["verdict_graded"] != known["verdict_measured"]]
    named = "; ".join(
        f"{row.overlay} over {row.base} ({row.verdict_graded} by grades, {row.verdict_measured} "
        "by photographs)"
        for row in unlike.head(6).itertuples()
    )
    rest = f" They differ on {named}." if named else ""
    return (
        Paragraph(
            f"{counted(len(known), 'pair has', 'pairs have')} a verdict both by grades and by "
            f"photographs; it is the same for {same}.{rest}"
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
    spreads = pd.DataFrame(
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
                f"A linear mixed model (residual maximum likelihood) of {results.nobs} "
                f"measurements: {results.formula}. {prior}"
            ),
            table_of(f"{fit.measure}: effects", effects),
            table_of(f"{fit.measure}: what else varies", spreads),
            *left_out,
        ),
    )
