"""Text that leaves is only text, and there is one way for it to leave."""

import ast
import csv
import io
import unicodedata
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import kit
from kit.series import csv_of
from kit.wording import escape, readable, readable_in

KIT = Path(kit.__file__).parent
RUN = ("=", "+", "-", "@", "\t", "\r")


@given(st.text(max_size=60))
def test_nothing_unseen_leaves_and_isolates_are_always_closed(text):
    told = readable(text)
    assert not [c for c in told if unicodedata.category(c) == "Cc" and c not in "\n\t"]
    assert not set(told) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u200e\u200f\u061c")
    assert told.count("\u2068") == told.count("\u2069")
    assert readable(told) == told


def test_text_from_right_to_left_is_set_apart_from_numbers_beside_it():
    """Unicode Standard Annex 9: without isolates the digits would be moved before the name."""
    assert readable("שלום 3 patches") == "\u2068שלום\u2069 3 patches"
    assert readable("over כחול ים: 4") == "over \u2068כחול ים\u2069: 4"
    assert readable("Évening Blue 3") == "Évening Blue 3"


def test_turning_marks_cannot_hide_what_follows():
    assert readable("safe\u202etxt.exe\u2069") == "safetxt.exe"
    assert escape("<b>\x07\u202e&") == "&lt;b&gt;&amp;"
    assert readable_in({"a": ["x\x00", ("y\u202e", 3)]}) == {"a": ["x", ["y", 3]]}


@example(texts=["\r="])
@given(st.lists(st.text(max_size=20), min_size=1, max_size=6))
def test_no_cell_of_any_table_runs_in_a_spreadsheet(texts):
    texts = [text.replace("\x00", "") for text in texts]
    frame = pd.DataFrame({"colour": pd.Series(texts, dtype="str"), "share": 0.5})
    rows = list(csv.reader(io.StringIO(csv_of(frame).decode(), newline="")))
    for row in filter(None, rows[1:]):
        assert not row[0].startswith(RUN) or row[0].lstrip("-").replace(".", "").isdigit()


@pytest.mark.parametrize("path", sorted(KIT.rglob("*.py")), ids=lambda p: str(p.relative_to(KIT)))
def test_there_is_no_other_way_out(path):
    """CSV leaves by `write_records`, text for a page by `kit.wording`; neither by other means."""
    place = path.relative_to(KIT).as_posix()
    fingerprints = place == "photo/picture_memory.py"
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import | ast.ImportFrom):
            names = {alias.name for alias in node.names} | {getattr(node, "module", "")}
            assert "html" not in names or place == "wording/outgoing.py", "escape by kit.wording"
        if isinstance(node, ast.Attribute):
            assert node.attr != "to_csv" or fingerprints, "write tables by csv_of"
            writes = (
                node.attr in ("writer", "DictWriter") and getattr(node.value, "id", "") == "csv"
            )
            assert not writes or place == "series/csv_text.py", "write rows by write_records"


@pytest.mark.parametrize("path", sorted(KIT.rglob("*.py")), ids=lambda p: str(p.relative_to(KIT)))
def test_every_page_says_what_it_may_load(path):
    text = path.read_text("utf-8")
    if "<!doctype html" in text.lower():
        beside = "".join(p.read_text("utf-8") for p in path.parent.glob("*.py"))
        assert "Content-Security-Policy" in beside
