"""Measures on paper against the published tables."""

import pytest

from kit.series import OPENING_UM
from kit.wording.amounts import (
    fine_grams,
    gauge_in_words,
    gauge_mm,
    grams,
    mm_and_inches,
    nearest_gauge,
    opening,
    size_and_inches,
)

AWG_INCHES = {
    8: 0.1285, 10: 0.1019, 12: 0.0808, 14: 0.0641, 16: 0.0508, 18: 0.0403, 20: 0.0320, 22: 0.0253,
    24: 0.0201, 26: 0.0159, 28: 0.0126, 30: 0.0100, 36: 0.0050,
}  # fmt: skip
"""Diameters of ASTM B258-18, table 1, to the ten-thousandth of an inch; from memory."""


@pytest.mark.parametrize(("gauge", "inches"), AWG_INCHES.items())
def test_a_gauge_has_the_thickness_of_the_standards_table(gauge, inches):
    assert gauge_mm(gauge) / 25.4 == pytest.approx(inches, abs=0.00005)
    assert nearest_gauge(inches * 25.4) == gauge


def test_the_ends_of_the_gauge_formula_are_exact():
    assert gauge_mm(36) == 0.127
    assert gauge_mm(-3) == pytest.approx(0.46 * 25.4)


def test_a_thickness_between_gauges_names_the_nearer_one_and_its_size():
    assert gauge_in_words(1.2) == "nearest gauge 17 (1.150 mm, 0.0453 in)"


def test_lengths_carry_inches():
    assert mm_and_inches(50) == "50 mm (1.97 in)"
    assert mm_and_inches(1.2) == "1.2 mm (0.047 in)"
    assert size_and_inches(50, 76.2) == "50 × 76.2 mm (1.97 × 3.00 in)"


def test_a_sifters_opening_is_in_inches_as_in_astm_e11():
    """ASTM E11, table 1: 80 mesh is 180 µm and 0.0070 in nominal; 100 is 150 µm, 0.0059 in.

    The standard's inches are nominal equivalents, so they agree to the last digit only.
    """
    for mesh, inches in {80: 0.0070, 100: 0.0059, 60: 0.0098, 200: 0.0029, 325: 0.0017}.items():
        shown = float(opening(OPENING_UM[mesh]).split("(")[1].split()[0])
        assert shown == pytest.approx(inches, abs=0.00011)


def test_weights_stop_where_a_bench_scale_does():
    assert [grams(2.1429), grams(25.714), grams(333.4)] == ["2.14 g", "25.71 g", "333 g"]
    assert fine_grams(0.08796) == "0.088 g"
