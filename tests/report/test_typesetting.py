"""Documents on screen and on paper: valid, accessible, safe, the same every time."""

import datetime as dt
import io

import html5lib
import pytest
from pypdf import PdfReader

from kit.drawing import Drawing
from kit.drawing.svg import words
from kit.report.page import pdf
from kit.report.page.document import (
    Answer,
    Bullets,
    Caution,
    Document,
    Download,
    Fold,
    Formula,
    Paragraph,
    Point,
    Section,
    TableBlock,
)
from kit.report.page.html import fragment, page
from kit.report.page.picture import Picture, drawn_with, new_figure

TYPED = "<b>&amp; #strong[x] $y$ _z_ \\alpha"


def picture():
    with drawn_with():
        figure = new_figure(2.0)
        figure.subplots().set_title(TYPED)
    return Picture("a-picture", TYPED, "nothing to see", figure, TYPED)


def document():
    blocks = (
        Answer(TYPED),
        Paragraph(TYPED),
        Bullets((Point(TYPED, TYPED),)),
        Caution(TYPED, (Point(TYPED),)),
        Formula(f"{TYPED}\nsecond line"),
        TableBlock(TYPED, ("A", "B"), ((TYPED, "1"),), frozenset({1})),
        picture(),
        Download("grades.csv", TYPED, b"a,b\n1,2\n"),
        Fold(TYPED, (Paragraph("folded"), picture())),
        Section("inner", TYPED, (Paragraph("inner"),)),
    )
    return Document(TYPED, TYPED, (Section("outer", TYPED, blocks),), dt.date(2026, 3, 14), TYPED)


def test_page_is_valid_html():
    html5lib.HTMLParser(strict=True).parse(page(document()))


@pytest.mark.parametrize("block", document().sections[0].blocks, ids=lambda b: type(b).__name__)
def test_every_kind_of_part_shows_in_a_notebook(block):
    html5lib.HTMLParser(strict=True).parseFragment(fragment(block))


def test_what_was_typed_shows_as_typed_on_the_page():
    body = html5lib.parse(page(document()), namespaceHTMLElements=False).find("body")
    assert "".join(body.find(".//h1").itertext()) == TYPED
    assert body.find(".//b") is None
    assert all(TYPED in "".join(p.itertext()) for p in body.iterfind(".//main//li"))


def test_what_was_typed_shows_as_typed_on_paper():
    text = PdfReader(io.BytesIO(pdf.pages(document()))).pages[0].extract_text()
    assert text.replace("\n", " ").count("<b>&amp; #strong[x] $y$ _z_ \\alpha") > 8


def test_page_needs_nothing_from_elsewhere():
    html = page(document())
    for reference in ('src="http', 'href="http', "url(", "@import", "<script", "<link"):
        assert reference not in html


@pytest.mark.parametrize("set_on_paper", [pdf.pages, pdf.wall_sheet])
def test_paper_is_the_same_every_time_and_tagged(set_on_paper):
    first = set_on_paper(document())
    assert first == set_on_paper(document())
    reader = PdfReader(io.BytesIO(first))
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert reader.trailer["/Root"]["/Lang"] == "en"
    assert reader.metadata.title == TYPED


def test_a_picture_whose_letters_have_no_font_or_no_code_keeps_nothing_from_paper():
    """Syllables of Devanagari are one sign in a picture; the last letter is in no font at all."""
    drawn = Drawing("names", "Names", "Two names.", 90, 30, words(2, 12, "नील \U0001e020"))
    told = Document("Names", "नील", (Section("names", "Names", (drawn,)),))
    first = pdf.pages(told)
    assert first == pdf.pages(told)
    reader = PdfReader(io.BytesIO(first))
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]


def test_paper_fits_a4_and_letter():
    # ISO 216: A4 is 210 x 297 mm. ANSI/ASME Y14.1: Letter is 8.5 x 11 in, 215.9 x 279.4 mm.
    box = PdfReader(io.BytesIO(pdf.pages(document()))).pages[0].mediabox
    assert float(box.width) / 72 * 25.4 <= 210.05
    assert float(box.height) / 72 * 25.4 <= 279.45


def test_wall_sheet_is_one_page_however_much_it_says():
    points = Bullets(tuple(Point("a pair that does something", "Sure:") for _ in range(40)))
    sections = tuple(Section(f"s{n}", "Pairs", (points,)) for n in range(2))
    long = Document("Title", "Question", sections)
    assert len(PdfReader(io.BytesIO(pdf.wall_sheet(long))).pages) == 1


def test_pictures_are_the_same_every_time_and_whatever_the_person_set():
    import matplotlib as mpl

    plain = picture().svg
    with mpl.rc_context({"font.size": 30, "axes.facecolor": "red", "svg.hashsalt": "other"}):
        assert picture().svg == plain
