"""Decisions follow the picture's content, and the last one counts."""

import pandas as pd
import pytest

from kit.errors import Misuse
from kit.photo.review.decisions import (
    Decision,
    add_decisions,
    decided,
    read_decisions,
    turned_by,
    turns,
    typed_decisions,
    with_accepted,
)

TABLE = pd.DataFrame(
    {
        "picture_sha256": ["a", "a", "b"],
        "patch": ["1-1", "1-2", "1-1"],
        "picture": ["x.jpg", "x.jpg", "y.jpg"],
        "accepted": ["", "", ""],
    }
)


def accepted(*decisions: Decision) -> list[str]:
    return with_accepted(TABLE, decisions)["accepted"].tolist()


def test_a_picture_and_single_patches_are_decided_on():
    assert accepted(Decision("a", "", "strike out")) == ["no", "no", ""]
    assert accepted(Decision("a", "1-2", "accept")) == ["", "yes", ""]
    assert accepted(Decision("b", "", "retake")) == ["", "", "no"]


def test_the_last_decision_counts():
    whole, part = Decision("a", "", "strike out"), Decision("a", "1-1", "accept")
    assert accepted(whole, part) == ["yes", "no", ""]
    assert accepted(part, whole) == ["no", "no", ""]
    assert accepted(whole, Decision("a", "", "clear")) == ["", "", ""]
    assert accepted(whole, Decision("a", "1-1", "clear")) == ["", "no", ""]
    assert decided([part, Decision("a", "1-1", "clear")]) == {}


def test_they_are_kept_in_a_file_and_none_is_lost(tmp_path):
    path = tmp_path / "decisions.csv"
    assert read_decisions(path) == []
    first = Decision("a", "", "turned 180", "Wren", "2026-05-01T10:00:00+01:00", "x, old.jpg")
    second = Decision("a", "", "accept", "Otis", "2026-05-02T10:00:00+01:00", "x.jpg")
    add_decisions(path, [first])
    add_decisions(path, [second])
    assert read_decisions(path) == [first, second]


def test_how_a_tile_lies_is_said_beside_what_is_decided_on_its_picture():
    turned = Decision("a", "", turned_by(180))
    assert turns([turned]) == {"a": 180.0}
    assert turns([turned, Decision("a", "", turned_by(90))]) == {"a": 90.0}
    assert turns([turned, Decision("a", "", "strike out"), Decision("a", "1-1", "clear")]) == {
        "a": 180.0
    }
    assert turns([turned, Decision("a", "", "clear")]) == {}
    assert accepted(Decision("a", "1-2", "accept"), turned) == ["", "yes", ""]


def test_what_was_typed_in_the_table_becomes_a_decision():
    typed = TABLE.assign(accepted=["no", "", "Yes"])
    found = typed_decisions(typed, [], "now")
    assert [(d.picture_sha256, d.patch, d.decision) for d in found] == [
        ("a", "1-1", "strike out"),
        ("b", "1-1", "accept"),
    ]
    assert typed_decisions(typed, found, "now") == []
    cleared = typed_decisions(TABLE, found, "now")
    assert [d.decision for d in cleared] == ["clear", "clear"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("picture_sha256,patch,decision\na,,acept\n", "Did you mean 'accept'"),
        ("picture_sha256,patch,decision\na,,turned left\n", "'turned left' is no decision"),
        ("picture_sha256,patch,decision\na,1-1,turned 180\n", "'turned 180' is no decision"),
        ("picture,patch\na,b\n", "column picture_sha256 is missing"),
    ],
)
def test_a_file_that_is_none_is_refused_by_row(tmp_path, text, words):
    path = tmp_path / "decisions.csv"
    path.write_text(text)
    with pytest.raises(Misuse, match=words):
        read_decisions(path)
