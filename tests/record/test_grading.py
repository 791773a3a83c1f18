"""Grading: one patch at a time, saved at each answer, with an undo that keeps history."""

from itertools import groupby, product

import pandas as pd
import pytest

from kit.errors import Misuse
from kit.record import Grading, grading_order
from kit.series import read_series


@pytest.fixture
def grading(folder) -> Grading:
    return Grading(folder, "Ada", 2)


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


def test_each_answer_is_on_disk_at_once(folder, grading):
    grading.grade("spread", 3)
    (row,) = read_series(folder).grades.to_dict("records")
    assert (row["patch"], row["firing"], row["grader"], row["spread"]) == (
        grading.patches[0], 2, "Ada", 3,
    )  # fmt: skip
    firings = read_series(folder).firings
    assert firings["firing"].tolist() == [1, 2]


def test_it_moves_on_by_itself_when_the_last_scale_is_graded(grading):
    first, second = grading.patches[:2]
    grading.grade("pull_through", 0)
    assert grading.patch == first
    grading.grade("spread", 1)
    assert grading.patch == second


def test_a_patch_that_is_gone_back_to_stays_until_one_leaves_it(grading):
    first = grading.patch
    grading.grade("spread", 1)
    grading.grade("pull_through", 0)
    grading.back()
    grading.grade("spread", 2)
    assert grading.patch == first and grading.answers(first)["spread"] == 2
    grading.forward()
    assert grading.patch == grading.patches[1]


def test_it_comes_round_to_what_was_passed_over(grading):
    grading.forward()
    for _ in grading.patches[1:]:
        grading.grade("spread", 1)
        grading.grade("pull_through", 1)
    assert grading.patch == grading.patches[0]
    assert grading.count_done == len(grading.patches) - 1


def test_it_goes_on_where_it_stopped(folder, grading):
    for _ in range(2):
        grading.grade("spread", 1)
        grading.grade("pull_through", 0)
    later = Grading(folder, "Ada", 2)
    assert later.place == 3 and later.count_done == 2
    later.back()
    assert later.answers(later.patch) == {"spread": 1, "pull_through": 0, "note": None}


def test_an_answer_that_could_not_be_saved_is_not_counted(grading, monkeypatch):
    def full(*_args: object) -> None:
        raise OSError(28, "No space left on device")

    grading.grade("spread", 1)
    monkeypatch.setattr("kit.series.disk.tempfile.mkstemp", lambda *_a, **_k: full())
    with pytest.raises(Misuse, match="No space left"):
        grading.grade("spread", 4)
    assert grading.answers(grading.patch)["spread"] == 1


def test_undo_takes_the_last_answer_back_and_keeps_its_history(folder, grading):
    grading.grade("spread", 0)
    grading.grade("spread", 4)
    grading.undo()
    assert grading.answers(grading.patch)["spread"] == 0
    grading.undo()
    series = read_series(folder)
    assert series.grades.empty
    assert not grading.can_undo
    history = series.corrections[["was", "now", "source"]].values.tolist()
    assert history == [
        ["0", "4", "form"],
        ["4", "0", "form, taken back"],
        ["0", "", "form, taken back"],
    ]


def test_undo_goes_back_to_the_patch_it_undoes(grading):
    first = grading.patch
    grading.grade("spread", 2)
    grading.grade("pull_through", 2)
    assert grading.patch != first
    grading.undo()
    assert grading.patch == first
    assert grading.answers(first)["pull_through"] is None


def test_a_note_and_an_accident_are_kept_and_a_lost_patch_counts_as_done(folder, grading):
    first = grading.patch
    grading.note("  =odd\n gloss ")
    grading.lost("chipped")
    series = read_series(folder)
    assert series.grades["note"].tolist() == ["=odd gloss"]
    assert series.patches.set_index("patch")["accident"][first] == "chipped"
    assert grading.count_done == 1 and grading.patch == grading.patches[1]


def test_an_accident_keeps_the_firing_it_was_first_seen_at_and_undo_takes_both_back(folder):
    def told():
        row = read_series(folder).patches.set_index("patch").loc[first]
        return row["accident"], None if pd.isna(row["lost_at"]) else row["lost_at"]

    grading, second = Grading(folder, "Ada", 1), Grading(folder, "Ada", 2)
    first = grading.patch
    second.go_to(first)
    second.lost("chipped")
    assert told() == ("chipped", 2) and second.accident(first) == "chipped"
    grading.refresh()
    assert grading.accident(first) == "" and not grading.is_done(first)
    grading.lost("")
    assert told() == ("chipped", 2)
    assert first in Grading(folder, "Ben", 1).patches
    assert first not in Grading(folder, "Ben", 2).patches
    third = Grading(folder, "Ada", 3)
    assert first not in third.patches
    third.patch = first
    third.lost("cracked")
    assert told() == ("cracked", 2)
    third.undo()
    second.undo()
    assert told() == ("", None)
    second.lost("mis-sifted")
    assert told() == ("mis-sifted", None)
    second.go_to(first)
    second.lost("cracked")
    assert told() == ("cracked", 2)
    second.go_to(first)
    second.lost("")
    assert told() == ("", None)


def test_only_known_graders_patches_and_steps_are_taken(folder):
    with pytest.raises(Misuse, match="Did you mean 'Ben'"):
        Grading(folder, "Benn", 1)
    with pytest.raises(Misuse, match="no patches to grade after firing 8"):
        Grading(folder, "Ada", 8)
    grading = Grading(folder, "Ada", 1)
    for scale, grade in (("spread", 7), ("gloss", 1)):
        with pytest.raises(Misuse, match="not a step"):
            grading.grade(scale, grade)
    with pytest.raises(Misuse, match="not among those to grade"):
        grading.go_to("T9-9")
    assert read_series(folder).grades.empty
