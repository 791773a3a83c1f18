"""Whatever is handed in: too much is refused quickly, and what is odd is named."""

import io
import multiprocessing
import resource
import time
import zipfile
from pathlib import Path

import openpyxl
import pytest
from openpyxl.styles import Font

from kit.record import read_file, take_in, write_workbook
from kit.series import examine, packed_excess, read_series

HEAD = "patch,firing,grader,spread,pull_through,note\n"
SHEET = "xl/worksheets/sheet1.xml"


def workbook_with(xml: bytes) -> bytes:
    """A small workbook whose first sheet is replaced by other XML."""
    book = openpyxl.Workbook()
    packed = io.BytesIO()
    book.save(packed)
    out = io.BytesIO()
    with zipfile.ZipFile(packed) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, xml if name == SHEET else old.read(name))
    return out.getvalue()


def sheet_of(inner: str, before: str = "", after: str = "") -> bytes:
    return (
        f'{before}<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        f"<sheetData>{inner}</sheetData>{after}</worksheet>"
    ).encode()


TOO_MUCH = {
    "many cells": lambda: workbook_with(sheet_of("<row>" + "<c><v>1</v></c>" * 400_000 + "</row>")),
    "many rows": lambda: workbook_with(sheet_of("<row/>" * 200_000)),
    "a merge of the whole sheet": lambda: workbook_with(
        sheet_of("", after='<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>')
    ),
    "deep nesting": lambda: workbook_with(sheet_of("<row>" * 5000 + "</row>" * 5000)),
    "much text": lambda: workbook_with(sheet_of("<row><c><v>" + "9" * 90_000_000)),
    "entities in entities": lambda: workbook_with(
        sheet_of(
            "<row><c><v>&b;</v></c></row>",
            before='<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>',
        )
    ),
    "a million rows of text": lambda: (HEAD + "T1-1,1,Ada,1,1,\n" * 1_000_000).encode(),
    "a million empty rows": lambda: (HEAD + ",,,,,\n" * 1_000_000).encode(),
    "a very wide row": lambda: (HEAD + "," * 2_000_000).encode(),
    "a very long cell": lambda: (HEAD + "T1-1,1,Ada,1,1," + "x" * 3_000_000).encode(),
    "far too many bytes": lambda: b"x" * 60_000_000,
}


@pytest.fixture(scope="module")
def small():
    """Processes that have read the kit and nothing else, so that what each takes can be told."""
    way = "forkserver" if "forkserver" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(way)
    context.set_forkserver_preload(["kit.record.intake"])
    return context


def refused(folder: Path, path: Path, answer: multiprocessing.Queue) -> None:
    """Take a file in, in a process of its own, and say what it said and what it took."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begun = time.process_time()
    try:
        intake = take_in(folder, path, "Ada")
        said = [str(problem) for problem in intake.problems]
    except Exception as refusal:  # whatever it is, the test shows it
        said = [str(refusal)]
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    answer.put((said, time.process_time() - begun, grown / 1024))


@pytest.mark.parametrize("case", TOO_MUCH)
def test_too_much_is_refused_in_a_sentence_in_little_time_and_memory(small, folder, tmp_path, case):
    content = TOO_MUCH[case]()
    path = tmp_path / ("big.xlsx" if content.startswith(b"PK") else "big.csv")
    path.write_bytes(content)
    del content
    answer = small.Queue()
    process = small.Process(target=refused, args=(folder, path, answer))
    process.start()
    said, seconds, grown = answer.get(timeout=60)
    process.join()
    assert len(said) == 1 and len(said[0]) < 300, said
    assert seconds < 2
    assert grown < 300


def test_table_of_the_series_that_is_far_too_large_is_refused(folder):
    (folder / "grades.csv").write_text(HEAD + "T1-1,1,Ada,1,1,\n" * 200_000)
    begun = time.process_time()
    series, problems = examine(folder)
    assert series is None and time.process_time() - begun < 2
    assert any("200 001 rows" in p.wrong for p in problems)


def test_many_rows_wrong_alike_are_named_quickly_and_not_all(folder):
    (folder / "grades.csv").write_text(HEAD + "T9-9,1,Eve,1,1,\n" * 40_000)
    begun = time.process_time()
    _, problems = examine(folder)
    assert time.process_time() - begun < 10
    assert {p.column for p in problems} >= {"patch", "grader"}


def test_workbooks_that_people_fill_in_are_far_within_the_budget(series, tmp_path):
    assert packed_excess(write_workbook(series, tmp_path / "w.xlsx").read_bytes()) == ""


def filled(series, tmp_path) -> openpyxl.Workbook:
    book = openpyxl.load_workbook(write_workbook(series, tmp_path / "w.xlsx", "Ada"))
    book["Grades"]["C7"], book["Grades"]["C8"] = 1, 2
    return book


def test_hidden_rows_sheets_and_struck_out_cells_are_named(series, folder, tmp_path):
    book = filled(series, tmp_path)
    book["Grades"].row_dimensions[8].hidden = True
    book["Grades"]["C7"].font = Font(strike=True)
    book["Firings"].sheet_state = "hidden"
    book.save(tmp_path / "odd.xlsx")
    intake = take_in(folder, tmp_path / "odd.xlsx", "Ada")
    told = "\n".join(intake.doubts)
    assert "sheet Grades: hidden rows were read: 8." in told
    assert "struck-out cells were read: C7." in told
    assert "sheet Firings is hidden" in told
    assert len(intake.comparison.new) == 2
    assert "PLEASE LOOK AGAIN" in intake.describe()


def test_workbook_of_another_series_is_one_error(series, folder, tmp_path):
    book = filled(series, tmp_path)
    for sheet in ("Grades", "Firings", "Accidents"):
        book[sheet]["C2"] = "spring"
    book["Grades"]["A7"] = "T99-9"
    book.save(tmp_path / "other.xlsx")
    (problem,) = take_in(folder, tmp_path / "other.xlsx", "Ada").problems
    assert "belongs to the series 'spring', not to 'trial'" in problem.wrong


ODS = """<?xml version="1.0" encoding="UTF-8"?>
<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
 xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"
 xmlns:style="urn:oasis:names:tc:opendocument:xmlns:style:1.0"
 xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0">
<office:automatic-styles>
<style:style style:name="ce1" style:family="table-cell">
<style:text-properties style:text-line-through-style="solid"/></style:style>
</office:automatic-styles>
<office:body><office:spreadsheet><table:table table:name="Grades">
<table:table-row>{heads}</table:table-row>
<table:table-row>{first}<table:table-cell table:number-columns-repeated="16000"/></table:table-row>
<table:table-row table:visibility="collapse">{second}</table:table-row>
<table:table-row table:number-rows-repeated="1048000">
<table:table-cell table:number-columns-repeated="16000"/></table:table-row>
</table:table></office:spreadsheet></office:body></office:document-content>"""


def ods(*rows: list[object]) -> bytes:
    """An OpenDocument spreadsheet as office programs write it."""

    def cell(value: object) -> str:
        if isinstance(value, int):
            kind = f'office:value-type="float" office:value="{value}"'
            return f"<table:table-cell {kind}><text:p>{value}</text:p></table:table-cell>"
        kind = 'office:value-type="string"'
        return f"<table:table-cell {kind}><text:p>{value}</text:p></table:table-cell>"

    heads, first, second = ("".join(map(cell, row)) for row in rows)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        file.writestr("content.xml", ODS.format(heads=heads, first=first, second=second))
    return packed.getvalue()


def test_open_document_spreadsheet_is_taken(series, tmp_path):
    path = tmp_path / "mine.ods"
    path.write_bytes(
        ods(
            ["Patch", "Firing", "Grader", "Spread", "Note"],
            ["T1-1", 1, "Ada", 3, "Moss &amp; more"],
            ["T1-2", 1, "Ada", 0, ""],
        )
    )
    entered = read_file(series, path)
    assert entered.problems == ()
    told = {(e.key[0], e.column): e.value for e in entered.entries}
    assert told == {("T1-1", "spread"): 3, ("T1-1", "note"): "Moss & more", ("T1-2", "spread"): 0}
    assert "hidden rows were read: 3" in entered.doubts[0]


def test_csv_of_one_sheet_of_the_workbook_is_taken(series, tmp_path):
    """A spreadsheet's 'save this sheet as CSV' keeps the title and the lines above the headings."""
    book = filled(series, tmp_path)
    lines = [",".join("" if c is None else str(c) for c in row)
             for row in book["Grades"].iter_rows(values_only=True)]  # fmt: skip
    path = tmp_path / "Grades.csv"
    path.write_text("\n".join(lines))
    entered = read_file(series, path)
    assert entered.problems == (), entered.problems[:2]
    assert [(e.key[2], e.value) for e in entered.entries] == [("Ada", 1), ("Ada", 2)]


def test_thousand_in_a_whole_number_column_is_asked_about(folder):
    path = folder / "tiles.csv"
    path.write_text(path.read_text().replace("1,Fog,2,80", '"1,000",Fog,2,80'))
    _, problems = examine(folder)
    assert "'1,000' may mean 1000 or 1." in {p.wrong for p in problems}


@pytest.mark.parametrize(
    ("word", "family"),
    [("lead-free", "unleaded"), ("Lead-bearing", "leaded"), ("LEAD FREE", "unleaded")],
)
def test_families_are_taken_as_jars_say_them(folder, word, family):
    path = folder / "colours.csv"
    path.write_text(path.read_text().replace(f",{family},", f",{word},"))
    assert set(read_series(folder).colours["family"]) == {"leaded", "unleaded"}


@pytest.mark.parametrize("word", ["lead", "leadd-free", "no lead", "un-leaded", "leaded-free"])
def test_what_is_merely_near_a_family_is_never_taken(folder, word):
    path = folder / "colours.csv"
    path.write_text(path.read_text().replace(",leaded,", f",{word},", 1))
    series, problems = examine(folder)
    assert series is None and problems[0].column == "family"
