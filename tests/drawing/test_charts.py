"""The pair chart says what the table says, and can be read: from 2 to 40 colours, in any script."""

import itertools
import re
import xml.etree.ElementTree as ET
from collections import Counter
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from PIL import ImageFont

from kit.drawing import chance_charts, layouts_of, pair_charts, text_width
from kit.drawing.svg import fitted_names
from kit.model import ENDINGS, FINE_EDGE, HIT_OR_MISS, NOT_KNOWN, shown_chance, through
from kit.series import FAMILIES
from kit.wording import whole_percent

SVG = "{http://www.w3.org/2000/svg}"
SCRIPTS = [
    "青い陶器の釉薬と長い名前の色", "深紅", "Ёлочка зелёная", "ελιά πράσινη", "فيروزي فاتح",
    "Übergroßlangername Nachtblauviolett", "Übergroßlangername Nachtblaugrün", "안개 회색",
]  # fmt: skip
PLAIN = [f"{a} {b}" for a, b in itertools.product(["Moss", "Rust", "Sky", "Plum"], "12345678")]
NAMES = {
    "two": PLAIN[:2],
    "three": PLAIN[:3],
    "twelve": PLAIN[:12],
    "scripts": SCRIPTS,
    "thirty": PLAIN[:30],
    "forty": [*PLAIN, *SCRIPTS],
}


def table(names, families=2, seed=1):
    """Pairs of some colours with chances drawn at random, and verdicts that go with them."""
    random = np.random.default_rng(seed)
    half = -(-len(names) // families)
    stock = pd.DataFrame(
        {"colour": names, "family": [FAMILIES[n // half] for n in range(len(names))]}
    )
    family = dict(zip(stock["colour"], stock["family"], strict=True))
    rows = []
    for base, overlay in itertools.permutations(names, 2):
        lean, fired = random.normal(), int(random.random() < 0.3)
        for firings in (1, 2, 3):
            chance = np.exp([3 * (lean - 0.5 * firings), 0.0, -3 * lean])
            chance /= chance.sum()
            top = int(chance.argmax())
            fickle = random.random() < 0.1
            verdict = ENDINGS[top] if chance[top] >= 0.8 else HIT_OR_MISS if fickle else NOT_KNOWN
            rows.append(
                (base, overlay, family[base], family[overlay], firings, fired, *chance, verdict,
                 ENDINGS[top], 0.85 if fickle else 0.1)
            )  # fmt: skip
    columns = [
        "base", "overlay", "base_family", "overlay_family", "firings", "patches",
        *(ending.replace(" ", "_") for ending in ENDINGS), "verdict", "leans_to", "hit_or_miss",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=columns), stock


def elements(drawing):
    return ET.fromstring(drawing.svg)


def letterings(drawing):
    """Boxes of every lettering of a chart: left, top, right, bottom, text."""
    boxes = []

    def walk(node, size, anchor):
        size = float(node.get("font-size", size))
        anchor = node.get("text-anchor", anchor)
        if node.tag == f"{SVG}text":
            x, y, wide = float(node.get("x")), float(node.get("y")), text_width(node.text, size)
            start = {"middle": -wide / 2, "end": -wide, "start": 0.0}[anchor]
            if "rotate(-90" in node.get("transform", ""):
                box = (x - 0.75 * size, y - wide - start, x + 0.2 * size, y - start)
            else:
                box = (x + start, y - 0.75 * size, x + start + wide, y + 0.2 * size)
            boxes.append((*box, node.text))
        for child in node:
            walk(child, size, anchor)

    walk(elements(drawing), 11, "start")
    return boxes


@pytest.mark.parametrize("many", range(2, 13))
@pytest.mark.parametrize("length", [4, 30])
def test_up_to_ten_colours_need_no_scrolling_on_a_phone(many, length):
    """A phone of 360 px leaves 342; with long names, ten colours fit, with short ones twelve."""
    names = [f"{chr(65 + n)}{'x' * (length - 1)}" for n in range(many)]
    (chart,) = pair_charts(*table(names))
    assert chart.width <= (342 if many <= 10 or length == 4 else 390)


@pytest.mark.parametrize("names", NAMES.values(), ids=NAMES)
@pytest.mark.parametrize("families", [1, 2])
def test_no_lettering_lies_on_another_nor_outside(names, families):
    pairs, stock = table(names, families)
    for drawing in (*pair_charts(pairs, stock), *chance_charts(pairs, stock, 2)):
        boxes = letterings(drawing)
        for one in boxes:
            assert one[0] >= -2, one
            assert one[1] >= -2, one
            assert one[2] <= drawing.width + 2, one
            assert one[3] <= drawing.height + 2, one
        for one, other in itertools.combinations(boxes, 2):
            apart = (
                one[2] <= other[0] + 0.5 or other[2] <= one[0] + 0.5
                or one[3] <= other[1] + 0.5 or other[3] <= one[1] + 0.5
            )  # fmt: skip
            assert apart, (one, other)


@pytest.mark.parametrize("names", NAMES.values(), ids=NAMES)
def test_lettering_can_be_read_on_a_phone_and_on_paper(names):
    # The page never sets a chart smaller than it is; paper sets it at most 482 pt wide (170 mm).
    pairs, stock = table(names)
    for drawing in (*pair_charts(pairs, stock), *chance_charts(pairs, stock, 2)):
        smallest = min(
            float(node.get("font-size"))
            for node in elements(drawing).iter()
            if node.get("font-size")
        )
        assert smallest >= 11
        assert smallest * min(1.1, 482 / drawing.width, 694 / drawing.height) >= 9


@pytest.mark.parametrize("names", NAMES.values(), ids=NAMES)
def test_every_pair_stands_in_one_cell(names):
    pairs, stock = table(names)
    shown = Counter(
        (base, overlay)
        for layout in layouts_of(pairs, stock)
        for base in layout.down
        for overlay in layout.across
        if base != overlay
    )
    assert set(shown) == set(zip(pairs["base"], pairs["overlay"], strict=True))
    assert set(shown.values()) == {1}


def test_numbers_are_the_firings_through_which_a_fine_edge_is_kept():
    pairs, stock = table(NAMES["twelve"])
    (chart,) = pair_charts(pairs, stock)
    (layout,) = layouts_of(pairs, stock)
    digits = {}
    for node in elements(chart).iter(f"{SVG}text"):
        if re.fullmatch(r"\d+", node.text or ""):
            at = float(node.get("x")), float(node.get("y"))
            base = next(b for b, y in layout.down.items() if y <= at[1] < y + layout.cell)
            overlay = next(o for o, x in layout.across.items() if x <= at[0] < x + layout.cell)
            digits[base, overlay] = int(node.text)
    kept = through(pairs)
    kept = kept[kept["through"] > 0]
    told = dict(zip(zip(kept["base"], kept["overlay"], strict=True), kept["through"], strict=True))
    assert digits == told
    assert f"Of 132 pairs, {len(told)} keep a fine edge" in chart.title


def test_cells_tell_the_chance_without_rounding_it_up():
    pairs, stock = table(NAMES["twelve"])
    (chart,) = chance_charts(pairs, stock, 2)
    here = pairs[pairs["firings"] == 2]
    written = sorted(
        int(node.text)
        for node in elements(chart).iter(f"{SVG}text")
        if re.fullmatch(r"\d+", node.text or "")
    )
    assert written == sorted(whole_percent(chance) for chance in shown_chance(here))


def test_alternative_text_counts_what_the_table_counts():
    pairs, stock = table(NAMES["twelve"])
    (chart,) = pair_charts(pairs, stock)
    for firings, rows in pairs.groupby("firings"):
        fine = int((rows["verdict"] == FINE_EDGE).sum())
        plural = "s" * (firings > 1)
        assert f"After {firings} firing{plural}, of 132 pairs: fine edge {fine}," in chart.alt


def test_names_in_one_drawing_are_not_used_twice():
    pairs, stock = table(NAMES["forty"])
    drawings = [*pair_charts(pairs, stock), *chance_charts(pairs, stock, 1)]
    names = [node.get("id") for d in drawings for node in elements(d).iter() if node.get("id")]
    assert len(names) == len(set(names))
    assert len({drawing.name for drawing in drawings}) == len(drawings)


def test_same_table_gives_the_same_bytes():
    pairs, stock = table(NAMES["scripts"])
    assert [d.svg for d in pair_charts(pairs, stock)] == [d.svg for d in pair_charts(pairs, stock)]


@pytest.mark.parametrize("text", ["Plaster White", "Mitten Red", "Übergroßlangername", "IWMQ@½…"])
def test_measured_text_is_no_wider_than_thought(text):
    # DejaVu Sans, the widest of the fonts that text is set in; measured by Pillow.
    font = ImageFont.truetype(str(Path(mpl.get_data_path()) / "fonts/ttf/DejaVuSans.ttf"), 100)
    assert font.getlength(text) <= 1.02 * text_width(text, 100)


def test_shortened_names_stay_apart():
    names = ["Nachtblauviolett eins", "Nachtblauviolett zwei", "Rot"]
    short = fitted_names(names, 70, 11)
    assert len(set(short.values())) == 3
    assert short["Rot"] == "Rot"
    assert all(text_width(said, 11) <= 70 for said in short.values())
