"""What the photographs say in the report: grades held against millimetres, pairs judged by them."""

from dataclasses import replace
from io import BytesIO

import numpy as np
import pandas as pd
import pytest

from kit.model import VERDICTS
from kit.report import analyse
from kit.report.figures.measured_charts import measurements_by_firing
from kit.report.page.html import fragment
from kit.report.sections.composition import whole_report
from kit.report.sections.photographs import measured, measured_rule
from kit.report.written_files import photographed_pair_files
from kit.series import SPREAD, Verdict

MM_A_STEP = 0.4


def photographed(fired, patches=None):
    """A series with measurements that follow its grades: 0.4 mm and 6 points a step."""
    grades = fired.grades.groupby(["patch", "firing"])[["spread", "pull_through"]].mean()
    grades = grades.astype(float).reset_index()
    if patches is not None:
        grades = grades[grades["patch"].isin(fired.patches["patch"][:patches])]
    random = np.random.default_rng(3)
    table = fired.measurements.reindex(range(len(grades)))
    table = table.assign(
        patch=grades["patch"].to_numpy(),
        firing=grades["firing"].to_numpy(),
        spread_mm=MM_A_STEP * grades["spread"].to_numpy() + random.normal(0, 0.02, len(grades)),
        spread_mm_se=0.05,
        pull_through_share=0.01 + 0.06 * grades["pull_through"].to_numpy(),
    )
    text = {"picture": "t.jpg", "picture_sha256": "0", "quality": "good", "remark": ""}
    return replace(fired, measurements=table.assign(accepted="", **text))


@pytest.fixture(scope="module")
def told(fired):
    return analyse(photographed(fired))


@pytest.fixture(scope="module")
def section(told):
    return measured(told)


def test_series_without_photographs_has_no_such_part(analysis):
    assert measured(analysis) is None


def test_a_step_and_both_graders_are_told(section):
    said = fragment(section)
    assert "A step of spread is about 0.3" in said
    assert "For Ada alone" in said
    assert "Ada and Ben" in said or "milder than" in said


def test_every_picture_states_its_finding_and_can_be_read_aloud(section):
    pictures = {picture.name: picture for picture in section.pictures()}
    assert list(pictures) == [
        "measured-firings-spread", "grades-measured-spread", "measured-firings-pull-through",
        "grades-measured-pull-through", "pair-chart-measured",
    ]  # fmt: skip
    assert all(picture.alt for picture in pictures.values())
    assert pictures["grades-measured-spread"].title.startswith("One step of spread is about 0.3")
    assert "percentage points" in pictures["grades-measured-pull-through"].title


def test_the_firings_picture_says_what_the_table_says(told):
    pictures = told.photographs.measurements
    last = pictures[pictures["firings"] == pictures["firings"].max()]
    means = last.groupby(["overlay_family", "base_family"])["spread_mm"].mean()
    overlay, base = means.idxmax()
    picture = measurements_by_firing(pictures, "spread_mm", SPREAD)
    assert picture.title.startswith(f"{overlay.capitalize()} over {base} measured most")
    assert f"{means.max():.2f} mm" in picture.title


def test_the_whole_report_has_the_part_when_there_are_photographs(told):
    titles = [getattr(part, "title", "") for part in whole_report(told).parts()]
    assert "What the photographs say" in titles


def test_wall_chart_and_table_can_be_made_from_photographs(told):
    files = photographed_pair_files(told)
    assert files["wall-chart-measured.pdf"].startswith(b"%PDF")
    table = pd.read_csv(BytesIO(files["pairs-measured.csv"]))
    assert len(table) == len(told.pairs)
    assert list(table.columns) == [*told.pairs.columns, "chance_in_100", "headline"]
    assert set(table["verdict"]) <= set(VERDICTS)


def test_the_limits_of_the_rule_are_told_with_inches():
    said = measured_rule(Verdict(fine_edge_mm=0.8, fine_edge_share=0.2))
    assert "0.8 mm (0.031 in)" in said
    assert "20\u00a0%" in said


def test_a_handful_of_measurements_says_what_is_missing(told):
    one = replace(told.series, measurements=told.series.measurements.iloc[:1])
    said = fragment(measured(replace(told, series=one)))
    assert "at least 6 are needed" in said
    assert "No pair can be judged yet" in said


def test_struck_out_measurements_do_not_count(told):
    struck = replace(told.series, measurements=told.series.measurements.assign(accepted="no"))
    assert measured(replace(told, series=struck)) is None


def test_a_sentence_says_what_the_photographs_add(told, section):
    said = fragment(section)
    with_them, without = len(told.pairs_found.known), len(told.pairs_by_grades.known)
    assert f"they give a verdict on {with_them} of" in said
    assert f"the grades alone on {without}." in said
    alone = analyse(told.series, photographs=False)
    assert [p.headline for p in alone.pairs_found] == [p.headline for p in told.pairs_by_grades]


def test_a_table_counts_verdicts_by_source(told, section):
    said = fragment(section)
    assert "What each source adds: pairs by verdict" in said
    for source in ("The grades alone", "The photographs alone, by millimetres", "Both together"):
        assert f"{source}</th>" in said


def test_a_setting_judges_by_the_grades_alone(told):
    settings = told.series.settings
    verdict = replace(settings.verdict, photographs=False)
    aside = analyse(replace(told.series, settings=replace(settings, verdict=verdict)))
    assert all(fit.measured.empty for fit in aside.fits.by_scale.values())
    assert [p.headline for p in aside.pairs_found] == [p.headline for p in told.pairs_by_grades]
    assert "the grades count alone, as photographs = false" in fragment(measured(aside))
