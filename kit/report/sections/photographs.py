"""What the photographs say, beside what the graders say."""

from typing import Any

from kit.errors import Misuse
from kit.model import MEASURE_OF, GradeMeaning, grades_against_measurements
from kit.report.analysis import Analysis
from kit.report.figures.grades_measured import grades_and_measurements
from kit.report.figures.measured_firings import measurements_by_firing
from kit.report.page.document import Block, Bullets, Paragraph, Point, Section, TableBlock, table_of
from kit.report.sections.photographed_pairs import measured_pairs, what_they_add
from kit.series import Scale
from kit.wording import amount, between, counted

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
