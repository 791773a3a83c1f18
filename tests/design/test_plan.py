"""From a question to tiles, patches and the order of work."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.design import Plan, plan
from kit.design.layout import balanced_positions, deal_sessions, number_tiles
from kit.errors import Misuse
from kit.series import DEFAULT_FACTORS, Series, Settings, Wish, new_series, read_series

COLOURS = pd.DataFrame(
    [
        ("Ash", "leaded"), ("Brine", "leaded"), ("Cedar", "leaded"), ("Dusk", "leaded"),
        ("Elm", "unleaded"), ("Fog", "unleaded"), ("Gorse", "unleaded"), ("Heath", "unleaded"),
    ],
    columns=["colour", "family"],
).assign(opacity="opaque", grain="fine", notes="").astype("str")  # fmt: skip

SETTINGS = Settings(
    title="A test",
    question="Which things matter?",
    ask="which things matter",
    seed=3,
    tiles=12,
    patches_per_tile=4,
    tiles_per_session=5,
    factors={**DEFAULT_FACTORS, "mesh": (80, 100), "coat_weight": (30.0, 50.0)},
    wishes=(Wish("Ash", "Elm"), Wish("Ash", "Fog"), Wish("Gorse", "Brine")),
)
FAMILY = COLOURS.set_index("colour")["family"]


def series(settings: Settings) -> Series:
    return new_series("trial", settings, COLOURS)


@pytest.fixture(
    scope="module", params=["which things matter", "which pairs work", "is this pair safe"]
)
def planned(request: pytest.FixtureRequest) -> Plan:
    return plan(series(replace(SETTINGS, ask=request.param)))


@pytest.fixture(scope="module")
def things() -> Plan:
    return plan(series(SETTINGS))


def joined(planned: Plan) -> pd.DataFrame:
    return planned.patches.merge(planned.tiles[["tile", "base", "session"]], on="tile")


def test_a_plan_passes_the_checks_of_a_series(planned: Plan, tmp_path: Path) -> None:
    again = read_series(planned.series.write(tmp_path / "trial"))
    pd.testing.assert_frame_equal(again.patches, planned.patches, check_dtype=False)


def test_tiles_patches_and_sessions_are_as_many_as_asked(planned: Plan) -> None:
    assert list(planned.tiles["tile"]) == list(range(1, 13))
    numbers = planned.patches.groupby("tile")["position"].agg(sorted).map(tuple)
    assert set(numbers) == {(1, 2, 3, 4)}
    assert planned.tiles["session"].value_counts().max() <= 5
    assert planned.tiles["session"].is_monotonic_increasing


def test_a_plan_says_what_it_is_and_what_it_cannot_tell(planned: Plan) -> None:
    assert planned.why.startswith("You asked")
    assert planned.limits and all(limit.endswith(".") for limit in planned.limits)
    assert "other recipes" in planned.describe()


def test_every_patch_is_sifted_once_and_after_its_base_is_fired(planned: Plan) -> None:
    order = planned.order
    sifted = order[order["action"] == "sift overlay"]
    assert sorted(sifted["patch"]) == sorted(planned.patches["patch"])
    for tile, steps in order.groupby("tile"):
        actions = list(zip(steps["action"], steps["firing"].fillna(-1), strict=True))
        back = ["prepare", "sift back", "fire", "pickle"]
        front = ["sift base", "fire"] * 2 + ["sift overlay"] * 4 + ["fire", "grade"] * 3
        assert [action for action, _ in actions] == back + front, tile
        assert [firing for action, firing in actions if action == "fire"] == [0, 0, 0, 1, 2, 3]
    assert (order.groupby("session")["step"].agg(list).map(lambda s: s == sorted(s))).all()


def test_all_base_coats_of_a_session_come_before_any_stencil(planned: Plan) -> None:
    for _, steps in planned.order.groupby("session"):
        last_base = steps.loc[steps["action"] == "sift base", "step"].max()
        assert last_base < steps.loc[steps["action"] == "sift overlay", "step"].min()


def test_a_tile_changes_its_sifter_at_most_once(things: Plan) -> None:
    sifted = things.order[things.order["action"] == "sift overlay"]
    changes = sifted.groupby("tile")["mesh"].agg(lambda mesh: (mesh.diff().fillna(0) != 0).sum())
    assert changes.max() <= 1


def test_colours_are_dealt_evenly_and_pairs_not_repeated(things: Plan) -> None:
    patches = joined(things)
    used = patches["overlay"].value_counts()
    for family in ("leaded", "unleaded"):
        own = used[used.index.map(FAMILY) == family]
        assert len(own) == 4
        assert own.max() - own.min() <= 1
    bases = things.tiles["base"].value_counts()
    assert bases.max() - bases.min() <= 1
    assert not (patches["base"] == patches["overlay"]).any()
    assert not patches.duplicated(["tile", "overlay"]).any()
    # With more patches than other colours of the family on a base, some pairs must come again.
    laid = patches.groupby([patches["base"], patches["overlay"].map(FAMILY)]).size()
    choice = {(b, f): (FAMILY.drop(b) == f).sum() for b in FAMILY.index for f in set(FAMILY)}
    unavoidable = sum(max(0, count - choice[pair]) for pair, count in laid.items())
    assert patches.duplicated(["base", "overlay"]).sum() <= unavoidable + 1


def test_family_and_recipe_are_balanced(things: Plan) -> None:
    patches = joined(things)
    cell = patches.groupby([patches["base"].map(FAMILY), patches["overlay"].map(FAMILY), "mesh"])
    assert cell.size().min() >= 5
    assert patches.groupby(["mesh", "position"]).size().between(5, 7).all()


def test_the_same_seed_gives_the_same_plan(things: Plan) -> None:
    again = plan(series(SETTINGS))
    pd.testing.assert_frame_equal(again.patches, things.patches)
    pd.testing.assert_frame_equal(again.order, things.order)
    other = plan(series(replace(SETTINGS, seed=4)))
    assert not other.patches.equals(things.patches)


def test_controls_lie_on_their_own_colour() -> None:
    patches = joined(plan(series(SETTINGS), controls=5))
    own = patches[patches["base"] == patches["overlay"]]
    assert len(own) == 5
    assert own["tile"].is_unique


def test_patches_may_go_on_before_different_firings() -> None:
    planned = plan(series(SETTINGS), firings="staggered")
    assert {1, 3} <= set(planned.patches["before_firing"]) <= {1, 2, 3}
    sifted = planned.order[planned.order["action"] == "sift overlay"].set_index("patch")["firing"]
    due = planned.patches.set_index("patch")["before_firing"]
    assert (sifted.loc[due.index] == due).all()


def test_each_firing_count_may_have_tiles_of_its_own() -> None:
    planned = plan(series(SETTINGS), firings="separate")
    fired = planned.order[planned.order["action"] == "fire"].groupby("tile")["firing"].max()
    assert {1, 3} <= set(fired) <= {1, 2, 3}
    assert fired.value_counts().loc[[1, 3]].min() >= 3


def test_a_regular_fraction_is_taken_where_it_fits() -> None:
    settings = replace(SETTINGS, tiles=4, patches_per_tile=4, tiles_per_session=4)
    planned = plan(series(settings))
    assert planned.kind == "fraction"
    patches = joined(planned)
    cell = [patches["base"].map(FAMILY), patches["overlay"].map(FAMILY), "mesh", "coat_weight"]
    assert list(patches.groupby(cell).size()) == [1] * 16


def test_a_pair_check_repeats_its_pairs_with_a_control_on_every_tile() -> None:
    planned = plan(series(replace(SETTINGS, ask="is this pair safe")))
    patches = joined(planned)
    tried = Counter(zip(patches["base"], patches["overlay"], strict=True))
    assert tried[("Ash", "Ash")] == (planned.tiles["base"] == "Ash").sum() == 6
    assert tried[("Ash", "Elm")] == tried[("Ash", "Fog")] == 9
    assert tried[("Gorse", "Brine")] == 18
    assert planned.tiles.groupby("session")["base"].nunique().min() == 2
    # Six tiles without a failure bound the failure rate at 1 - 0.05^(1/6) = 39 % (the exact
    # binomial limit of Clopper and Pearson 1934).
    assert "39\u00a0%" in planned.limits[0]


def test_colours_left_out_are_not_fired() -> None:
    planned = plan(series(replace(SETTINGS, leave_out=("Dusk", "Heath"))))
    used = set(planned.patches["overlay"]) | set(planned.tiles["base"])
    assert used == set(COLOURS["colour"]) - {"Dusk", "Heath"}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"ask": "why is it blue"}, "which things matter"),
        ({"patches_per_tile": 9}, "do not fit"),
        ({"tiles": 2, "tiles_per_session": 2, "patches_per_tile": 1}, "nearest possible"),
        ({"leave_out": ("Ash", "Brine", "Cedar", "Dusk")}, "none is in stock"),
        ({"factors": {k: v[:1] for k, v in DEFAULT_FACTORS.items()}}, "Nothing is varied"),
        ({"ask": "is this pair safe", "wishes": ()}, r"\[\[wish\]\]"),
        ({"ask": "is this pair safe", "wishes": (Wish("Ash", "Zinc"),)}, "Zinc"),
        ({"ask": "is this pair safe", "tiles": 1}, "at least 2 tiles"),
    ],
)
def test_the_impossible_is_refused_with_what_would_do(change: dict, told: str) -> None:
    with pytest.raises(Misuse, match=told):
        plan(series(replace(SETTINGS, **change)))


def test_a_plan_is_short_in_text_and_a_table_in_a_notebook(planned: Plan) -> None:
    assert repr(planned) == f"<Plan of trial: {planned.kind}, 12 tiles, 48 patches>"
    assert planned._repr_html_().count("<tr") == 12 + 2


def test_a_latin_square_is_found() -> None:
    # Four tiles with the same four overlays: each can meet each position once.
    patches = pd.DataFrame({"tile": np.repeat([1, 2, 3, 4], 4), "overlay": list("abcd") * 4})
    position = balanced_positions(patches, ["overlay"], np.random.default_rng(1))
    assert (pd.crosstab(patches["overlay"], position) == 1).all(axis=None)
    assert set(position.groupby(patches["tile"]).agg(sorted).map(tuple)) == {(1, 2, 3, 4)}


def test_one_patch_a_tile_has_one_position() -> None:
    patches = pd.DataFrame({"tile": [1, 2], "overlay": ["a", "b"]})
    assert list(balanced_positions(patches, ["overlay"], np.random.default_rng(1))) == [1, 1]


def test_each_kind_of_tile_is_spread_over_the_sessions() -> None:
    kinds = pd.Series(list("aaaabbbbcccc"), index=range(12))
    sessions = deal_sessions(kinds, 5, np.random.default_rng(2))
    assert sorted(sessions.unique()) == [1, 2, 3]
    assert sessions.value_counts().max() <= 5
    assert pd.crosstab(kinds, sessions).min(axis=None) >= 1


def test_tiles_are_numbered_session_by_session_and_shuffled_within() -> None:
    tiles = pd.Series(range(30))
    sessions = pd.Series(np.repeat([1, 2, 3], 10))
    numbers = number_tiles(tiles, sessions, np.random.default_rng(3))
    assert sorted(numbers[t] for t in range(10)) == list(range(1, 11))
    assert [numbers[t] for t in range(10)] != list(range(1, 11))
