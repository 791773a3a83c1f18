"""`kit report`: what it writes, what it never destroys, and that it repeats itself exactly."""

import shutil
from itertools import pairwise
from pathlib import Path
from urllib.parse import unquote_to_bytes
from xml.etree import ElementTree

import html5lib
import nbformat
import pytest
from pypdf import PdfReader

from kit.errors import DataProblems, Misuse, NotebookFailed
from kit.report import notebook, run_notebook, write_notebook, write_report
from kit.report.notebooks import NOTEBOOK
from kit.report.publish import lettered
from kit.series import CAUTIONS, DEFERENCE, read_series, start_series

DEMO = Path(__file__).parents[2] / "data" / "demo"


@pytest.fixture(scope="module")
def made(demo, tmp_path_factory):
    """The report of the demo series, made once, and the headings it told of."""
    told = []
    html = write_report(demo, tmp_path_factory.mktemp("reports") / "demo", progress=told.append)
    return html.parent, told


@pytest.fixture(scope="module")
def body(made):
    html = (made[0] / "report.html").read_text("utf-8")
    return html5lib.parse(html, namespaceHTMLElements=False).find("body")


def words(element):
    return " ".join("".join(element.itertext()).split())


def test_every_file_is_there_and_whole(made):
    names = {path.name for path in made[0].iterdir()} - {".lock"}
    assert names == {
        "report.html", "report.pdf", "summary.pdf", "pair-chart.png",
        "pair-chart.svg", "pairs.csv", "entry.json", "made-from.txt", "wall-chart.pdf",
        "pairs-measured.csv", "wall-chart-measured.pdf",
    }  # fmt: skip
    html5lib.HTMLParser(strict=True).parse((made[0] / "report.html").read_text("utf-8"))
    assert len(PdfReader(made[0] / "summary.pdf").pages) == 1
    assert 4 < len(PdfReader(made[0] / "report.pdf").pages) <= 12


def test_page_without_photographs_is_under_a_megabyte(made):
    assert (made[0] / "report.html").stat().st_size < 1_000_000


def test_progress_says_what_is_being_done(made):
    assert made[1] == ["Fitting the models", "Drawing the pictures", "Writing the files"]


def test_the_answer_comes_first_and_every_part_is_there(body):
    parts = [section.get("id") for section in body.findall(".//main/section")]
    assert parts[0] == "answer"
    assert {"pairs", "surprises", "fired", "next", "behind", "teacher"} <= set(parts)


def test_headings_go_down_one_level_at_a_time(body):
    levels = [int(e.tag[1]) for e in body.iter() if e.tag in ("h1", "h2", "h3", "h4", "h5", "h6")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_every_picture_states_a_finding_and_says_what_is_to_be_seen(body):
    figures = body.findall(".//main//figure")
    assert len(figures) > 30
    for figure in figures:
        caption, image = words(figure.find("figcaption")), figure.find("img")
        drawn = figure.find(".//*[@role='img']")
        said = image.get("alt") if image is not None else drawn.get("aria-label")
        assert len(caption.split()) >= 5
        assert len(said.split()) >= 8
        assert said != caption


def test_every_table_has_a_caption_and_headers_with_scope(body):
    tables = body.findall(".//table")
    assert tables
    for table in tables:
        assert words(table.find("caption"))
        assert all(th.get("scope") == "col" for th in table.findall("./thead//th"))
        assert all(row[0].get("scope") == "row" for row in table.findall("./tbody/tr"))


def test_no_two_regions_of_the_page_have_the_same_name(body):
    names = [e.get("aria-label") for e in body.iter() if e.get("role") == "region"]
    assert names
    assert len(set(names)) == len(names)


def test_contents_lead_to_every_part(body):
    anchors = {element.get("id") for element in body.iter() if element.get("id")}
    links = [a.get("href")[1:] for a in body.findall(".//nav//a")]
    assert len(links) >= 6
    assert set(links) <= anchors


def test_tables_can_be_taken_out_as_they_are_on_disk_but_for_the_graders_names(body):
    names = ("grades.csv", "corrections.csv", "series.toml")
    for link in body.findall(".//p[@class='download']/a"):
        content = unquote_to_bytes(link.get("href").split(",", 1)[1])
        if link.get("download") in names:
            assert b"Wren" not in content
        elif (DEMO / link.get("download")).exists():
            assert content == (DEMO / link.get("download")).read_bytes()


def test_the_pairs_can_be_taken_out_as_they_are_beside_the_page(made, body):
    links = {a.get("download"): a.get("href") for a in body.findall(".//p[@class='download']/a")}
    inside = unquote_to_bytes(links["pairs.csv"].split(",", 1)[1])
    assert inside == (made[0] / "pairs.csv").read_bytes()


def test_every_picture_in_the_page_is_whole_svg(body):
    sources = [image.get("src") for image in body.findall(".//img")]
    drawn = [source for source in sources if source.startswith("data:image/svg+xml,")]
    assert len(drawn) > 10
    for source in drawn:
        svg = ElementTree.fromstring(unquote_to_bytes(source.split(",", 1)[1]))
        assert svg.tag == "{http://www.w3.org/2000/svg}svg"


def test_graders_have_letters_unless_their_names_are_asked_for(made, tmp_path):
    assert "Wren" not in (made[0] / "report.html").read_text("utf-8")
    (series,) = lettered(read_series(DEMO))
    assert set(series.grades["grader"]) == {"A", "B"}
    assert series.settings.graders == ("B", "A")


def test_cautions_are_in_the_words_of_the_bench_paper(body):
    cautions = words(body)
    assert all(caution.text in cautions for caution in CAUTIONS)
    assert DEFERENCE in cautions


def test_second_time_in_another_place_language_and_time_zone_gives_the_same_bytes(
    fired, tmp_path, monkeypatch
):
    """Once here, once through the notebook, which writes every file in a process of its own."""
    here = write_report(fired.write(tmp_path / "here" / fired.name), tmp_path / "once").parent
    monkeypatch.setenv("TZ", "Pacific/Kiritimati")
    monkeypatch.setenv("LC_ALL", "C")
    monkeypatch.chdir(tmp_path)
    shutil.copytree(tmp_path / "here", tmp_path / "elsewhere")
    notebook = write_notebook(tmp_path / "elsewhere" / fired.name, tmp_path / "again")
    nbformat.validate(nbformat.read(notebook, as_version=4))
    assert str(tmp_path) not in notebook.read_text("utf-8")
    for path in here.iterdir():
        assert (tmp_path / "again" / path.name).read_bytes() == path.read_bytes(), path.name


def test_failing_notebook_names_the_part_keeps_what_it_got_and_the_earlier_report(
    demo, made, tmp_path, monkeypatch
):
    book = nbformat.read(Path(__file__).parents[2] / "notebooks" / f"{NOTEBOOK}.ipynb", 4)
    work = next(cell for cell in book.cells if cell["id"] == "work-out")
    work.source = "raise ValueError('the torch went out')\n" + work.source
    nbformat.write(book, tmp_path / f"{NOTEBOOK}.ipynb")
    monkeypatch.setattr("kit.report.notebooks.notebook", lambda name: tmp_path / f"{name}.ipynb")
    earlier = shutil.copytree(made[0], tmp_path / "reports")
    with pytest.raises(NotebookFailed) as failure:
        write_notebook(demo, earlier)
    assert "'Work it out'" in str(failure.value)
    assert "the torch went out" in str(failure.value)
    assert str(earlier / "failed.ipynb") in str(failure.value)
    kept = nbformat.read(earlier / "failed.ipynb", as_version=4)
    assert any("torch" in str(cell.get("outputs")) for cell in kept.cells)
    for path in made[0].iterdir():
        assert (earlier / path.name).read_bytes() == path.read_bytes()


def test_problems_in_the_data_are_told_before_anything_runs(tmp_path):
    series = shutil.copytree(DEMO, tmp_path / "data" / "demo")
    (series / "tiles.csv").write_text("tile\n1\n", "utf-8")
    with pytest.raises(DataProblems, match=r"tiles\.csv"):
        write_report(series)
    assert not (tmp_path / "reports").exists()


@pytest.mark.parametrize("listed", [False, True], ids=["no colours", "no plan"])
def test_nothing_to_report_is_a_sentence_and_writes_nothing(listed, tmp_path):
    folder = start_series(tmp_path / "data" / "bare", seed=1)
    if listed:
        shutil.copy(DEMO / "colours.csv", folder / "colours.csv")
    with pytest.raises(Misuse, match="Nothing is graded yet in bare, and no"):
        write_report(folder)
    assert not (tmp_path / "reports").exists()


def test_missing_series_is_a_sentence(tmp_path):
    with pytest.raises(Misuse, match="There is no series at"):
        write_report(tmp_path / "data" / "nowhere")


def test_report_needs_no_registered_kernel(tmp_path, monkeypatch):
    """Whatever kernel called python3 a machine has registered, the running Python is used."""
    wrong = tmp_path / "jupyter" / "kernels" / "python3"
    wrong.mkdir(parents=True)
    (wrong / "kernel.json").write_text('{"argv": ["/bin/false"], "display_name": "x"}', "utf-8")
    monkeypatch.setenv("JUPYTER_PATH", str(tmp_path / "jupyter"))
    monkeypatch.setenv("JUPYTER_DATA_DIR", str(tmp_path / "jupyter"))
    shutil.copytree(DEMO, tmp_path / "data" / "demo")
    monkeypatch.chdir(tmp_path)
    run_notebook(notebook("03_record"), {}, tmp_path / "ran.ipynb")
    ran = nbformat.read(tmp_path / "ran.ipynb", as_version=4)
    assert any(cell.get("outputs") for cell in ran.cells)
