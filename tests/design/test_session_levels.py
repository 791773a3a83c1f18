"""Minutes and heat that change from session to session only: whole sessions are the whole plots."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.design import StandardDeviations, costs, plan, precision, what_to_expect
from kit.design.layout import deal_session_levels
from kit.design.plan_again import plan_more, replan
from kit.design.plan_model import forecast, planned_rows
from kit.errors import Misuse
from kit.series import DEFAULT_FACTORS, Settings, new_series, patches_in_full, read_series
from kit.studio import draw_truth, fire

STOCK = pd.DataFrame(
    {
        "colour": ["Ember", "Rowan", "Frost", "Moss"],
        "family": ["leaded", "leaded", "unleaded", "unleaded"],
        "opacity": "opaque",
        "grain": "medium",
        "notes": "",
    }
).astype("str")
MINUTES, HEAT = {"minutes": (1.5, 2.5)}, {"heat": ("torch", "kiln")}


def unplanned(varied, tiles=8, held=2, ask="which pairs work"):
    settings = Settings(
        "Made",
        "Does longer fire spread more?",
        ask=ask,
        tiles=tiles,
        patches_per_tile=3,
        tiles_per_session=held,
        graders=("Ada",),
        seed=3,
        factors={**DEFAULT_FACTORS, **varied},
    )
    return new_series("made", settings, STOCK)


@pytest.fixture(scope="module")
def by_both():
    return plan(unplanned({**MINUTES, **HEAT})).series


@pytest.mark.parametrize("ask", ["which pairs work", "which things matter"])
@pytest.mark.parametrize("held", [1, 2])
def test_levels_take_turns_over_the_sessions_and_each_is_met_by_both_families(ask, held):
    chosen = plan(unplanned(MINUTES, held=held, ask=ask))
    sessions = chosen.series.sessions
    assert list(sessions["session"]) == list(range(1, 8 // held + 1))
    # Randomised blocks of whole plots: every two sessions that follow hold each level once.
    assert (sessions["minutes"].to_numpy().reshape(-1, 2).sum(axis=1) == 4.0).all()
    patches = patches_in_full(chosen.series).merge(chosen.series.tiles[["tile", "session"]])
    met = patches.merge(sessions, on="session")
    for role in ("base_family", "overlay_family"):
        counts = pd.crosstab(met["minutes"], met[role]).to_numpy()
        assert counts.shape == (2, 2)
        assert np.ptp(counts, axis=0).max() <= 3
    assert any("known from" in line and "sessions" in line for line in chosen.limits)


def test_two_factors_are_crossed_over_the_sessions(by_both):
    assert len(by_both.sessions) == 4
    assert len(by_both.sessions[["minutes", "heat"]].drop_duplicates()) == 4
    assert by_both.problems() == []


def test_two_factors_stay_crossed_where_bases_alone_would_rather_have_them_go_together(by_both):
    # With one base in sessions 1 and 3 and another in 2 and 4, each factor by itself is spread
    # best over the bases by the split 1, 4 against 2, 3: then neither could be told from the other.
    base = by_both.tiles["session"].map({1: "Ember", 2: "Frost", 3: "Ember", 4: "Frost"})
    tiles = by_both.tiles.assign(base=base.astype("str"))
    bare = replace(by_both, tiles=tiles, sessions=by_both.sessions.iloc[:0])
    sessions = deal_session_levels(bare).sessions
    assert len(sessions[["minutes", "heat"]].drop_duplicates()) == 4


def test_bases_are_spread_over_the_levels_as_evenly_as_a_search_of_all_deals_does():
    chosen = plan(unplanned(MINUTES, tiles=12, held=3)).series
    base = chosen.tiles.assign(leaded=chosen.tiles["base"].isin(["Ember", "Rowan"]))
    share = base.groupby("session")["leaded"].sum().to_numpy()
    long = chosen.sessions["minutes"].to_numpy() == 2.5
    every = [np.array([a, not a, b, not b]) for a in (True, False) for b in (True, False)]
    least = min(abs(share[deal].sum() - share[~deal].sum()) for deal in every)
    assert abs(share[long].sum() - share[~long].sum()) == least


def test_the_same_seed_deals_the_same_and_another_seed_need_not(by_both):
    bare = replace(by_both, sessions=by_both.sessions.iloc[:0])
    assert deal_session_levels(bare).sessions.equals(by_both.sessions)
    dealt = {
        tuple(
            deal_session_levels(replace(bare, settings=replace(bare.settings, seed=seed))).sessions[
                "minutes"
            ]
        )
        for seed in range(8)
    }
    assert len(dealt) > 1


@pytest.mark.parametrize(
    ("tiles", "held", "fix"),
    [
        (8, 4, "set tiles_per_session to 2 or fewer"),
        (9, 8, "set tiles_per_session to 2 or fewer"),
        (4, 2, "set tiles_per_session to 1,"),
        (3, 1, "plan 4 tiles or more"),
    ],
)
def test_fewer_than_two_sessions_a_level_are_refused_with_the_reason_and_a_way_out(
    tiles, held, fix
):
    with pytest.raises(Misuse, match="cannot be told from what else was different") as refused:
        plan(unplanned(HEAT, tiles=tiles, held=held))
    assert fix in str(refused.value)


def test_where_nothing_but_a_session_changes_there_is_no_plan_of_things():
    varied = {"base_family": ("leaded",), "overlay_family": ("leaded",), **MINUTES}
    with pytest.raises(Misuse, match="Only the time in the heat would change"):
        plan(unplanned(varied, ask="which things matter"))


def test_the_level_effect_has_the_standard_error_of_a_whole_plot_factor():
    # Cochran and Cox (1957), Experimental Designs, 2nd ed., section 7.1: whole plots (sessions)
    # carry the error of the sub-plots in them. With r sessions a level, m tiles a session and k
    # patches a tile two level means differ with variance 2 (s² + k s_tile² + m k s_session²) /
    # (r m k); and with a session's own variation no number of patches takes that away.
    r, m, k = 2, 3, 2
    colours = pd.DataFrame({"colour": ["L0", "L1"], "family": "leaded"})
    rows = [
        (s * m + t, "L0", "L1", 1.5 + s % 2, s)
        for s in range(2 * r)
        for t in range(m)
        for _ in range(k)
    ]
    frame = pd.DataFrame(rows, columns=["tile", "base", "overlay", "minutes", "session"])
    sds = StandardDeviations(
        base=0, overlay=0, pair=0, tile=0.3, session=0.2, patch=0, grading=0.8, family=100
    )
    told = forecast(planned_rows(frame, colours, firings=1), sds, graders=1)
    data = 2 * (0.8**2 + k * 0.3**2 + m * k * 0.2**2) / (r * m * k)
    # A weak prior of 1 grade a standard deviation, 2 grades from level to level, comes on top.
    expected = 1 / (1 / data + 1 / 2.0**2)
    assert told.effects(told.from_to("minutes")[None])[0] == pytest.approx(expected, rel=1e-3)


def test_the_person_is_told_how_well_minutes_will_be_known(by_both):
    said = precision(by_both).describe()
    assert "With two sessions a level, what going from 1.5 to 2.5 minutes in the heat does" in said
    assert "With two sessions a level, what firing by kiln instead of torch does" in said
    assert any("which is too hopeful" in line for line in what_to_expect(by_both))


def test_more_tiles_a_session_help_less_than_more_sessions():
    def within(tiles, held):
        table = precision(plan(unplanned(MINUTES, tiles=tiles, held=held)).series).table
        return float(table.loc[table["about"] == "session", "within"].iloc[0])

    few, crowded, many = within(8, 2), within(16, 4), within(16, 2)
    assert many < crowded < few


def test_the_minutes_of_a_plan_are_those_of_its_sessions(by_both):
    # Six trips a tile: back, two base coats, three firings; half the tiles at each level.
    assert costs(by_both).minutes == pytest.approx(4 * 6 * 1.5 + 4 * 6 * 2.5)


def test_levels_are_kept_in_the_folder_and_by_firings(by_both, tmp_path):
    folder = by_both.write(tmp_path / "made")
    again = read_series(folder)
    assert again.sessions.equals(by_both.sessions)
    assert again.settings.factors["heat"] == ("torch", "kiln")
    fired = fire(again, draw_truth(again.colours, seed=1), seed=1)
    met = fired.firings.merge(again.sessions, on="session", suffixes=("", "_planned"))
    assert (met["heat"] == met["heat_planned"]).all()
    assert (met["minutes"] - met["minutes_planned"]).abs().max() < 0.6


def test_tiles_that_are_added_come_in_sessions_that_even_out_the_levels(by_both):
    some = by_both.tiles["session"] <= 3
    fired = fire(by_both, draw_truth(by_both.colours, seed=1), seed=1)
    done = fired.firings["tile"].isin(by_both.tiles.loc[some, "tile"])
    graded = fired.grades["patch"].str.split("-").str[0].str[1:].astype(int)
    half = replace(
        fired,
        firings=fired.firings[done],
        grades=fired.grades[graded.isin(by_both.tiles.loc[some, "tile"])],
    )
    again = replan(half).series
    assert again.sessions.head(3).equals(by_both.sessions.head(3))
    assert sorted(again.sessions["minutes"]) == [1.5, 1.5, 2.5, 2.5]
    more = plan_more(half, 4).series
    assert more.sessions.head(4).equals(by_both.sessions)
    assert sorted(more.sessions["minutes"]) == [1.5] * 3 + [2.5] * 3


def test_a_series_that_varies_neither_has_no_sessions_to_tell_apart(tmp_path):
    chosen = plan(unplanned({}, held=8))
    assert chosen.series.sessions.empty
    assert not any("session" in line for line in chosen.limits)
    chosen.series.write(tmp_path / "made")
    assert not (tmp_path / "made" / "sessions.csv").exists()
