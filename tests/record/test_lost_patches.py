"""Accidents are data: counted, kept, and said when they fall on one family."""

from dataclasses import replace

import pandas as pd
import pytest

from kit.record import loss_balance
from kit.record.lost_patches import grades_of_lost_pieces
from kit.series import FAMILIES


def with_losses(series, tiles=(), patches=()):
    firings = pd.DataFrame(
        {
            "tile": list(tiles), "firing": 1, "session": 1, "minutes": float("nan"), "heat": "",
            "accident": "overfired", "note": "",
        }
    )  # fmt: skip
    firings = firings.astype({"heat": "str", "accident": "str", "note": "str"})
    reasons = ["chipped" if p in patches else "" for p in series.patches["patch"]]
    patched = series.patches.assign(accident=pd.Series(reasons, dtype="str"))
    return replace(series, firings=firings, patches=patched)


def test_a_series_without_losses_says_so(series):
    assert loss_balance(series).sentence() == "No tile and no patch was lost."


def test_losses_are_counted_with_their_reasons(series):
    balance = loss_balance(with_losses(series, tiles=[2], patches=["T1-1"]))
    assert balance.reasons == {"overfired": 3, "chipped": 1}
    assert "4 of 12 patches were lost (overfired 3, chipped 1)" in balance.sentence()
    assert "no more uneven" in balance.sentence() and not balance.uneven


def test_the_firing_that_a_patch_was_lost_at_says_which_grades_are_left_out(series):
    graded = pd.DataFrame(
        {"patch": "T1-1", "firing": [1, 2, 3], "grader": "Ada", "spread": 1, "pull_through": 1}
    )
    graded = graded.astype({"patch": "str", "grader": "str"})
    before = replace(series, grades=graded)
    gone = with_losses(before, patches=["T1-1"])
    at_3 = gone.patches["lost_at"].mask(gone.patches["patch"] == "T1-1", 3)
    later = replace(gone, patches=gone.patches.assign(lost_at=at_3))
    assert grades_of_lost_pieces(before, later) == (
        "patch T1-1 after firing 3 by Ada: the patch was lost at firing 3 (chipped).",
    )
    assert grades_of_lost_pieces(before, gone) == (
        "patch T1-1 after firing 1, 2, 3 by Ada: the patch is lost (chipped).",
    )


def test_a_lost_tile_counts_once_and_not_once_for_each_patch(series):
    balance = loss_balance(with_losses(series, tiles=[1, 3]))
    assert balance.tiles["lost"].to_dict() == {"leaded": 2, "unleaded": 0}
    assert balance.patches["lost"].sum() == 0


def test_the_chance_is_fishers(plan):
    """The lady tasting tea: 3 of 4 and 1 of 4 give 34/70, 4 of 4 and none 2/70, two-sided.

    R. A. Fisher (1935), The Design of Experiments, section 5; 1, 16, 36, 16, 1 of 70.
    """
    series = plan()
    many = pd.concat([series.tiles, series.tiles.assign(tile=series.tiles["tile"] + 4)])
    series = replace(series, tiles=many.reset_index(drop=True))
    leaded = many[many["base"].isin(["Fog", "Amber"])]["tile"].tolist()
    unleaded = many[~many["tile"].isin(leaded)]["tile"].tolist()
    mixed = loss_balance(with_losses(series, tiles=[*leaded[:3], unleaded[0]]))
    assert mixed.tiles_by_chance == pytest.approx(34 / 70)
    all_leaded = loss_balance(with_losses(series, tiles=leaded))
    assert all_leaded.tiles_by_chance == pytest.approx(2 / 70)
    assert all_leaded.uneven
    said = all_leaded.sentence()
    assert "more on tiles whose base is leaded (4 of 4)" in said
    assert "tiles whose base is unleaded (0 of 4)" in said and "1 time in 35" in said


def test_families_are_the_two_of_the_trade():
    assert FAMILIES == ("leaded", "unleaded")
