"""How it was done, for the curious."""

import pandas as pd

from kit.model import LEARNED, PICTURED, ScaleFit
from kit.report.analysis import Analysis
from kit.report.findings.finding import minimum_data
from kit.report.page.document import (
    Block,
    Bullets,
    Fold,
    Formula,
    Paragraph,
    Point,
    Section,
    TableBlock,
    table_of,
)
from kit.series import Scale
from kit.wording import SOURCE_NAMES, counted

SOURCES = (
    Point(
        "McCullagh (1980), Regression models for ordinal data, Journal of the Royal Statistical "
        "Society B 42.",
        "Grades as cuts on a scale behind them:",
    ),
    Point(
        "Tutz and Hennevogl (1996), Random effects in ordinal regression models, Computational "
        "Statistics and Data Analysis 22.",
        "Colours, tiles and graders as random effects:",
    ),
    Point(
        "Pinheiro and Bates (1995), Approximations to the log-likelihood function in the nonlinear "
        "mixed-effects model, Journal of Computational and Graphical Statistics 4.",
        "The Laplace approximation:",
    ),
    Point(
        "Chung, Rabe-Hesketh, Dorie, Gelman and Liu (2013), A nondegenerate penalized likelihood "
        "estimator for variance parameters in multilevel models, Psychometrika 78.",
        "Keeping a source of variation off zero:",
    ),
)


def method(analysis: Analysis) -> Section:
    """Explain the plan and the model, with the formulae folded away."""
    blocks: list[Block | Section] = [
        Paragraph(
            "A tile carries several patches, so they share its luck: its base coat, its place in "
            "the heat. A patch is graded after every firing, so those grades belong together too. "
            "The model knows this. It lets every colour, pair, tile, patch and grader lean a "
            "little its own way, and asks what is left that families, firings, sifters and coats "
            "explain. A colour that was seen on few patches is taken to be much like its family "
            "until it has shown otherwise."
        ),
        *_learned(analysis),
    ]
    for scale in analysis.series.settings.scales:
        fit = analysis.fits.by_scale.get(scale.name)
        if fit:
            blocks.append(_of_scale(analysis, scale, fit))
        elif scale in analysis.scales:
            blocks.append(Paragraph(f"{scale.title}: {analysis.fits.missing[scale.name]}"))
    blocks.append(Paragraph(minimum_data()))
    blocks.append(Fold("Published sources", (Bullets(SOURCES),)))
    return Section("method", "How it was done, for the curious", tuple(blocks))


def _learned(analysis: Analysis) -> tuple[Block, ...]:
    """What was taken over from earlier series; nothing where the series starts afresh."""
    learned = [fit.learned for fit in analysis.fits.by_scale.values() if fit.learned is not None]
    if not learned:
        return ()
    return (Paragraph(LEARNED), Bullets(tuple(Point(one.sentence) for one in learned)))


def formula_of(fit: ScaleFit) -> Formula:
    """Write the model of a scale out, with the terms this series can carry."""
    groups = " + ".join(SOURCE_NAMES[name].letter for name in _of_patches(fit))
    fixed = fit.results.formula.split("~", 1)[1].strip()
    return Formula(
        "P(grade ≤ k) = logistic(cut[k] − η)\n"
        f"{_line_of(fit)}"
        f"η = fixed + {groups}\n"
        f"fixed: {fixed}\n"
        "each u ~ Normal(0, sd²), a sd for each kind of u"
    )


def _fitted_to(analysis: Analysis, fit: ScaleFit) -> str:
    """Count the grades, and say where fewer were used than there are gradings."""
    used, given = len(fit.frame), len(analysis.observations)
    blank = f" (of {given} gradings {given - used} left this score blank)" if used < given else ""
    beside = f" and {counted(len(fit.measured), 'measurement')}" if len(fit.measured) else ""
    return f"{used} grades{blank}{beside}"


def _line_of(fit: ScaleFit) -> str:
    """The line of the formula that says what a photograph measures; '' without any."""
    if fit.measured.empty:
        return ""
    return f"{fit.line.on} = a + b η + what a photograph is off by\n"


def _link(fit: ScaleFit) -> tuple[Paragraph, ...]:
    """The line that carries what photographs measured to the graders' scale."""
    if fit.measured.empty:
        return ()
    line = fit.line
    return (
        Paragraph(
            f"What photographs measured, {line.unit}, follows the line {line.constant:.2f} + "
            f"{line.slope:.2f} η. A measurement is off by {line.off:.2f} beside its known error, "
            f"as a standard deviation (the usual distance from the line). {line.ends}"
        ),
    )


def _of_scale(analysis: Analysis, scale: Scale, fit: ScaleFit) -> Fold:
    told = [Point(reason) for reason in (*fit.dropped, *analysis.fits.warned[scale.name])]
    blocks: tuple[Block, ...] = (
        formula_of(fit),
        Paragraph(
            f"Fitted to {_fitted_to(analysis, fit)} by the Laplace approximation. "
            f"{'' if fit.results.converged else 'The best fit was not reached. '}"
            f"{fit.prior_sentence}"
        ),
        _estimates(scale, fit),
        _deviations(scale, fit),
        *_link(fit),
        *((Paragraph("What the model leaves out or cannot tell:"),) if told else ()),
        *((Bullets(tuple(dict.fromkeys(told))),) if told else ()),
    )
    return Fold(f"{scale.title}: formula and estimates", blocks)


def _estimates(scale: Scale, fit: ScaleFit) -> TableBlock:
    results = fit.results
    terms = results.thresholds.index.append(results.effects.index)
    interval = results.conf_int(confidence=0.9).loc[terms]
    frame = pd.DataFrame(
        {
            "Term": [_cut_words(name) for name in terms],
            "Estimate (logits)": results.params[terms].to_numpy(),
            "Standard error": results.bse[terms].to_numpy(),
            "Low (90 %)": interval["low"].to_numpy(),
            "High (90 %)": interval["high"].to_numpy(),
        }
    )
    return table_of(f"{scale.title}: cuts and effects", frame)


def _cut_words(name: str) -> str:
    below, bar, above = name.partition("|")
    return f"cut between grades {below} and {above}" if bar else name


def _of_patches(fit: ScaleFit) -> dict[str, int]:
    """How many levels each source of variation has, but for what only photographs have."""
    return {name: size for name, size in fit.results.group_sizes.items() if name != PICTURED}


def _deviations(scale: Scale, fit: ScaleFit) -> TableBlock:
    sizes = _of_patches(fit)
    frame = pd.DataFrame(
        {
            "Source": list(sizes),
            "Standard deviation (logits)": [fit.results.random_sd[name] for name in sizes],
            "How many": list(sizes.values()),
        }
    )
    return table_of(f"{scale.title}: what else varies", frame)
