"""The joined table: the right rows, the right counts, lost patches out and listed."""

from dataclasses import replace

from kit.series import losses, observations


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
