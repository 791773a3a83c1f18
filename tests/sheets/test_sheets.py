"""What stands on the sheets, and that it stands there as typed."""

import re
from dataclasses import replace
from html import unescape
from itertools import pairwise

import pandas as pd
import pytest

from kit.drawing import pair_charts
from kit.errors import Misuse
from kit.model import FINE_EDGE
from kit.record import grading_order
from kit.series import CAUTIONS, Scale, Stencil, cautions_for
from kit.sheets import Stickers, wall_chart, write_photo_card, write_sheets
from kit.sheets.work_order import work_order_data

NASTY = (
    '#panic("x") *bold* _it_',
    "<script>alert(1)</script> & co",
    "\\input{x} $y^2$ @ref <label>",
    "=cmd|' /C calc'!A0",
    "Ж é ß – “quoted”",
    "Supercalifragilisticexpialidociousenamelforcoppertiles",
)


def squeezed(text: str) -> str:
    """Text without the breaks that a narrow column makes."""
    return "".join(text.split())


def test_the_shopping_list_names_copper_enamel_sifters_and_stencils(sheets):
    text = sheets["shopping"].text
    for words in (
        "50 × 50 mm (1.97 × 1.97 in)",
        "1.2 mm (0.047 in)",
        "gauge 17",
        "ASTM B258",
        "Counter-enamel for all backs, any colour that suits 25.71 g",
        "80 180 µm (0.0071 in) base coats",
        "100 150 µm (0.0059 in) overlays",
        "allow for 30\u00a0% of the powder",
    ):
        assert words in text


def test_every_tile_has_a_card_with_its_recipe(sheets, series):
    text = sheets["bench-cards"].text
    for tile in series.tiles["tile"]:
        assert f"Tile {tile}" in text and f"T{tile}" in text
    assert text.count("before firing 2") == 6
    assert text.count("40 mg/cm²") == len(series.patches)


def test_a_dose_is_what_ten_spoons_or_passes_are_divided_by(sheets, plan, pdf, tmp_path):
    """40 mg/cm² on a disc of 14 mm, 30 % lost, is 0.088 g; 40 mg/cm² on 100 cm² is 4 g; by ten."""
    text = " ".join(sheets["bench-cards"].page_text(0).split())
    assert "40 mg/ cm²: 0.88 g ÷ it" in text and "40 mg/ cm²: 40.00 g ÷ it" in text
    assert "30\u00a0% of the powder" in sheets["bench-cards"].page_text(0).replace("\n", " ")
    thick = plan().patches.assign(coat_weight=[40.0, 60.0] * 12)
    paths = {p.stem: p for p in write_sheets(replace(plan(), patches=thick), tmp_path)}
    two = " ".join(pdf(paths["bench-cards"].read_bytes()).page_text(0).split())
    assert "60 mg/ cm²: 1.32 g ÷ it" in two
    for colour in set(plan().patches["overlay"]):
        assert colour in two[two.index("Doses") : two.index("Tile 1")]


def test_whoever_wants_it_has_the_exact_weight_of_every_patch(plan, pdf, tmp_path):
    series = plan()
    paths = {p.stem: p for p in write_sheets(series, tmp_path, weighing="each")}
    texts = {name: pdf(path.read_bytes()).text for name, path in paths.items()}
    assert texts["bench-cards"].count("0.088 g") == len(series.patches)
    assert texts["order-of-work"].count("0.088 g") == len(series.patches)
    assert "Doses" not in texts["bench-cards"] and "0.001 g" in texts["shopping"]


def test_the_order_of_work_has_every_step_in_order(sheets):
    text = sheets["order-of-work"].text
    steps = (
        "1. Cut, number and clean the copper", "2. Sift the counter-enamel on the back",
        "3. Fire the counter-enamel", "4. Pickle the front", "5. Sift base coat 1",
        "6. Fire base coat 1 (firing 0)", "7. Sift base coat 2", "8. Fire base coat 2 (firing 0)",
        "9. Stencil what goes on before firing 1", "10. Firing 1",
        "11. Photograph and grade after firing 1", "12. Stencil what goes on before firing 2",
        "13. Firing 2", "14. Photograph and grade after firing 2", "15. Firing 3",
        "16. Photograph and grade after firing 3", "17. At the end",
    )  # fmt: skip
    first = text[: text.index("Session 2")]
    places = [first.index(step) for step in steps]
    assert places == sorted(places)
    for column in ("Minutes", "Heat", "Cooled", "Accident? What happened"):
        assert column in text
    # As heavy as both base coats of 60 mg/cm² on 25 cm², with three tenths lost.
    assert first.count("counter-enamel 80 4.29 g") == 3


def test_the_sifter_is_cleaned_when_it_goes_from_one_family_to_the_other(series):
    family = dict(zip(series.colours["colour"], series.colours["family"], strict=True))
    for session in work_order_data(series, None, "once")["sessions"]:
        rows = [row for stage in session["stages"] for row in stage["rows"] if row.get("family")]
        for mesh in (80, 100):
            own = [row for row in rows if row["mesh"] == mesh]
            assert not own[0]["clean"]
            for before, row in pairwise(own):
                assert row["clean"] == (family[before["colour"]] != family[row["colour"]])


def test_each_grader_gets_a_sheet_for_each_firing_in_their_blind_order(sheets, series):
    text = sheets["grading"].text
    parts = text.split("Grades after firing ")[1:]
    expected = [(f, g) for f in (1, 2, 3) for g in ("Ada", "Ben")]
    assert len(parts) == len(expected)
    for part, (firing, grader) in zip(parts, expected, strict=True):
        assert part.startswith(str(firing)) and f"Grader: {grader}" in part
        words = [w for w in part.split() if w.startswith("T") and w[1:2].isdigit() and "-" in w]
        rows = [w for w in words if w in set(series.patches["patch"])]
        assert rows == grading_order(series, firing, grader)
        second = part.index("Tiles of session 2")
        own = set(series.tiles.loc[series.tiles["session"] == 1, "tile"])
        assert part.index("Tiles of session 1") < second
        assert {int(w[1:].split("-")[0]) for w in part[:second].split() if w in rows} == own


def test_the_recipe_stands_on_the_grading_sheet_only_when_grading_is_open(
    sheets, plan, pdf, tmp_path
):
    assert "over Fog" not in sheets["grading"].text
    paths = {p.stem: p for p in write_sheets(plan(blind=False), tmp_path)}
    assert "over Fog" in pdf(paths["grading"].read_bytes()).text


def test_every_step_of_every_scale_is_explained(plan, pdf, tmp_path):
    gloss = Scale("gloss", "Gloss", "How does it shine?", ("matt", "silk", "satin", "wet", "glass"))
    series = plan(scales=(*plan().settings.scales, gloss))
    paths = {p.stem: p for p in write_sheets(series, tmp_path)}
    text = squeezed(pdf(paths["grading"].read_bytes()).text)
    for scale in series.settings.scales:
        assert squeezed(scale.question) in text
        for step in scale.steps:
            assert squeezed(step) in text


def test_grading_sheets_fill_their_pages(plan, pdf, tmp_path):
    """The last line of every page of a long sheet stands in its lowest tenth."""
    series = plan(tiles=24, graders=("Ada",))
    paths = {p.stem: p for p in write_sheets(series, tmp_path)}
    sheet = pdf(paths["grading"].read_bytes())
    firsts = [n for n in range(len(sheet.reader.pages)) if "Grades after" in sheet.page_text(n)]
    assert len(firsts) == 3 and len(sheet.reader.pages) == 6
    for number in range(len(sheet.reader.pages)):
        assert min(shape.bottom for shape in sheet.shapes(number)) < 17 + 26


def test_names_that_break_in_every_layout_of_grades_stay_in_their_rows(plan, pdf, tmp_path):
    more = tuple(Scale(f"s{i}", f"Scale {i}", "Q?", tuple("abcde")) for i in range(3))
    for scales in ((), more[:1], more):
        series = plan(scales=(*plan().settings.scales, *scales), blind=False, names=NASTY)
        paths = {p.stem: p for p in write_sheets(series, tmp_path)}
        text = pdf(paths["grading"].read_bytes()).text
        rows = [word for word in text.split() if word in set(series.patches["patch"])]
        assert len(rows) == len(grading_order(series, 1)) + 2 * len(series.patches)


def test_many_scales_turn_the_sheet_on_its_side(plan, pdf, tmp_path):
    more = tuple(Scale(f"s{i}", f"Scale {i}", "Q?", tuple("abcde")) for i in range(4))
    series = plan(tiles=1, scales=(*plan().settings.scales, *more))
    paths = {p.stem: p for p in write_sheets(series, tmp_path)}
    width, height = pdf(paths["grading"].read_bytes()).size_mm()
    assert width > height


@pytest.mark.parametrize(
    ("sheet", "steps"),
    [
        ("shopping", ("cut", "pickle", "use")),
        ("grading", ("grade",)),
        ("photo-card", ("photograph",)),
    ],
)
def test_every_sheet_carries_the_cautions_of_its_steps(sheets, sheet, steps):
    text = squeezed(sheets[sheet].text)
    for caution in cautions_for(*steps):
        assert squeezed(caution.title) in text and squeezed(caution.text) in text
    assert squeezed("local rules and licensed practice decide") in text


@pytest.mark.parametrize("sheet", ["bench-cards", "order-of-work"])
def test_the_bench_sheets_carry_every_caution(sheets, sheet):
    text = squeezed(sheets[sheet].page_text(0))
    for caution in CAUTIONS:
        assert squeezed(caution.title) in text and squeezed(caution.text) in text


@pytest.mark.parametrize(
    ("sheet", "words"),
    [
        ("shopping", "water to acid"),
        ("bench-cards", "Lead-bearing"),
        ("order-of-work", "Wet clean"),
        ("grading", "Never put lead"),
        ("photo-card", "Keep your glasses"),
        ("labels", "Contains lead"),
        ("order-of-work", "licensed practice"),
    ],
)
def test_no_caution_is_smaller_than_nine_points(sheets, sheet, words):
    assert sheets[sheet].smallest(words) >= 9 - 0.01


def test_the_cautions_say_what_they_must():
    said = " ".join(f"{c.title} {c.text}" for c in CAUTIONS).lower()
    for words in (
        "lead", "silica", "respirator", "damp cloth", "never sweep", "do not eat",
        "eye protection", "burns", "extractor", "pickle", "never quench", "food", "child",
    ):  # fmt: skip
        assert words in said


def test_labels_start_where_the_last_sheet_of_stickers_ended(series, pdf, tmp_path):
    whole = {p.stem: p for p in write_sheets(series, tmp_path / "a")}
    begun = Stickers("a4 3 x 8", used=20)
    later = {p.stem: p for p in write_sheets(series, tmp_path / "b", stickers=begun)}
    assert len(pdf(whole["labels"].read_bytes()).reader.pages) == 1
    pages = pdf(later["labels"].read_bytes())
    assert "T4" in pages.page_text(0) and "T5" not in pages.page_text(0)
    assert "T5" in pages.page_text(1) and "T6" in pages.page_text(1)
    with pytest.raises(Misuse, match="has 24 stickers"):
        Stickers("a4 3 x 8", used=24)
    with pytest.raises(Misuse, match="no label sheet 'a4 9 x 9'"):
        Stickers("a4 9 x 9")
    with pytest.raises(Misuse, match="is not US Letter"):
        write_sheets(series, tmp_path / "c", "us-letter", stickers=begun)


def test_labels_of_tiles_with_lead_say_so(sheets):
    text = sheets["labels"].text
    assert text.count("Contains lead") == 6
    assert "on Fog" in text


def test_names_print_as_typed_on_every_sheet(plan, pdf, tmp_path):
    series = plan(names=NASTY, title=NASTY[0], question=NASTY[1], graders=(NASTY[2],), blind=False)
    for path in write_sheets(series, tmp_path):
        text = squeezed(pdf(path.read_bytes()).text)
        wanted = {
            "grading": [NASTY[2]],
            "grade-card": [NASTY[0]],
            "order-of-work": NASTY,
            "labels": NASTY,
        }
        for name in wanted.get(path.stem, [NASTY[0], *NASTY]):
            assert squeezed(name) in text, (path.stem, name)


@pytest.mark.parametrize(
    ("package", "font", "name"),
    [
        ("justmytype_intl_cjk", "NotoSans", "霧の灰色"),
        ("justmytype_intl_cjk", "NotoSans", "안개 회색"),
        ("justmytype_intl_south_asia", "Devanagari", "धुंध नीला"),
        ("justmytype_intl_sea", "Thai", "หมอกเทา"),
    ],
)
def test_names_in_other_scripts_are_set_in_a_font_that_has_them(
    plan, pdf, tmp_path, package, font, name
):
    pytest.importorskip(package, reason='pip install ".[fonts]" brings the fonts')
    series = plan(names=(name, "Slate"), tiles=2)
    for path in write_sheets(series, tmp_path):
        if path.stem not in ("grading", "grade-card"):
            assert any(font in used for used in pdf(path.read_bytes()).fonts), path.stem


def test_no_drawing_leaves_the_page(plan, pdf, tmp_path):
    series = plan(names=NASTY, places=9, stencil=Stencil(size_mm=9), title="x" * 90)
    for path in write_sheets(series, tmp_path, "us-letter"):
        found = pdf(path.read_bytes())
        for number in range(len(found.reader.pages)):
            width, height = found.size_mm(number)
            for shape in found.shapes(number):
                assert shape.left >= -0.1 and shape.left + shape.width <= width + 0.1
                assert shape.bottom >= -0.1 and shape.bottom + shape.height <= height + 0.1


def test_the_same_series_gives_the_same_bytes(series, tmp_path):
    first = {p.name: p.read_bytes() for p in write_sheets(series, tmp_path / "a")}
    second = {p.name: p.read_bytes() for p in write_sheets(series, tmp_path / "b")}
    assert first == second


def test_one_session_has_its_own_tiles_and_steps_only(series, pdf, tmp_path):
    whole = {p: p.read_bytes() for p in write_sheets(series, tmp_path)}
    paths = {p.stem: p for p in write_sheets(series, tmp_path, session=2)}
    cards = pdf(paths["bench-cards-session-2"].read_bytes()).text
    assert "Tile 4" in cards and "Tile 3" not in cards
    assert {p: p.read_bytes() for p in whole} == whole
    grades = pdf(paths["grading-session-2"].read_bytes()).text
    assert "Tiles of session 2" in grades and "Tiles of session 1" not in grades
    work = pdf(paths["order-of-work-session-2"].read_bytes()).text
    assert "Session 2" in work and "Session 1" not in work


def test_every_session_says_its_minutes_and_heat_where_sessions_are_compared(series, pdf, tmp_path):
    levels = {"session": [1, 2], "minutes": [1.5, 2.5], "heat": ["torch", "kiln"]}
    differ = replace(series, sessions=pd.DataFrame(levels).astype({"heat": "str"}))
    paths = {p.stem: p for p in write_sheets(differ, tmp_path, session=2)}
    for sheet in ("order-of-work-session-2", "bench-cards-session-2"):
        text = " ".join(pdf(paths[sheet].read_bytes()).text.split())
        assert "2.5 minutes in the kiln" in text
        assert "1.5 min" not in text and "Usual time" not in text
    same = {p.stem: p for p in write_sheets(series, tmp_path / "same", session=2)}
    text = " ".join(pdf(same["order-of-work-session-2"].read_bytes()).text.split())
    assert "Usual time in the heat: 1.5 min" in text


def test_what_cannot_be_printed_is_said_plainly(series, tmp_path):
    with pytest.raises(Misuse, match="a4, us-letter"):
        write_sheets(series, tmp_path, "a3")
    with pytest.raises(Misuse, match="session 9"):
        write_sheets(series, tmp_path, session=9)
    with pytest.raises(Misuse, match="no tiles yet"):
        write_sheets(replace(series, tiles=series.tiles[:0]), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_progress_is_told(series, tmp_path):
    said: list[str] = []
    write_sheets(series, tmp_path, progress=said.append)
    assert len(said) == 6


def test_slips_stop_where_marks_do(plan, pdf, tmp_path):
    series = plan(tiles=2)
    far = series.tiles.assign(tile=[1, 950])
    series = replace(series, tiles=far, patches=series.patches.replace({"tile": {2: 950}}))
    text = pdf(write_photo_card(series, tmp_path).read_bytes()).text
    assert "tile 1" in text and "tile 950" not in text
    cards = {p.stem: p for p in write_sheets(series, tmp_path)}["bench-cards"]
    assert "Tile 950" in pdf(cards.read_bytes()).text


def test_the_wall_chart_is_the_reports_own_drawing(pdf):
    """Every name, every number and the rule; one row of the table a pair and firing count."""
    names = NASTY[:4]
    families = dict(zip(names, ["leaded"] * 2 + ["unleaded"] * 2, strict=True))
    pairs = pd.DataFrame(
        [
            {
                "base": base,
                "overlay": overlay,
                "base_family": families[base],
                "overlay_family": families[overlay],
                "firings": firings,
                "patches": 1,
                "fine_edge": 0.9985,
                "soft_edge": 0.0010,
                "broken_through": 0.0005,
                "hit_or_miss": 0.0,
                "verdict": FINE_EDGE,
                "leans_to": FINE_EDGE,
            }
            for base in names
            for overlay in names
            for firings in (1, 2)
            if base != overlay
        ]
    )
    rule = "At 100 mesh and 2 firings."
    colours = pd.DataFrame({"colour": names, "family": families.values()})
    text = " ".join(pdf(wall_chart(pairs, colours, "Pairs", rule=rule)).text.split())
    (drawing,) = pair_charts(pairs, colours)
    assert rule in text and drawing.title in text and drawing.note in text
    said = re.findall(r"<text[^>]*>([^<]+)</text>", drawing.marks)
    assert said.count("2") == 12
    for words in map(unescape, said):
        assert squeezed(words) in squeezed(text)
    with pytest.raises(Misuse, match="none has been judged"):
        wall_chart(pairs[:0], colours, "Pairs")
