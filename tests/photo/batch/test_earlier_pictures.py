"""Which earlier picture a patch is compared with."""

import pandas as pd

from kit.photo.batch.one_picture import first_seen


def seen(*rows: tuple[str, int, float]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["patch", "firing", "overlay_l"])


def test_a_patch_is_compared_with_its_first_picture_and_not_with_the_latest():
    earlier = seen(("1-1", 2, 40.0), ("1-1", 1, 50.0), ("1-2", 2, 60.0), ("1-1", 3, 30.0))
    first = first_seen(earlier, 4)
    assert first["firing"].to_dict() == {"1-1": 1, "1-2": 2}
    assert first.at["1-1", "overlay_l"] == 50.0


def test_neither_pictures_of_this_firing_nor_of_later_ones_are_earlier():
    told = first_seen(seen(("1-1", 2, 40.0), ("1-2", 3, 50.0), ("1-3", 1, 60.0)), 2)
    assert list(told.index) == ["1-3"]
    assert first_seen(seen(("1-1", 2, 40.0)), 2) is None


def test_a_picture_in_which_no_colour_was_seen_is_passed_over():
    earlier = seen(("1-1", 1, float("nan")), ("1-1", 2, 40.0))
    assert first_seen(earlier, 3).at["1-1", "firing"] == 2
    assert first_seen(earlier, 2) is None
