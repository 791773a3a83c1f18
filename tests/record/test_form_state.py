"""The form: one patch at a time, saved at each tap, resumable, with an undo that keeps history."""

from itertools import groupby, product

import pytest

from kit.errors import Misuse
from kit.record import Grading, GradingForm, grading_order
from kit.series import read_series


@pytest.fixture
def form(folder) -> GradingForm:
    return GradingForm(folder, "Ada", 2)


def tap(form, scale: str, grade: int) -> None:
    form.scale_buttons[scale][grade].click()


def test_patches_come_in_the_graders_own_blind_order(folder, series):
    ada, ben = Grading(folder, "Ada", 2), Grading(folder, "Ben", 2)
    assert list(ada.patches) == grading_order(series, 2, "Ada")
    assert sorted(ada.patches) == sorted(ben.patches)
    assert ada.patches != ben.patches


def test_each_tile_is_picked_up_once_and_its_patches_are_shuffled(plan):
    """As many runs of equal tiles as there are tiles; over the firings, more than one order."""
    series = plan(graders=("Ada", "Ben"))
    within, tiles = set(), set()
    for firing, grader in product((1, 2, 3), ("Ada", "Ben")):
        order = [patch.split("-") for patch in grading_order(series, firing, grader)]
        runs = [(tile, tuple(p for _, p in own)) for tile, own in groupby(order, lambda s: s[0])]
        assert len(runs) == 4
        tiles.add(tuple(tile for tile, _ in runs))
        within |= {places for _, places in runs}
        # Tiles 1 and 2 are made in the first session, 3 and 4 in the second.
        assert {tile for tile, _ in runs[:2]} == {"T1", "T2"}
    assert len(tiles) > 1 and len(within) > 3


def test_each_tap_is_on_disk_at_once(folder, form):
    tap(form, "spread", 3)
    (row,) = read_series(folder).grades.to_dict("records")
    assert (row["patch"], row["firing"], row["grader"], row["spread"]) == (
        form.grading.patches[0], 2, "Ada", 3,
    )  # fmt: skip
    firings = read_series(folder).firings
    assert firings["firing"].tolist() == [1, 2]


def test_it_goes_on_where_it_stopped(folder, form):
    for _ in range(2):
        tap(form, "spread", 1)
        tap(form, "pull_through", 0)
        form.next_button.click()
    later = GradingForm(folder, "Ada", 2)
    assert later.grading.place == 3 and later.grading.count_done == 2
    later.back_button.click()
    assert later.scale_buttons["spread"][1].style.font_weight == "bold"
    assert "Patch 2 of 12; 2 done by Ada" in later.heading.value


def test_a_tap_that_could_not_be_saved_says_so(form, monkeypatch):
    def full(*_args: object) -> None:
        raise OSError(28, "No space left on device")

    tap(form, "spread", 1)
    assert "All is saved" in form.message.value
    monkeypatch.setattr("kit.series.disk.tempfile.mkstemp", lambda *_a, **_k: full())
    tap(form, "spread", 4)
    assert "Not saved" in form.message.value and "No space left" in form.message.value
    assert form.scale_buttons["spread"][1].style.font_weight == "bold"


def test_undo_takes_the_last_tap_back_and_keeps_its_history(folder, form):
    tap(form, "spread", 0)
    tap(form, "spread", 4)
    form.undo_button.click()
    assert form.grading.answers(form.grading.patch)["spread"] == 0
    form.undo_button.click()
    series = read_series(folder)
    assert series.grades.empty
    assert form.undo_button.disabled
    history = series.corrections[["was", "now", "source"]].values.tolist()
    assert history == [
        ["0", "4", "form"],
        ["4", "0", "form, taken back"],
        ["0", "", "form, taken back"],
    ]


def test_undo_goes_back_to_the_patch_it_undoes(form):
    first = form.grading.patch
    tap(form, "spread", 2)
    form.next_button.click()
    form.undo_button.click()
    assert form.grading.patch == first


def test_a_note_and_an_accident_are_kept_and_a_lost_patch_counts_as_done(folder, form):
    form.note.value = "  =odd\n gloss "
    form.reason.value = "chipped"
    series = read_series(folder)
    assert series.grades["note"].tolist() == ["=odd gloss"]
    lost = series.patches.set_index("patch")["accident"]
    assert lost[form.grading.patch] == "chipped"
    assert form.grading.count_done == 1


def test_the_recipe_is_hidden_when_grading_is_blind(plan, form, tmp_path):
    assert "over" not in form.heading.value
    shown = plan(blind=False).write(tmp_path / "shown" / "trial")
    assert " over " in GradingForm(shown, "Ada", 1).heading.value


def test_names_are_text_in_the_form(plan, tmp_path):
    from dataclasses import replace

    series = plan(blind=False)
    nasty = "<img src=x onerror=alert(1)>"
    series = replace(
        series,
        colours=series.colours.replace({"colour": {"Fog": nasty}}),
        tiles=series.tiles.replace({"base": {"Fog": nasty}}),
        patches=series.patches.replace({"overlay": {"Fog": nasty}}),
    )
    form = GradingForm(series.write(tmp_path / "n" / "trial"), nasty, 1)
    values = form.heading.value
    while form.grading.place < len(form.grading.patches):
        form.next_button.click()
        values += form.heading.value
    assert "<img" not in values and "&lt;img" in values


def test_buttons_are_large_enough_for_a_finger(form):
    """At least 9 mm: 44 CSS px, WCAG 2.2 success criterion 2.5.5 (target size, enhanced)."""
    buttons = [b for row in form.scale_buttons.values() for b in row]
    for button in [*buttons, form.undo_button, form.next_button, form.back_button]:
        assert int(button.layout.min_height.removesuffix("px")) >= 44


def test_only_known_graders_and_steps_are_taken(folder):
    with pytest.raises(Misuse, match="Did you mean 'Ben'"):
        Grading(folder, "Benn", 1)
    with pytest.raises(Misuse, match="no patches to grade after firing 8"):
        Grading(folder, "Ada", 8)
    with pytest.raises(Misuse, match="not a step"):
        Grading(folder, "Ada", 1).grade("spread", 7)
