"""The saving, worked out by hand."""

import math
from dataclasses import replace

import pytest

from kit.design import saving
from kit.errors import Misuse
from kit.series import Series


def test_copper_enamel_and_firings_are_those_of_the_bench(planned: Series):
    # 8 tiles of 50 x 50 x 1.2 mm; copper weighs 8.96 g/cm³ (CRC Handbook of Chemistry and Physics).
    found = saving(planned).table
    plan, every = found.loc["this plan"], found.loc["every pair"]
    assert (plan["tiles"], plan["patches"]) == (8, 32)
    assert plan["copper_cm2"] == 8 * 25
    assert plan["copper_g"] == pytest.approx(8 * 25 * 0.12 * 8.96)
    disc = math.pi * 0.7**2
    # Two coats in front, and as much again on the back.
    landed = 8 * 25 * 2 * 0.060 * 2 + 32 * disc * 0.040
    assert plan["enamel_g"] == pytest.approx(landed / 0.7)
    assert plan["firings"] == 8 * (1 + 2 + 3)
    assert plan["hours"] == pytest.approx(48 * 1.5 / 60)
    # Every pair of four colours: each base takes three other overlays, which fit on one tile.
    assert (every["tiles"], every["patches"]) == (4, 12)
    assert found.loc["saved", "tiles"] == -4


def test_settings_multiply_what_every_pair_would_take(planned: Series):
    factors = {**planned.settings.factors, "mesh": (80, 100), "base_coats": (1, 2)}
    settings = replace(planned.settings, factors=factors, leave_out=("Ferry Blue",))
    found = saving(replace(planned, settings=settings))
    assert (found.pairs, found.settings) == (6, 4)
    every = found.table.loc["every pair"]
    # Three bases in two recipes; two overlays in two meshes make four patches, one tile each.
    assert (every["tiles"], every["patches"]) == (6, 24)
    assert every["firings"] == 6 * (1 + 1.5 + 3)


def test_it_is_said_in_words_and_never_as_a_saving_that_is_none(planned: Series):
    said = " ".join(saving(planned).sentences())
    assert "all 12 pairs" in said
    assert "no less work" in said
    factors = {**planned.settings.factors, "mesh": (80, 100, 120, 150), "coat_weight": (30.0, 60.0)}
    settings = replace(planned.settings, factors=factors)
    said = " ".join(saving(replace(planned, settings=settings)).sentences())
    assert "each at 8 settings" in said
    # 4 bases x ceil(3 x 8 / 4) tiles = 24 tiles of 6 firings, against 8.
    assert "66\u00a0% less firing" in said


def test_nothing_planned_saves_nothing(planned: Series):
    with pytest.raises(Misuse, match="Nothing is planned"):
        saving(replace(planned, patches=planned.patches.iloc[:0]))
