"""What the photographs say, beside what the graders say."""

import pandas as pd

from kit.model import LinearMixedModel, LinearResults
from kit.photo import join_measurements
from kit.report.analysis import Analysis
from kit.report.document import Bullets, Paragraph, Point, Section
from kit.report.figures.measured import grades_and_millimetres
from kit.report.words import counted
from kit.series import SPREAD

_FEWEST = 12
_CONFIDENCE = 0.9


def measured(analysis: Analysis) -> Section | None:
    """Hold grades against millimetres; None when nothing was measured."""
    pictures = join_measurements(analysis.series)
    if pictures.empty:
        return None
    title = "What the photographs say"
    size = counted(pictures["patch"].nunique(), "patch was", "patches were")
    opening = Paragraph(f"{size} measured in photographs, {counted(len(pictures), 'time')} in all.")
    both = graded_and_measured(analysis, pictures)
    if len(both) < _FEWEST or both["grade"].nunique() < 2:
        few = Paragraph("Too few of them were graded to say what a grade is in millimetres.")
        return Section("measured", title, (opening, few))
    results = fit_steps(both)
    steps_per_mm = float(results.params["spread_mm"])
    low = float(results.conf_int(1 - _CONFIDENCE).loc["spread_mm", "low"])
    if low <= 0:
        unlike = Paragraph(
            "The grades do not rise with the measured spread. Look at the pictures of what was "
            "measured, and strike out in measurements.csv what you doubt."
        )
        return Section("measured", title, (opening, unlike))
    picture = grades_and_millimetres(both, SPREAD, 1 / steps_per_mm)
    points = tuple(Point(sentence) for sentence in grader_sentences(results, min(both["grader"])))
    graders = (Paragraph("Does a grade mean the same to each?"), Bullets(points)) if points else ()
    return Section("measured", title, (opening, picture, *graders))


def graded_and_measured(analysis: Analysis, pictures: pd.DataFrame) -> pd.DataFrame:
    """Pair every grade for spread with the measurement of its patch after its firing."""
    graded = analysis.observations[analysis.observations["spread"].notna()]
    grades = graded[["patch", "firing", "grader"]].assign(grade=graded["spread"].astype(float))
    return grades.merge(pictures[["patch", "firing", "spread_mm"]], on=["patch", "firing"])


def fit_steps(both: pd.DataFrame) -> LinearResults:
    """Fit the grade by the millimetres and by who graded, patches varying."""
    several = len(set(both["grader"])) > 1
    formula = "grade ~ spread_mm + grader" if several else "grade ~ spread_mm"
    return LinearMixedModel(formula, both, groups=["patch"]).fit(prior="weak")


def grader_sentences(results: LinearResults, first: str) -> list[str]:
    """Say how each grader grades what measures the same, against the first by name."""
    interval = results.conf_int(1 - _CONFIDENCE)
    said = []
    for name, value in results.params.items():
        if not str(name).startswith("grader"):
            continue
        grader = str(name).split("[")[1].rstrip("]").removeprefix("T.")
        low, high = interval.loc[name, "low"], interval.loc[name, "high"]
        size = f"({low:+.1f} to {high:+.1f} of a step)".replace("-", "−")
        if low <= 0 <= high:
            said.append(f"{grader} and {first} grade what measures the same alike {size}.")
        else:
            way = "higher" if value > 0 else "lower"
            much = f"{abs(value):.1f} of a step {way} than {first}"
            said.append(f"{grader} grades what measures the same {much} {size}.")
    return said
