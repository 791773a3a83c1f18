"""What the notebooks show, and the small forms in them."""

import pytest

from kit.design import plan
from kit.errors import Misuse
from kit.report import next_picker, pair_picker, plan_lesson, recorded, scale_lesson
from kit.report.page.html import fragment
from kit.series import new_series


def unfired(series):
    return new_series(series.name, series.settings, series.colours)


def test_lesson_teaches_from_the_tiles_of_the_series(analysis):
    lesson = scale_lesson(analysis, "spread")
    assert [section.name for section in lesson.sections] == [
        "seen", "luck", "ruler", "families", "factors", "colours", "variation", "foretold",
        "tiles", "formula",
    ]  # fmt: skip
    luck = fragment(lesson["luck"])
    assert "It carries 4 patches, graded by 2 people after 3 firings: 24 grades." in luck
    assert "logistic(cut[k] − η)" in fragment(lesson["formula"])


def test_unknown_scale_is_named_with_the_choices(analysis):
    with pytest.raises(Misuse, match="Choose one of: spread, pull_through"):
        scale_lesson(analysis, "gloss")


def test_picking_a_pair_tells_both_orders(analysis):
    picker = pair_picker(analysis)
    (overlay, base), told = picker.children[0].children, picker.children[1]
    overlay.value, base.value = "Frost", "Ember"
    assert "Frost over Ember:" in told.value
    assert "Ember over Frost:" in told.value
    row = analysis.pairs.query("overlay == 'Frost' and base == 'Ember'").iloc[0]
    assert row["verdict"] in told.value


def test_picking_more_tiles_suggests_more_patches(analysis):
    picker = next_picker(analysis)
    tiles, told = picker.children
    tiles.value = 1
    assert told.value.count("<tr>") == 1 + 4


def test_plan_lesson_says_what_it_tells_and_saves(fired):
    lesson = plan_lesson(plan(unfired(fired)))
    assert "9 times in 10" in fragment(lesson["precision"])
    assert "This plan takes 48 patches on 12 tiles" in fragment(lesson["saving"])
    assert "First steps" in fragment(lesson["order"])


def test_record_counts_what_is_there(fired):
    told = fragment(recorded(fired))
    count = len(fired.grades.query("grader == 'Ada' and firing == 1"))
    assert "Graded by Ada" in told
    assert f">{count}</td>" in told
