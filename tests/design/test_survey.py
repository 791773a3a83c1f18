"""Pair surveys against block designs from the literature and the mixed-model equations."""

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from kit.design import StandardDeviations, survey
from kit.design.surveys.average_variance import CRITERIA
from kit.design.surveys.pair_numbers import fired_field, unfired_field
from kit.design.surveys.patch_exchange import Bench, SurveySearch, View
from kit.errors import Misuse

ONLY_OVERLAYS = StandardDeviations(base=0, overlay=2, pair=0, tile=20, patch=0, grading=1, family=0)
"""Tiles are blocks and overlays are treatments, and nothing else matters."""


def stock(leaded: int, unleaded: int) -> pd.DataFrame:
    names = [f"L{i}" for i in range(leaded)] + [f"U{i}" for i in range(unleaded)]
    return pd.DataFrame({"colour": names, "family": ["leaded"] * leaded + ["unleaded"] * unleaded})


def variances(plan: pd.DataFrame, colours: pd.DataFrame, sds: StandardDeviations) -> pd.DataFrame:
    field = fired_field(unfired_field(colours, sds), plan, sds)
    pairs = field.pairs.assign(variance=np.diag(field.covariance))
    return pairs[pairs["base"] != pairs["overlay"]]


def harmonic_efficiency(plan: pd.DataFrame) -> tuple[float, np.ndarray]:
    """Mean intrablock efficiency factor of the overlays, and how often two share a tile."""
    n = pd.crosstab(plan["overlay"], plan["tile"]).to_numpy()
    together = n @ n.T
    k, r = n.sum(axis=0)[0], n.sum() / len(n)
    factors = np.sort(np.linalg.eigvalsh(np.diag(n.sum(axis=1)) - together / k))[1:] / r
    return len(factors) / np.sum(1 / factors), together[~np.eye(len(n), dtype=bool)]


# Parameters: Cochran and Cox (1957), Experimental Designs, 2nd ed., chapter 11, plans 11.1 on, as
# are b k = v r, lambda (v - 1) = r (k - 1) and the efficiency factor E = lambda v / (k r).


@pytest.mark.parametrize(
    ("v", "b", "k", "r", "together"),
    [(4, 4, 3, 3, 2), (7, 7, 3, 3, 1), (6, 10, 3, 5, 2), (9, 12, 3, 4, 1)],
)
def test_a_balanced_incomplete_block_design_is_found_where_one_exists(v, b, k, r, together):
    assert b * k == v * r
    assert together * (v - 1) == r * (k - 1)
    plan = survey(stock(v, 0), b, k, sds=ONLY_OVERLAYS, grades_per_patch=1, seed=3)
    efficiency, concurrence = harmonic_efficiency(plan)
    assert efficiency == pytest.approx(together * v / (k * r), rel=1e-9)
    assert (concurrence == together).all()


def test_a_projective_plane_is_too_rare_to_be_hit_upon_but_nearly_matched():
    # v = b = 13, k = r = 4, lambda = 1: E = 13/16.
    plan = survey(stock(13, 0), 13, 4, sds=ONLY_OVERLAYS, grades_per_patch=1, seed=3)
    assert 0.98 * 13 / 16 < harmonic_efficiency(plan)[0] <= 13 / 16 + 1e-12


def test_prediction_variances_are_those_of_hendersons_equations():
    # Henderson (1975), Best linear unbiased estimation and prediction under a selection model,
    # Biometrics 31: the inverse of the mixed-model equations' left side holds them.
    colours, sds = stock(3, 3), StandardDeviations()
    plan = survey(colours, 7, 3, sds=sds, seed=2, starts=1)
    field = fired_field(unfired_field(colours, sds), plan, sds, grades_per_patch=4)
    family = colours.set_index("colour")["family"]

    def incidence(frame: pd.DataFrame) -> dict[str, pd.Series]:
        return {
            "family": frame["base"].map(family) + frame["overlay"].map(family),
            "base": frame["base"],
            "overlay": frame["overlay"],
            "pair": frame["base"] + frame["overlay"],
        }

    pairs = field.pairs
    levels = {name: sorted(labels.unique()) for name, labels in incidence(pairs).items()}

    def columns(frame: pd.DataFrame) -> np.ndarray:
        blocks = [
            (labels.to_numpy()[:, None] == np.array(levels[name])[None, :]).astype(float)
            for name, labels in incidence(frame).items()
        ]
        return np.hstack(blocks)

    tiles = np.eye(7)[plan["tile"].to_numpy() - 1]
    Z = np.hstack([columns(plan), tiles])
    sd = [getattr(sds, name) for name, own in levels.items() for _ in own]
    G_inverse = np.diag(1 / np.array(sd + [sds.tile] * 7) ** 2)
    left = Z.T @ Z / (sds.patch**2 + sds.grading**2 / 4) + G_inverse
    asked = np.hstack([columns(pairs), np.zeros((len(pairs), 7))])
    expected = asked @ np.linalg.inv(left) @ asked.T
    np.testing.assert_allclose(field.covariance, expected, atol=1e-10)


def test_the_best_of_all_plans_is_found_when_they_can_be_listed():
    colours, sds = stock(2, 2), StandardDeviations()

    def average(plan: pd.DataFrame) -> float:
        return float(variances(plan, colours, sds)["variance"].mean())

    names = list(colours["colour"])
    pairs = [(b, o) for b in names for o in names if b != o]
    best = min(
        average(pd.DataFrame(chosen, columns=["base", "overlay"]).assign(tile=range(4)))
        for chosen in itertools.combinations(pairs, 4)
        if len({b for b, _ in chosen}) == 4 and len({o for _, o in chosen}) == 4
    )
    assert average(survey(colours, 4, 1, sds=sds)) == pytest.approx(best, rel=1e-9)


@settings(max_examples=15, deadline=None)
@given(
    st.integers(2, 5), st.integers(0, 4), st.integers(1, 9), st.integers(1, 4), st.integers(0, 99)
)
def test_whatever_is_asked_the_plan_keeps_its_promises(leaded, unleaded, tiles, per_tile, seed):
    colours = stock(leaded, unleaded)
    c = len(colours)
    per_tile = min(per_tile, c - 1)
    plan = survey(colours, tiles, per_tile, seed=seed, starts=1)
    assert len(plan) == tiles * per_tile
    assert not plan.duplicated(["tile", "overlay"]).any()
    assert (plan["base"] != plan["overlay"]).all()
    assert len(plan[["tile", "base"]].drop_duplicates()) == tiles
    assert plan.drop_duplicates("tile")["base"].nunique() == min(c, tiles)
    if len(plan) >= 2 * c:
        assert plan["overlay"].nunique() == c


@pytest.mark.parametrize(("tiles", "per_tile"), [(9, 4), (12, 4), (18, 4), (16, 3)])
def test_a_survey_of_twelve_colours_is_balanced_and_connected(tiles, per_tile):
    plan = survey(stock(6, 6), tiles, per_tile, starts=2)
    as_base = plan.drop_duplicates("tile")["base"].value_counts()
    as_overlay = plan["overlay"].value_counts()
    assert as_overlay.max() - as_overlay.min() <= 1
    assert as_base.max() - as_base.min() <= 1
    base, overlay = pd.factorize(plan["base"])[0], pd.factorize(plan["overlay"])[0]
    size = base.max() + overlay.max() + 2
    links = coo_array((np.ones(len(plan)), (base, base.max() + 1 + overlay)), shape=(size, size))
    assert connected_components(links, directed=False)[0] == 1


def test_the_same_seed_gives_the_same_plan_and_another_seed_another():
    first, again, other = (survey(stock(4, 4), 6, 3, seed=s, starts=1) for s in (5, 5, 6))
    pd.testing.assert_frame_equal(first, again)
    assert not first.equals(other)


def test_the_survey_foretells_better_than_chance():
    colours, sds = stock(6, 6), StandardDeviations()
    rng = np.random.default_rng(1)
    names = colours["colour"].to_numpy()
    by_chance = []
    for _ in range(20):
        rows = []
        for tile in range(12):
            base, *over = rng.choice(names, 5, replace=False)
            rows += [(tile, base, o) for o in over]
        plan = pd.DataFrame(rows, columns=["tile", "base", "overlay"])
        by_chance.append(variances(plan, colours, sds)["variance"].mean())
    planned = variances(survey(colours, 12, 4, starts=2), colours, sds)["variance"].mean()
    assert planned < min(by_chance)


def test_each_criterion_is_best_at_what_it_is_for():
    colours, sds = stock(9, 3), StandardDeviations()
    plans = {c: survey(colours, 8, 2, criterion=c, sds=sds, starts=4) for c in CRITERIA}
    found = {c: variances(plan, colours, sds)["variance"] for c, plan in plans.items()}
    assert found["worst"].max() < found["average"].max()
    assert found["average"].mean() < found["worst"].mean()


@pytest.mark.parametrize("criterion", CRITERIA)
def test_the_value_kept_through_many_exchanges_is_that_of_the_final_plan(criterion):
    colours, sds = stock(5, 5), StandardDeviations()
    V = unfired_field(colours, sds).covariance
    w = (1 - np.eye(10)).ravel() / 90
    rng = np.random.default_rng(4)
    view = View(V, sds.tile**2, np.full(100, 0.2), CRITERIA[criterion](V, w))
    yes, none = np.ones(10, dtype=bool), np.empty(0, dtype=int)
    bench = Bench((view,), ~np.eye(10, dtype=bool), yes, yes, none, none)
    base = np.arange(10)
    overlay = np.array([rng.permutation(np.delete(base, b))[:3] for b in base])
    search = SurveySearch(bench, base, overlay)
    for row in range(30):
        search._other_overlay(*divmod(row, 3))
        search._other_base(row % 10)
    pair = (search.base[:, None] * 10 + search.overlay).ravel()
    assert search.value == pytest.approx(bench.value(pair, np.repeat(base, 3)), rel=1e-10)


def test_pairs_wished_for_become_surer_than_without_the_wish():
    colours, sds = stock(4, 4), StandardDeviations()
    wishes = pd.DataFrame({"base": ["L0", "L0"], "overlay": ["U1", "U2"]})
    wished = variances(survey(colours, 4, 3, wishes=wishes), colours, sds)
    plain = variances(survey(colours, 4, 3), colours, sds)
    both = [frame.merge(wishes)["variance"].mean() for frame in (wished, plain)]
    assert both[0] < both[1]


def test_colours_left_out_and_pairs_known_are_not_fired():
    known = pd.DataFrame({"base": ["L0", "L0"], "overlay": ["U1", "L1"], "tile": [1, 1]})
    plan = survey(stock(4, 4), 8, 3, leave_out=["U3"], known=known, starts=1)
    assert "U3" not in {*plan["base"], *plan["overlay"]}
    assert plan.merge(known[["base", "overlay"]]).empty


def test_what_is_known_of_a_colour_moves_patches_to_the_others():
    known = pd.DataFrame({"base": "L0", "overlay": ["L1", "L2", "L3", "U0", "U1", "U2"]})
    plan = survey(stock(4, 4), 10, 2, known=known, starts=2)
    assert (plan["base"] == "L0").sum() < len(plan) / 8


@pytest.mark.parametrize(
    ("request_", "says"),
    [
        ({"patches_per_tile": 4}, "3 is the most"),
        ({"tiles": 0}, "at least one tile"),
        ({"criterion": "D"}, "average, worst"),
        ({"leave_out": ["Puce"]}, "Puce"),
        ({"wishes": pd.DataFrame({"base": ["Puce"], "overlay": ["L0"]})}, "Puce"),
        ({"wishes": pd.DataFrame({"base": ["L0"], "overlay": ["L0"]})}, "No pair is left"),
    ],
)
def test_what_cannot_be_done_is_refused_with_what_can(request_, says):
    with pytest.raises(Misuse, match=says):
        survey(stock(2, 2), **({"tiles": 3, "patches_per_tile": 2} | request_))


@pytest.mark.parametrize(
    ("colours", "says"),
    [
        (stock(1, 0), "two colours"),
        (pd.concat([stock(2, 0)] * 2), "more than once"),
        (stock(2, 0).drop(columns="family"), "family"),
    ],
)
def test_a_stock_that_cannot_be_planned_with_is_refused(colours, says):
    with pytest.raises(Misuse, match=says):
        survey(colours, 2, 1)


def test_spreads_must_be_possible():
    with pytest.raises(Misuse, match="tile"):
        StandardDeviations(tile=-1)
    with pytest.raises(Misuse, match="patch or grading"):
        StandardDeviations(patch=0, grading=0)
