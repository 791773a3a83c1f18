"""What a series writes: the same bytes when nothing changed, and never over a stranger's change."""

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import kit
from kit.errors import DataProblems, Misuse
from kit.series import Settings, Wish, new_series, start_series
from kit.series.tables import COLOURS


def _contents(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir() if not p.name.startswith(".")}


def test_written_and_read_again_is_the_same(fired, folder):
    again = kit.read_series(folder)
    assert again.settings == fired.settings
    for name, frame in fired.frames.items():
        pd.testing.assert_frame_equal(again.frames[name], frame)


def test_nothing_changed_is_byte_for_byte(folder):
    path = folder / "tiles.csv"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b",", b" ; "))
    settings = folder / "series.toml"
    settings.write_bytes(b"# a remark of mine\n" + settings.read_bytes())
    before = _contents(folder)
    kit.read_series(folder).write(folder)
    assert _contents(folder) == before


def test_one_table_changed_leaves_the_others(folder):
    series = kit.read_series(folder)
    before = _contents(folder)
    colours = series.colours.assign(notes="seen")
    replace(series, colours=colours).write(folder)
    after = _contents(folder)
    differ = {name for name in after if after[name] != before[name]}
    assert {name for name in differ if not name.startswith("journal")} == {"colours.csv"}
    assert set(kit.read_series(folder).colours["notes"]) == {"seen"}


def test_a_change_made_by_someone_else_is_not_written_over(folder):
    mine, theirs = kit.read_series(folder), kit.read_series(folder)
    replace(theirs, colours=theirs.colours.assign(notes="theirs")).write(folder)
    with pytest.raises(Misuse, match=r"colours\.csv"):
        replace(mine, colours=mine.colours.assign(notes="mine")).write(folder)
    assert set(kit.read_series(folder).colours["notes"]) == {"theirs"}


def test_a_series_that_contradicts_itself_is_not_written(fired, tmp_path):
    broken = replace(fired, tiles=fired.tiles.assign(base="Nobody's Blue"))
    with pytest.raises(DataProblems):
        broken.write(tmp_path / "data" / "broken")
    assert not (tmp_path / "data" / "broken").exists()


def test_a_changed_setting_leaves_the_remarks_beside_it(tmp_path):
    folder = start_series(tmp_path / "data" / "fresh", seed=9)
    before = (folder / "series.toml").read_text().splitlines()
    series = kit.read_series(folder)
    changed = replace(
        series.settings,
        tiles=12,
        ask="is this pair safe",
        leave_out=(),
        graders=("AB",),
        factors={**series.settings.factors, "mesh": (80, 100)},
    )
    replace(series, settings=changed).write(folder)
    after = (folder / "series.toml").read_text().splitlines()
    assert kit.read_series(folder).settings == changed
    differ = [new for old, new in zip(before, after, strict=True) if old != new]
    assert len(differ) == 4
    assert sum(line.count("#") for line in before) == sum(line.count("#") for line in after)


def test_the_words_that_a_column_takes_stand_where_it_is_filled_in(tmp_path):
    notes = (start_series(tmp_path / "fresh", seed=9) / "series.toml").read_text()
    readme = " ".join(Path("README.md").read_text().split())
    for name in ("family", "opacity", "grain", "fusing"):
        *most, last = COLOURS[name].allowed
        words = f"{', '.join(most)} or {last}"
        assert f"#   {name}: {words}" in notes
        assert f"{name} ({words})" in readme


def test_wishes_can_be_added_and_taken_away(folder):
    series = kit.read_series(folder)
    wished = replace(series.settings, wishes=(Wish("Attic Rose", "Pond Green"),))
    replace(series, settings=wished).write(folder)
    again = kit.read_series(folder)
    assert again.settings == wished
    replace(again, settings=series.settings).write(folder)
    assert kit.read_series(folder).settings == series.settings


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-x", "@here", "'=quoted", 'a "b", c', "é\nü"])
def test_typed_text_comes_back_as_typed_and_never_as_a_formula(tmp_path, text):
    colours = pd.DataFrame(
        {"colour": ["A"], "family": ["leaded"], "opacity": [""], "grain": [""], "notes": [text]}
    )
    series = new_series("typed", Settings("T", "Q"), colours.astype("str"))
    folder = series.write(tmp_path / "typed")
    raw = (folder / "colours.csv").read_text()
    assert not any(cell.lstrip('"').startswith(("=", "+", "@")) for cell in raw.split(","))
    assert kit.read_series(folder).colours["notes"][0] == text


@pytest.mark.parametrize("name", ["../up", "a/b", "", "Über", "con", "a b", ".hidden", "x" * 80])
def test_a_name_cannot_leave_the_folder(fired, tmp_path, name):
    with pytest.raises(Misuse):
        new_series(name, fired.settings, fired.colours)


def test_a_new_series_reads_as_its_defaults(tmp_path):
    series = kit.read_series(start_series(tmp_path / "fresh", seed=9))
    told = series.settings
    plain = Settings(told.title, told.question, seed=9, started=dt.date.today())
    assert told == plain
    assert series.colours.empty


def test_folder_of_an_older_format_is_brought_up_to_date_and_kept_as_it_was(folder):
    path = folder / "series.toml"
    lines = path.read_text().splitlines(keepends=True)
    old = "# mine\n" + "".join(line for line in lines if not line.startswith(("format", "breaks")))
    path.write_text(old)
    series = kit.read_series(folder)
    assert path.read_text() == old, "reading changes nothing"
    series.write(folder)
    assert path.read_text() == old, "nor does writing what is there already"
    replace(series, colours=series.colours.assign(notes="seen")).write(folder)
    assert path.read_text() == old.replace("# mine\n", "# mine\nformat = 2\n")
    assert (folder / "format-1" / "series.toml").read_text() == old
    assert kit.read_series(folder).settings == series.settings


def test_series_of_a_newer_format_is_refused_in_words(folder):
    path = folder / "series.toml"
    path.write_text(path.read_text().replace("format = 2", "format = 3"))
    with pytest.raises(DataProblems, match="written by a newer kit"):
        kit.read_series(folder)


def test_series_says_the_day_it_was_begun_and_what_it_follows(folder):
    path = folder / "series.toml"
    text = path.read_text()
    path.write_text("".join(li for li in text.splitlines(True) if not li.startswith("started")))
    assert kit.read_series(folder).settings.started == dt.date.today()
    path.write_text(text.replace("seed = 5", 'seed = 5\nfollows = ["winter", "spring"]'))
    assert kit.read_series(folder).settings.follows == ("winter", "spring")


def test_series_and_settings_are_short_in_a_notebook(folder):
    series = kit.read_series(folder)
    assert repr(series) == (
        f"Series('small': 4 colours, 8 tiles, 32 patches, {len(series.firings)} firings, "
        f"{len(series.grades)} grades)"
    )
    assert len(repr(series.settings)) < 120
    odd = replace(series.settings, title="<script>", question="a & b")
    assert "<script>" not in odd._repr_html_() and "a &amp; b" in odd._repr_html_()
    assert "AB, CD" in series._repr_html_()


def test_an_existing_folder_is_never_started_again(folder):
    with pytest.raises(Misuse, match="exists"):
        start_series(folder, seed=1)
