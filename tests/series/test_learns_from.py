"""A series names the earlier ones that it starts from; they are read along with it."""

from dataclasses import replace

import pytest

import kit
from kit.errors import DataProblems
from kit.report.publish import files_behind, fingerprint, fingerprint_on_disk
from kit.series import start_series


@pytest.fixture
def autumn(folder, fired):
    """A series beside 'small' that learns from it."""
    settings = replace(fired.settings, learns_from=("small",))
    return replace(fired, name="autumn", settings=settings).write(folder.parent / "autumn")


def with_list(folder, names):
    path = folder / "series.toml"
    path.write_text(path.read_text().replace('["small"]', names))


def test_what_it_learns_from_is_read_along_without_what_that_learned_from(autumn, folder):
    series = kit.read_series(autumn)
    assert [one.name for one in series.earlier] == ["small"]
    small = folder / "series.toml"
    small.write_text(small.read_text().replace("seed = 5", 'seed = 5\nlearns_from = ["autumn"]'))
    again = kit.read_series(autumn)
    assert again.earlier[0].settings.learns_from == ("autumn",)
    assert again.earlier[0].earlier == ()


@pytest.mark.parametrize(
    ("names", "wrong"),
    [
        ('["smal"]', "There is no series 'smal' beside this one."),
        ('["smal"]', "Did you mean 'small'?"),
        ('["autumn"]', "A series cannot learn from itself."),
        ('["../data/small"]', "There is no series '../data/small' beside this one."),
        ('["small", "small"]', "each once"),
        ("'small'", "list of names of series"),
    ],
)
def test_a_wrong_name_is_one_clear_problem(autumn, names, wrong):
    with_list(autumn, names)
    with pytest.raises(DataProblems) as problems:
        kit.read_series(autumn)
    assert "learns_from" in str(problems.value) and wrong in str(problems.value)


def test_problems_of_an_earlier_series_are_told_where_they_lie(autumn, folder):
    (folder / "tiles.csv").write_text("tile,base\n1,Nobody\n")
    with pytest.raises(DataProblems, match=r"`kit check small` lists what to put right there"):
        kit.read_series(autumn)


def test_the_setting_stands_explained_in_a_new_series_and_is_kept(tmp_path):
    first = start_series(tmp_path / "data" / "spring", seed=1)
    text = (first / "series.toml").read_text()
    assert "learns_from = []" in text and "None of their grades counts twice." in text
    second = start_series(tmp_path / "data" / "summer", seed=2)
    series = kit.read_series(second)
    learning = replace(series, settings=replace(series.settings, learns_from=("spring",)))
    learning.write(second)
    assert kit.read_series(second).settings == learning.settings
    assert 'learns_from = ["spring"]' in (second / "series.toml").read_text()


def test_a_report_is_out_of_date_when_what_it_learned_from_changes(autumn, folder):
    series = kit.read_series(autumn)
    mark = fingerprint(files_behind(series, ()))
    assert mark == fingerprint_on_disk(autumn)
    small = kit.read_series(folder)
    replace(small, colours=small.colours.assign(notes="new")).write(folder)
    assert fingerprint_on_disk(autumn) != mark
