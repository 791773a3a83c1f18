"""The small forms by which a notebook writes into a series."""

from kit.record import grading_picker, plan_saver
from kit.series import new_series, read_series


def test_plan_is_written_by_a_tap_and_never_over_another(series, tmp_path):
    folder = new_series("fresh", series.settings, series.colours).write(tmp_path / "fresh")
    button, told = plan_saver(folder, series).children
    assert read_series(folder).tiles.empty
    button.click()
    assert "Written." in told.value
    assert len(read_series(folder).tiles) == len(series.tiles)
    assert "already" in plan_saver(folder, series).value


def test_grading_form_follows_the_pick(folder):
    picker = grading_picker(folder)
    (grader, firing), place = picker.children[0].children, picker.children[1]
    assert firing.value == 1
    assert place.children[0].grading.firing == 1
    grader.value = "Ben"
    assert place.children[0].grading.grader == "Ben"
    grader.value = "Nobody"
    assert "not among the graders" in place.children[0].value
