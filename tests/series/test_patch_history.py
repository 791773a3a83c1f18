"""The joined table: the right rows, the right counts, lost patches out and listed."""

from dataclasses import replace

from kit.series import losses, observations
from kit.series.median_grades import middle_grades


def test_one_row_a_grade_with_its_recipe(fired):
    seen = observations(fired)
    assert len(seen) == 8 * 4 * 3 * 2
    row = seen[(seen["patch"] == "T3-2") & (seen["firings"] == 2)].iloc[0]
    assert (row["base"], row["base_family"]) == ("Plaster White", "unleaded")
    assert (row["overlay"], row["overlay_family"]) == ("Ferry Blue", "leaded")
    assert (row["base_mesh"], row["mesh"]) == (80, 80)


def test_a_late_patch_has_been_fired_less_often(fired):
    late = fired.patches["before_firing"].mask(fired.patches["patch"] == "T1-1", 2)
    grades = fired.grades[~((fired.grades["patch"] == "T1-1") & (fired.grades["firing"] == 1))]
    seen = observations(
        replace(fired, patches=fired.patches.assign(before_firing=late), grades=grades)
    )
    assert set(seen.loc[seen["patch"] == "T1-1", "firings"]) == {1, 2}


def test_a_spoiled_tile_is_out_from_that_firing_on_and_listed(fired):
    hit = (fired.firings["tile"] == 2) & (fired.firings["firing"] == 2)
    spoiled = replace(
        fired, firings=fired.firings.assign(accident=hit.map({True: "chipped", False: ""}))
    )
    seen = observations(spoiled)
    assert set(seen.loc[seen["tile"] == 2, "firing"]) == {1}
    lost = losses(spoiled)
    assert list(lost["patch"]) == ["T2-1", "T2-2", "T2-3", "T2-4"]
    assert set(lost["reason"]) == {"chipped"}


def test_a_spoiled_patch_is_out_altogether(fired):
    hit = fired.patches["patch"] == "T4-1"
    spoiled = replace(
        fired, patches=fired.patches.assign(accident=hit.map({True: "mis-sifted", False: ""}))
    )
    assert "T4-1" not in set(observations(spoiled)["patch"])
    assert list(losses(spoiled)["reason"]) == ["mis-sifted"]


def test_a_tile_spoiled_twice_is_out_from_the_first_time(fired):
    hit = (fired.firings["tile"] == 2) & (fired.firings["firing"] >= 2)
    spoiled = replace(
        fired, firings=fired.firings.assign(accident=hit.map({True: "chipped", False: ""}))
    )
    seen = observations(spoiled)
    assert set(seen.loc[seen["tile"] == 2, "firing"]) == {1}
    assert set(losses(spoiled)["lost_from"]) == {2.0}


def test_colours_left_out_are_not_in_stock(fired):
    less = replace(fired, settings=replace(fired.settings, leave_out=("Ferry Blue",)))
    assert "Ferry Blue" in set(fired.stock["colour"])
    assert list(less.stock["colour"]) == ["Attic Rose", "Plaster White", "Pond Green"]


def test_the_middle_of_three_grades_is_not_drawn_by_the_odd_one(fired):
    seen = observations(fired)
    one = seen[(seen["patch"] == "T3-2") & (seen["firing"] == 2)].iloc[:1]
    three = one.loc[one.index.repeat(3)].assign(grader=["A", "B", "C"], spread=[0, 1, 4])
    row = middle_grades(three, "spread").iloc[0]
    assert (row["grade"], row["low"], row["high"], row["graders"]) == (1.0, 0.0, 4.0, 3)
