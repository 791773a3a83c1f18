"""Tiles of known size tell how the card was printed, when they agree and nobody measured it."""

from dataclasses import replace

import pandas as pd
import pytest

from kit.photo.review.print_witness import corrected_scale


def sizes(across: float, down: float, scatter: float = 0.05, tiles: int = 6) -> pd.DataFrame:
    wobble = [scatter * (-1) ** tile for tile in range(tiles)]
    return pd.DataFrame(
        {
            "tile": range(tiles),
            "camera": "phone",
            "width_mm": [across + w for w in wobble],
            "height_mm": [down + w for w in wobble],
        }
    )


def test_a_card_printed_small_makes_tiles_look_large_and_is_corrected(laid):
    scale, notes = corrected_scale(sizes(50 / 0.97, 50 / 0.98), laid)
    assert scale.across == pytest.approx(0.97, abs=0.002)
    assert scale.down == pytest.approx(0.98, abs=0.002)
    assert "printed at 97\u00a0% and 98\u00a0%" in notes[0]


@pytest.mark.parametrize("size", [49.7, 50.0, 50.4])
def test_what_copper_is_cut_to_is_no_evidence(laid, size):
    assert corrected_scale(sizes(size, size), laid) == (laid.scale, [])


def test_a_measured_card_is_believed_and_the_contradiction_told(laid):
    plan = replace(laid, scale_measured=True)
    scale, notes = corrected_scale(sizes(51.5, 51.5), plan)
    assert scale == plan.scale
    assert "nothing was changed" in notes[0]


def test_tiles_that_differ_or_are_few_correct_nothing(laid):
    scale, notes = corrected_scale(sizes(51.5, 51.5, scatter=0.9), laid)
    assert scale == laid.scale
    assert "differ too much" in notes[0]
    assert corrected_scale(sizes(51.5, 51.5, tiles=2), laid) == (laid.scale, [])


def test_a_camera_that_sees_tiles_larger_than_the_others_is_named(laid):
    bent = sizes(50.9, 50.9, tiles=3).assign(camera="wide")
    scale, notes = corrected_scale(pd.concat([sizes(50, 50), bent], ignore_index=True), laid)
    assert scale == laid.scale
    assert "camera wide" in notes[0]
