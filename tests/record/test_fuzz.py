"""Whatever is done to a workbook or a table, it is read right or refused; nothing is lost."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kit.errors import Misuse
from kit.record import apply, take_in, write_workbook
from kit.series import Series, examine, read_series

CALM = settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


KEYS = st.sampled_from(list("\n\r,;\"'\t =-+@0159xT\0é"))
PRINTABLE = st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\u2028\u2029\x85")
TYPED = st.text(PRINTABLE, max_size=30).map(lambda text: " ".join(text.split()))


@pytest.fixture
def small(plan, tmp_path):
    """Two tiles with a few grades on record, so that there is something to lose."""
    series = plan(graders=("Ada", "Ben"), factors={**plan().settings.factors, "firings": (1, 2)})
    keep = series.patches["tile"] < 3
    series = replace(series, tiles=series.tiles[:2], patches=series.patches[keep])
    folder = series.write(tmp_path / "small" / "trial")
    first = tmp_path / "first.csv"
    first.write_text(
        "patch,firing,grader,spread,note\nT1-1,1,Ada,2,=x\nT2-3,2,Ada,4,\nT1-1,1,Ben,0,\n"
    )
    apply(take_in(folder, first, "Ada"))
    return folder


def test_disturbed_workbooks_are_read_exactly_or_refused(small, fuzz, tmp_path):
    series = read_series(small)
    template = fuzz.only_grades(write_workbook(series, tmp_path / "t.xlsx"))
    ended = [
        fuzz.check(fuzz.workbook_case(template, np.random.default_rng(seed)), series, tmp_path)
        for seed in range(120)
    ]
    assert min(ended.count("read"), ended.count("refused")) > 20


def rewritten(series: Series, place: Path) -> Path:
    """Write every file of a series anew, whatever it was read from."""
    place.mkdir(parents=True, exist_ok=True)
    for name, content in replace(series, sources={}).files().items():
        (place / name).write_bytes(content)
    return place


@given(st.binary(max_size=400))
@CALM
def test_any_bytes_for_a_table_are_refused_in_words_or_read(small, content):
    original = (small / "grades.csv").read_bytes()
    (small / "grades.csv").write_bytes(content)
    try:
        series, problems = examine(small)
        assert (series is None) == bool(problems)
        assert all(p.file and p.wrong for p in problems)
        assert (small / "grades.csv").read_bytes() == content
    finally:
        (small / "grades.csv").write_bytes(original)


@given(
    st.lists(st.tuples(st.integers(0, 400), KEYS, st.booleans()), max_size=6),
    st.sampled_from(["grades.csv", "patches.csv", "tiles.csv", "firings.csv", "colours.csv"]),
)
@CALM
def test_a_table_with_slips_of_the_keyboard_is_refused_in_words_or_read(small, slips, file):
    original = (small / file).read_bytes()
    text = original.decode()
    for at, character, instead in slips:
        at %= len(text) + 1
        text = text[:at] + character + text[at + instead :]
    (small / file).write_text(text, newline="")
    try:
        series, problems = examine(small)
        if series is None:
            assert problems and all(p.wrong for p in problems)
        else:
            back = read_series(rewritten(series, small.parent.parent / "again" / "trial"))
            for name, frame in series.frames.items():
                pd.testing.assert_frame_equal(back.frames[name], frame)
    finally:
        (small / file).write_bytes(original)


@given(st.lists(st.tuples(TYPED, TYPED), min_size=1, max_size=5))
@CALM
def test_typed_text_survives_the_disk_whatever_it_is(small, texts):
    series = read_series(small)
    notes = [(note, heat) for note, heat in texts]
    firings = pd.DataFrame(
        {
            "tile": 1,
            "firing": range(1, len(notes) + 1),
            "session": 1,
            "minutes": float("nan"),
            "heat": [heat for _, heat in notes],
            "accident": "",
            "note": [note for note, _ in notes],
        }
    ).astype({"heat": "str", "accident": "str", "note": "str"})
    changed = replace(series, firings=firings, grades=series.grades[:0])
    back = read_series(rewritten(changed, small.parent.parent / "again" / "trial"))
    assert back.firings["note"].tolist() == [note for note, _ in notes]
    assert back.firings["heat"].tolist() == [heat for _, heat in notes]


@given(st.text(max_size=300))
@CALM
def test_any_text_taken_in_as_csv_is_read_or_refused(small, text):
    file = small.parent.parent / "any.csv"
    file.write_text(text, newline="", encoding="utf-8", errors="replace")
    try:
        intake = take_in(small, file, "Ada")
    except Misuse as refused:
        assert str(refused)
    else:
        assert intake.problems or not intake.entries
