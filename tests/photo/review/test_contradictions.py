"""Pictures that cannot both be what their slips say are asked about."""

from dataclasses import replace

import pandas as pd
import pytest

from kit.photo.review.contradictions import agreement_questions, firing_questions


def taken(tables: list[pd.DataFrame], at: list[str | None], camera: str = "one") -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "picture_sha256": table["picture_sha256"].iloc[0],
                "tile": table["tile"].iloc[0],
                "firing": table["firing"].iloc[0],
                "camera": camera,
                "at": pd.Timestamp(when) if when else pd.NaT,
            }
            for table, when in zip(tables, at, strict=True)
        ]
    )


def ask(tables: list[pd.DataFrame], at: list[str | None] | None = None):
    times = taken(tables, at or [None] * len(tables))
    return agreement_questions(pd.concat(tables, ignore_index=True), times)


def test_two_pictures_that_agree_are_asked_nothing(picture_of):
    assert ask([picture_of(1, spread=0.20), picture_of(1, spread=0.24, seed=1)]) == []


def test_a_forgotten_firing_slip_is_asked_about_with_both_numbers(picture_of):
    (question,) = ask([picture_of(1, spread=0.1), picture_of(1, spread=1.2, seed=1)])
    assert set(question.pictures) == {"1-1-0", "1-1-1"}
    assert question.patches == ()
    assert "spread 0.10 mm and 1.20 mm" in question.words


def test_times_far_apart_are_the_reason(picture_of):
    tables = [picture_of(1, spread=0.1), picture_of(1, spread=1.2, seed=1)]
    (question,) = ask(tables, ["2026-05-01 10:00", "2026-05-01 15:00"])
    assert "5 hours apart: was a firing slip forgotten" in question.words


def test_one_patch_that_differs_is_asked_about_alone(picture_of):
    other = picture_of(1, seed=1)
    other.loc[other["patch"] == "T1-3", "pull_through_share"] = 0.4
    (question,) = ask([picture_of(1), other])
    assert question.patches == ("T1-3",)
    assert "pull-through 5.0\u00a0% and 40\u00a0%" in question.words


def test_wide_errors_are_no_disagreement(picture_of):
    assert ask([picture_of(1), picture_of(1, spread=0.5, seed=1, spread_mm_se=0.15)]) == []


def test_spread_that_goes_back_is_asked_about(picture_of):
    (question,) = ask([picture_of(1, 1, spread=1.0), picture_of(1, 2, spread=0.3)])
    assert "mixed up" in question.words
    assert ask([picture_of(1, 1, spread=0.3), picture_of(1, 2, spread=1.0)]) == []


def test_a_later_firing_taken_earlier_is_asked_about(picture_of):
    tables = [picture_of(1, 1), picture_of(1, 2)]
    (question,) = ask(tables, ["2026-05-02 10:00", "2026-05-01 15:00"])
    assert "before" in question.words and "firing 2" in question.words
    assert ask(tables, ["2026-05-01 10:00", "2026-05-01 15:00"]) == []


@pytest.mark.parametrize("camera", ["one", "two"])
def test_clocks_of_two_telephones_are_not_compared(picture_of, camera):
    tables = [picture_of(1, 1), picture_of(1, 2)]
    times = taken(tables, ["2026-05-02 10:00", "2026-05-01 15:00"])
    times.loc[1, "camera"] = camera
    found = agreement_questions(pd.concat(tables, ignore_index=True), times)
    assert len(found) == (camera == "one")


def test_a_firing_that_is_not_written_down_is_asked_about(laid, picture_of):
    times = taken([picture_of(1, 1), picture_of(1, 3), picture_of(2, 3)], [None] * 3)
    times = times.assign(picture=["a", "b", "c"])
    plan = replace(laid, fired={1: {1: 1, 2: 1}})
    (question,) = firing_questions(times, plan)
    assert question.words.startswith("b says tile 1 after firing 3, which firings.csv does not")
    assert firing_questions(times, laid) == []


def test_a_picture_taken_when_the_tile_had_been_fired_again_is_asked_about(laid, picture_of):
    tables = [picture_of(1, 1), picture_of(2, 1)]
    times = taken(tables, ["2026-05-03 10:00", "2026-05-02 10:00"]).assign(picture=["a", "b"])
    # Tile 1 was fired in sessions 1 and 2; the same telephone had photographed session 3 by then.
    plan = replace(laid, fired={1: {1: 1, 2: 2}, 2: {1: 3}})
    (question,) = firing_questions(times, plan)
    assert question.pictures == ("1-1-0",)
    assert "firing slip forgotten" in question.words
    assert firing_questions(times, replace(laid, fired={1: {1: 1, 2: 2}, 2: {1: 2}})) == []
