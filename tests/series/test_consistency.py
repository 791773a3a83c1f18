"""Whatever is wrong is named by file, row and column, all at once, and nothing is changed."""

import pytest

import kit
from kit.errors import DataProblems, Misuse


def _replace(folder, file, old, new):
    path = folder / file
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def _problems(folder):
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    with pytest.raises(DataProblems) as caught:
        kit.read_series(folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    return caught.value.problems


SINGLE = {
    "unknown base colour": ("tiles.csv", "1,Attic Rose", "1,Attic Rise", 2, "base", "Attic Rose"),
    "patch on no tile": ("patches.csv", "T1-1,1,", "T1-1,77,", 2, "tile", "tiles.csv"),
    "two patches in one place": ("patches.csv", "T1-2,1,2", "T1-2,1,1", 3, "tile", "row 2"),
    "position off the tile": ("patches.csv", "T1-2,1,2", "T1-2,1,9", 3, "position", "4 positions"),
    "no lead for a family": ("colours.csv", ",leaded,", ",No lead,", 2, "family", "'unleaded'"),
    "a colour with other capitals": (
        "colours.csv",
        "Ferry Blue",
        "attic rose",
        3,
        "colour",
        "capitals",
    ),
    "a loss without an accident": (
        "patches.csv",
        "T1-1,1,1,Plaster White,100,40,1,,",
        "T1-1,1,1,Plaster White,100,40,1,,2",
        2,
        "lost_at",
        "what happened",
    ),
    "a sifter nobody sells": ("tiles.csv", ",80,", ",81,", 2, "mesh", "80, 100"),
    "a misspelt family": ("colours.csv", ",unleaded,", ",unleded,", 4, "family", "unleaded"),
    "a date for a number": ("tiles.csv", ",60,", ",3-Feb,", 2, "coat_weight", "date"),
    "a firing left out": ("firings.csv", "1,2,", "1,7,", 3, "firing", "firing 6"),
    "a grader nobody knows": ("grades.csv", ",AB,", ",AX,", 2, "grader", "series.toml"),
    "a blank that must be filled": ("tiles.csv", "1,Attic Rose", "1,", 2, "base", "Fill it in"),
}


@pytest.mark.parametrize("case", SINGLE)
def test_one_mistake_is_named_by_place_and_remedy(folder, case):
    file, old, new, row, column, hint = SINGLE[case]
    _replace(folder, file, old, new)
    found = [p for p in _problems(folder) if (p.file, p.row, p.column) == (file, row, column)]
    assert len(found) == 1
    assert hint in str(found[0])


@pytest.mark.parametrize("grade", ["5", "-1", "1.5", "two"])
def test_a_grade_must_be_a_step_of_the_scale(folder, grade):
    path = folder / "grades.csv"
    first, second, *rest = path.read_text().splitlines()
    cells = second.split(",")
    path.write_text("\n".join([first, ",".join([*cells[:3], grade, *cells[4:]]), *rest]))
    (problem,) = _problems(folder)
    assert (problem.file, problem.row, problem.column) == ("grades.csv", 2, "spread")
    assert "0, 1, 2, 3, 4" in problem.fix


def test_a_grade_after_a_firing_that_never_was(folder):
    path = folder / "firings.csv"
    path.write_text("\n".join(r for r in path.read_text().splitlines() if not r.startswith("1,3")))
    problems = _problems(folder)
    assert len(problems) == 8
    assert {(p.file, p.column) for p in problems} == {("grades.csv", "firing")}
    assert "Tile 1 never had a firing 3" in problems[0].wrong


def test_a_second_firing_without_a_first(folder):
    path = folder / "firings.csv"
    path.write_text("\n".join(r for r in path.read_text().splitlines() if not r.startswith("1,1")))
    told = [p for p in _problems(folder) if p.file == "firings.csv"]
    assert [p.wrong for p in told] == ["Tile 1 has a firing 2 but no firing 1."]


def test_a_grade_before_the_patch_was_sifted(folder):
    _replace(
        folder, "patches.csv", "T1-1,1,1,Plaster White,100,40,1", "T1-1,1,1,Plaster White,100,40,2"
    )
    assert all("goes on before firing 2" in p.wrong for p in _problems(folder))


def test_a_folder_that_does_not_say_when_patches_were_lost_reads_as_before(folder):
    path = folder / "patches.csv"
    was = kit.read_series(folder).patches
    rows = [line.rpartition(",")[0] for line in path.read_text().splitlines()]
    assert rows[0].endswith(",accident")
    path.write_text("\n".join(rows))
    assert kit.read_series(folder).patches.equals(was)


def test_a_duplicate_row(folder):
    path = folder / "grades.csv"
    lines = path.read_text().splitlines()
    path.write_text("\n".join([*lines, lines[1]]))
    (problem,) = _problems(folder)
    assert problem.row == len(lines) + 1
    assert "already stands in row 2" in problem.wrong


def test_an_open_quote_is_named_where_it_opens(folder):
    _replace(folder, "firings.csv", "torch,,", 'torch,,"oops')
    assert [(p.file, p.row) for p in _problems(folder)] == [("firings.csv", 2)]


def test_a_missing_file_and_a_missing_column(folder):
    (folder / "firings.csv").unlink()
    path = folder / "tiles.csv"
    path.write_text(path.read_text().replace("mesh", "mash"))
    named = {(p.file, p.column) for p in _problems(folder)}
    assert named == {("firings.csv", ""), ("tiles.csv", "mesh")}


def test_a_file_that_is_not_text(folder):
    (folder / "tiles.csv").write_bytes(b"PK\x03\x04\x00\xff\xfe")
    assert [p.file for p in _problems(folder)] == ["tiles.csv"]


def test_every_problem_is_told_at_once(folder):
    _replace(folder, "colours.csv", ",leaded,", ",led,")
    _replace(folder, "tiles.csv", ",80,", ",81,")
    _replace(folder, "patches.csv", "T1-1,1,", "T1-1,77,")
    _replace(folder, "series.toml", "seed = 5", 'seed = "five"')
    files = {p.file for p in _problems(folder)}
    assert {"series.toml", "colours.csv", "tiles.csv", "patches.csv"} <= files


SETTINGS = {
    "seed = 5": ("seed = 5.5", "seed"),
    "width_mm = 50.0": ('width_mm = "wide"', "blank.width_mm"),
    "confidence = 0.8": ("confidence = 80", "verdict.confidence"),
    "fine_edge_mm = 0.5": ("fine_edge_mm = -1", "verdict.fine_edge_mm"),
    "fine_edge_share = 0.1": ("fine_edge_share = 10", "verdict.fine_edge_share"),
    "mesh = [100]": ("mesh = [101]", "factors.mesh"),
    'ask = "which pairs work"': ('ask = "everything"', "ask"),
    'name = "spread"': ('name = "sprawl"', "scale"),
    "tiles = 8": ("tyles = 8", "budget.tyles"),
    "patches_per_tile = 4": ("patches_per_tile = 40", "budget.patches_per_tile"),
    "sifting_loss = 0.3": ("sifting_loss = nan", "bench.sifting_loss"),
    "[[scale]]": ("[[scale", ""),
}


@pytest.mark.parametrize("old", SETTINGS)
def test_a_setting_that_cannot_be(folder, old):
    new, key = SETTINGS[old]
    _replace(folder, "series.toml", old, new)
    assert ("series.toml", key) in {(p.file, p.column) for p in _problems(folder)}


def test_a_series_that_is_not_there(folder):
    with pytest.raises(Misuse, match="kit new"):
        kit.read_series(folder.parent / "nothing")
    with pytest.raises(Misuse, match="Did you mean 'small'"):
        kit.read_series(folder.parent / "smal")


def test_jupyter_shows_the_sentence_and_no_traceback(folder):
    with pytest.raises(Misuse) as caught:
        kit.read_series(folder.parent / "smal")
    assert caught.value._render_traceback_() == [str(caught.value)]
