"""Sifter openings against the standards' own rule."""

import pytest

from kit.series import OPENING_UM


def test_openings_follow_the_r40_3_series_of_the_standards():
    # ISO 565 / ISO 3310-1 and ASTM E11 take the supplementary sizes from the R 40/3 series of
    # preferred numbers (ISO 3): each opening is the last one divided by 10^(3/40), rounded.
    for step, opening in enumerate(OPENING_UM.values(), start=1):
        assert opening == pytest.approx(1000 * 10 ** (-3 * step / 40), rel=0.013)


def test_a_finer_sifter_has_a_higher_number():
    assert list(OPENING_UM) == sorted(OPENING_UM)
    assert list(OPENING_UM.values()) == sorted(OPENING_UM.values(), reverse=True)


@pytest.mark.parametrize(("mesh", "opening"), [(80, 180), (100, 150), (200, 75), (325, 45)])
def test_sizes_the_bench_knows(mesh, opening):
    # ASTM E11-20, table 1 (from memory).
    assert OPENING_UM[mesh] == opening
