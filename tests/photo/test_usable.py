import pandas as pd
import pytest

from kit.photo import COLUMNS, MEASURES, usable_measurements


def row(patch: str, firing: int, spread: float | None, quality: str, accepted: str = "") -> dict:
    numbers = dict.fromkeys(MEASURES, 0.1) | {f"{name}_se": 0.02 for name in MEASURES}
    words = {"quality": quality, "accepted": accepted, "picture": "p.jpg"}
    return {"patch": patch, "firing": firing} | numbers | {"spread_mm": spread} | words


@pytest.fixture
def usable():
    rows = [
        row("1-1", 1, 0.2, "good"),
        row("1-1", 1, 0.4, "fair"),
        row("1-1", 2, 0.9, "good", "no"),
        row("1-2", 1, 0.5, "poor"),
        row("1-3", 1, 0.6, "poor", "Yes"),
        row("1-4", 1, None, "not measured", "yes"),
    ]
    return usable_measurements(pd.DataFrame(rows, columns=list(COLUMNS)))


def test_struck_out_poor_and_unmeasured_rows_are_left_out_unless_a_person_says_yes(usable):
    assert list(zip(usable["patch"], usable["firing"], strict=True)) == [("1-1", 1), ("1-3", 1)]


def test_several_pictures_of_one_patch_count_once(usable):
    assert usable["spread_mm"].tolist() == pytest.approx([0.3, 0.6])
    assert usable["pictures"].tolist() == [2, 1]
    assert usable["spread_mm_se"][0] == pytest.approx(0.02)
