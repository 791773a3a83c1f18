"""Colours hold for the colour-blind, in grey and in low light."""

import re
from importlib.resources import files
from itertools import combinations

import colour
import numpy as np
import pytest
from matplotlib.colors import to_rgb

from kit.drawing import GRADE_COLOURS, HAIR, INK, PAPER, QUIET, contrast, ink_on
from kit.model import BROKEN_THROUGH, FINE_EDGE, HIT_OR_MISS, LOOKS, SOFT_EDGE
from kit.report.page.picture import PAGE_COLOURS

VERDICTS_GIVEN = (FINE_EDGE, BROKEN_THROUGH, SOFT_EDGE, HIT_OR_MISS)
VERDICT_COLOURS = [LOOKS[verdict].colour for verdict in VERDICTS_GIVEN]


def lab(colours):
    return colour.XYZ_to_Lab(colour.sRGB_to_XYZ(np.array([to_rgb(c) for c in colours])))


def seen_by(colours, deficiency):
    """Colours as someone with a full deficiency sees them.

    Machado, Oliveira and Fernandes (2009), A physiologically-based model for simulation of color
    vision deficiency, through the library colour-science.
    """
    matrix = colour.matrix_cvd_Machado2009(deficiency, 1.0)
    linear = colour.cctf_decoding(np.array([to_rgb(c) for c in colours]), function="sRGB")
    seen = colour.cctf_encoding(np.clip(linear @ matrix.T, 0, 1), function="sRGB")
    return colour.XYZ_to_Lab(colour.sRGB_to_XYZ(seen))


def test_contrast_agrees_with_published_values():
    # WCAG 2.2: black on white is 21:1; #767676 is the lightest grey that passes 4.5:1 on white.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") < 4.5


@pytest.mark.parametrize("deficiency", ["Protanomaly", "Deuteranomaly", "Tritanomaly"])
@pytest.mark.parametrize("palette", [VERDICT_COLOURS, list(GRADE_COLOURS)])
def test_colours_stay_apart_for_the_colour_blind(palette, deficiency):
    seen = seen_by(palette, deficiency)
    gaps = [colour.delta_E(a, b, method="CIE 2000") for a, b in combinations(seen, 2)]
    assert min(gaps) > 10


def test_grades_darken_step_by_step_so_that_grey_keeps_their_order():
    lightness = lab(GRADE_COLOURS)[:, 0]
    assert (np.diff(lightness) < -8).all()


def test_verdicts_differ_in_grey():
    lightness = np.sort(lab(VERDICT_COLOURS)[:, 0])
    assert (np.diff(lightness) > 10).all()


def test_lettering_can_be_read_on_every_ground():
    for ground in [*GRADE_COLOURS, *VERDICT_COLOURS]:
        assert contrast(ink_on(ground), ground) >= 4.5
    assert contrast(INK, PAPER) >= 7
    assert contrast(QUIET, PAPER) >= 4.5


# Lettering and ground as page.css and part.css pair them.
PAGE_PAIRS = [
    ("ink", "paper"),
    ("quiet", "paper"),
    ("link", "paper"),
    ("copper", "paper"),
    ("ink", "soft"),
    ("link", "soft"),
    ("moon", "night"),
    ("ink", "warning"),
    ("warned", "warning"),
]


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize(("lettering", "ground"), PAGE_PAIRS)
def test_page_lettering_has_the_contrast_of_wcag_aa(lettering, ground, dark):
    one, other = (PAGE_COLOURS[name][dark] for name in (lettering, ground))
    assert contrast(one, other) >= 4.5


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_edges_of_what_can_be_chosen_stand_out(dark):
    # WCAG 2.2, 1.4.11: 3:1 for the parts that tell a control from its ground.
    assert contrast(PAGE_COLOURS["edge"][dark], PAGE_COLOURS["paper"][dark]) >= 3


def test_style_sheets_name_no_colour_of_their_own():
    sheets = files("kit.report.page")
    text = "".join(sheets.joinpath(name).read_text("utf-8") for name in ("page.css", "part.css"))
    named = set(re.findall(r"var\(--([a-z]+)\)", text))
    widths = {"least", "most"}  # of a drawing, which the page sets beside it
    assert named - widths <= set(PAGE_COLOURS)
    assert set(re.findall(r"#[0-9a-f]{3,6}", text)) <= {"#ffffff"}  # beneath pictures


def test_pictures_have_the_colours_that_the_page_has_in_light():
    assert PAGE_COLOURS["ink"][0] == INK
    assert PAGE_COLOURS["paper"][0] == PAPER
    assert PAGE_COLOURS["hair"][0] == HAIR
