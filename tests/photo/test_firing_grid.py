"""The worst word on a picture, the best picture of a firing, and what is missing."""

import pandas as pd

from kit.photo.photo_series import firing_grid, picture_states

PICTURES = pd.DataFrame(
    {
        "picture_sha256": ["a", "b", "c", "d"],
        "tile": [1, 1, 2, None],
        "firing": [1, 1, 1, None],
        "reason": ["", "", "", "There is no photo card in the picture."],
    }
)


def rows(*said: tuple[str, str, str]) -> pd.DataFrame:
    return pd.DataFrame(said, columns=["picture_sha256", "quality", "accepted"])


MEASURED = rows(
    ("a", "good", ""), ("a", "poor", ""), ("b", "good", ""), ("b", "fair", ""), ("c", "poor", "")
)


def test_a_picture_is_as_good_as_its_worst_patch():
    states = picture_states(PICTURES, MEASURED, {})
    assert states.to_dict() == {"a": "poor", "b": "fair", "c": "poor", "d": "refused"}


def test_what_a_person_decided_goes_before():
    accepted = rows(("a", "good", ""), ("a", "poor", "yes"), ("b", "good", "no"), ("c", "poor", ""))
    states = picture_states(PICTURES, accepted, {("c", ""): "retake"})
    assert states.to_dict() == {"a": "fair", "b": "struck out", "c": "retake", "d": "refused"}


def test_each_cell_has_its_best_picture_and_what_is_due_is_missing():
    fired = pd.DataFrame({"tile": [1, 1, 2, 3], "firing": [1, 2, 1, 1]})
    grid = firing_grid(fired, PICTURES, picture_states(PICTURES, MEASURED, {}))
    assert grid.at[1, 1] == "fair"
    assert grid.at[1, 2] == "missing"
    assert grid.at[2, 1] == "poor"
    assert grid.at[3, 1] == "missing"
    assert grid.at[2, 2] == ""


def test_a_picture_struck_out_leaves_its_firing_to_be_photographed():
    fired = pd.DataFrame({"tile": [2], "firing": [1]})
    struck = rows(("c", "poor", "no"))
    grid = firing_grid(fired, PICTURES[2:3], picture_states(PICTURES[2:3], struck, {}))
    assert grid.at[2, 1] == "struck out"
