"""A round is judged together with the rounds that it goes on from, and says what it added."""

import re
from dataclasses import replace

import pytest

import kit
from kit.model import NOT_KNOWN, VERDICTS
from kit.report.analysis import analyse
from kit.report.figures.tile_budget import rounds_picture
from kit.report.findings.verdict_history import verdicts_by_round, what_it_added
from kit.report.publish import files_behind, fingerprint, fingerprint_on_disk, lettered
from kit.report.sections.cover import question
from kit.series import observations, over_another, rounds_before


@pytest.fixture
def folder(tmp_path, fired):
    """The first round on disk."""
    return replace(fired, name="small", sources={}).write(tmp_path / "data" / "small")


@pytest.fixture
def second(folder, fired):
    """A round after it, which Cy graded in place of Ben."""
    settings = replace(fired.settings, follows=("small",), graders=("Ada", "Cy"))
    graders = fired.grades["grader"].replace({"Ben": "Cy"}).astype("str")
    own = {"settings": settings, "grades": fired.grades.assign(grader=graders), "sources": {}}
    return replace(fired, name="second", **own).write(folder.parent / "second")


def test_rounds_before_are_read_with_theirs_and_without_what_is_lost(second, folder, fired):
    series = kit.read_series(second)
    assert [one.name for one in rounds_before(series)] == ["small"]
    text = (folder / "series.toml").read_text()
    follows = f'follows = ["second", "gone", "../data/small"]\n{text}'
    (folder / "series.toml").write_text(follows)
    assert [one.name for one in rounds_before(series)] == ["small"]
    (folder / "tiles.csv").write_text("tile,base\n1,Nobody\n")
    assert rounds_before(series) == ()
    assert "goes on from small, which cannot be read" in what_it_added(analyse(series))
    assert rounds_before(fired) == ()


def test_report_of_a_round_counts_the_rounds_before_and_says_what_it_added(second, fired):
    series = kit.read_series(second)
    together, alone = analyse(series), analyse(series, before=())
    assert [one.name for one in together.before] == ["small"]
    fired_of = [a.pairs["patches"].max() for a in (together, alone)]
    assert fired_of[0] == 2 * fired_of[1]
    assert len(together.observations) == len(alone.observations)
    told = what_it_added(together)
    before, pairs, now = map(
        int, re.search(r"Before it (\d+) pairs? of (\d+) .* (\d+) have", told).groups()
    )
    assert told.startswith("This series goes on from small, whose grades count here too.")
    assert pairs == len(together.pairs_found) and 0 <= before <= now <= pairs
    rounds = verdicts_by_round(together)
    graded = over_another(observations(fired))["patch"].nunique()
    assert rounds["patches"].tolist()[0] == graded
    assert rounds["patches"].tolist()[-1] == 2 * graded
    known = rounds[list(VERDICTS)].sum(axis=1) - rounds[NOT_KNOWN]
    assert [before, now] == [known.iloc[0], known.iloc[-1]]
    title = rounds_picture(rounds).title
    assert [int(n) for n in re.findall(r"(\d+) pairs?", title)] == [before, now]
    assert told in str(question(together))


def test_graders_of_all_rounds_share_their_letters(second):
    series = kit.read_series(second)
    first, last = lettered(*rounds_before(series), series)
    assert first.settings.graders == ("A", "B") and last.settings.graders == ("A", "C")
    assert set(first.grades["grader"]) == {"A", "B"} and set(last.grades["grader"]) == {"A", "C"}


def test_report_is_made_anew_when_a_round_before_changes(second, folder):
    series = kit.read_series(second)
    mark = fingerprint(files_behind(series, rounds_before(series)))
    assert fingerprint_on_disk(second) == mark
    grades = folder / "grades.csv"
    grades.write_text(grades.read_text().replace(",Ada,", ",Eda,"))
    assert fingerprint_on_disk(second) != mark
