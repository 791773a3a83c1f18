"""`kit piece` from an empty file to a sample, as a person types it."""

import io

import pytest
from pypdf import PdfReader
from typer.testing import CliRunner

from kit.cli import app
from kit.errors import DataProblems, Misuse
from kit.piece import ask_about, format_piece, piece_form, write_answer
from kit.series import read_series


@pytest.fixture
def studio(series, tmp_path, monkeypatch):
    series.write(tmp_path / "data" / "small")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def kit(*words):
    ran = CliRunner().invoke(app, ["piece", *words], catch_exceptions=False)
    assert ran.exit_code == 0, ran.output
    return ran.output


def test_a_piece_is_begun_asked_about_sampled_and_graded(studio, panel):
    assert "panel.toml" in kit("panel", "--start")
    path = studio / "data" / "pieces" / "panel.toml"
    path.write_bytes(format_piece(panel))
    said = kit("panel", "--sample", "panel-sample", "--made", "panel-made")
    assert said.index("All of Small panel") < said.index("What would help") < said.index("Contact")
    page = (studio / "reports" / "pieces" / "panel.html").read_text("utf-8")
    assert "Content-Security-Policy" in page
    assert "The sample to fire first" in page
    sheet = PdfReader(io.BytesIO((studio / "reports" / "pieces" / "panel.pdf").read_bytes()))
    text = " ".join(p.extract_text() for p in sheet.pages)
    assert "Stop once" in text
    assert "Never quench a hot tile" in text
    assert len(read_series(studio / "data" / "panel-sample").patches) >= 1
    assert len(read_series(studio / "data" / "panel-made").patches) == len(panel.contacts)


def test_the_same_piece_gives_the_same_bytes(studio, panel):
    path = studio / "data" / "pieces" / "panel.toml"
    path.parent.mkdir(parents=True)
    path.write_bytes(format_piece(panel))
    made = [
        [p.read_bytes() for p in write_answer(ask_about("panel"), studio / f"reports{n}")]
        for n in (1, 2)
    ]
    assert made[0] == made[1]


def test_nothing_is_written_over_and_nothing_is_guessed(studio, panel):
    kit("panel", "--start")
    with pytest.raises(Misuse, match="exists already"):
        kit("panel", "--start")
    with pytest.raises(Misuse, match="Did you mean 'panel'"):
        ask_about("panl")
    path = studio / "data" / "pieces" / "panel.toml"
    path.write_bytes(format_piece(panel).replace(b"Slate", b"Slat"))
    with pytest.raises(DataProblems, match="Did you mean 'Slate'"):
        ask_about("panel")
    path.write_bytes(format_piece(panel).replace(b"series = []", b'series = ["autumn"]'))
    with pytest.raises(Misuse, match="There is no series autumn"):
        ask_about("panel")


def test_the_form_of_the_notebook_writes_the_file_and_answers(studio):
    form = piece_form("picked")
    base, first, *_, button, told = form.children
    base.value = "Chalk"
    name, overlay, on, stencils, wanted = first.children
    name.value, overlay.value, on.value = "dots", "Slate", "base"
    stencils.value, wanted.value = 2, "fine edge"
    button.click()
    assert "ends as wanted" in told.value
    again = piece_form("picked")
    assert again.children[1].children[0].value == "dots"
    on.value = "sky"
    button.click()
    assert "no layer" in told.value


def test_a_piece_of_the_invented_series_is_answered_beside_ones_own(studio, series, panel):
    series.write(studio / "data" / "demo")
    path = studio / "data" / "pieces" / "panel.toml"
    path.parent.mkdir()
    path.write_bytes(format_piece(panel).replace(b"series = []", b'series = ["demo"]'))
    assert [one.name for one in ask_about("panel").series] == ["demo"]
    path.write_bytes(format_piece(panel))
    assert [one.name for one in ask_about("panel").series] == ["small"]
