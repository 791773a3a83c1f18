"""What a verdict is: the rule, the words, and signs that can be told apart."""

import re
from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from kit.errors import Misuse
from kit.model import (
    BROKEN_THROUGH,
    ENDINGS,
    FINE_EDGE,
    HIT_OR_MISS,
    LEANINGS,
    LOOKS,
    NOT_KNOWN,
    SOFT_EDGE,
    VERDICTS,
    VerdictRule,
    look,
    shown_chance,
    verdict_sentence,
    verdicts,
)
from kit.series import PULL_THROUGH, SPREAD, Verdict

# Machado, Oliveira and Fernandes (2009), A physiologically-based model for simulation of color
# vision deficiency, IEEE Transactions on Visualization and Computer Graphics 15: matrices of
# severity 1.0 for protanomaly, deuteranomaly and tritanomaly, applied to linear RGB. From memory.
COLOUR_BLIND = (
    np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
              [-0.003882, -0.048116, 1.051998]]),
    np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
              [-0.011820, 0.042940, 0.968881]]),
    np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
              [0.004733, 0.691367, 0.303900]]),
)  # fmt: skip


def test_an_ending_that_is_sure_enough_is_the_verdict():
    chances = np.array([[0.8, 0.1, 0.1], [0.1, 0.8, 0.1], [0.1, 0.1, 0.8], [0.79, 0.11, 0.1]])
    assert list(verdicts(chances, np.zeros(4), 0.8)) == [*ENDINGS, NOT_KNOWN]


def test_hit_or_miss_is_tested_after_the_endings_and_needs_the_same_sureness():
    chances = np.array([[0.85, 0.1, 0.05], [0.5, 0.4, 0.1], [0.5, 0.4, 0.1]])
    given = verdicts(chances, np.array([0.9, 0.8, 0.79]), 0.8)
    assert list(given) == [FINE_EDGE, HIT_OR_MISS, NOT_KNOWN]


def test_the_steps_of_the_rule_belong_to_the_ending_that_they_name():
    """A fine edge up to its step on both scores, broken through from its step on."""
    rule = VerdictRule(fine_edge_at_most=1, breaks_through_from=3)
    assert [rule.ending(spread, 0) for spread in range(4)] == [FINE_EDGE] * 2 + [SOFT_EDGE] * 2
    pulled = [rule.ending(1, pull) for pull in range(5)]
    assert pulled == [FINE_EDGE] * 2 + [SOFT_EDGE] + [BROKEN_THROUGH] * 2


def test_the_chance_shown_is_that_of_what_is_shown():
    """Of a verdict its own chance, of hit or miss that no share suffices, of a leaning its own."""
    rows = [
        (FINE_EDGE, FINE_EDGE, 0.85, 0.1, 0.05, 0.2),
        (BROKEN_THROUGH, BROKEN_THROUGH, 0.05, 0.1, 0.85, 0.2),
        (HIT_OR_MISS, SOFT_EDGE, 0.3, 0.5, 0.2, 0.9),
        (NOT_KNOWN, BROKEN_THROUGH, 0.2, 0.2, 0.6, 0.4),
    ]
    endings = [ending.replace(" ", "_") for ending in ENDINGS]
    pairs = pd.DataFrame(rows, columns=["verdict", "leans_to", *endings, "hit_or_miss"])
    assert list(shown_chance(pairs)) == [0.85, 0.85, 0.9, 0.6]


def test_the_rule_comes_from_the_settings_and_refuses_to_contradict_itself():
    rule = VerdictRule.of(Verdict(fine_edge_at_most=0, breaks_through_from=3, confidence=0.9))
    assert (rule.fine_edge_at_most, rule.breaks_through_from, rule.confidence) == (0, 3, 0.9)
    with pytest.raises(Misuse, match="must lie above fine_edge_at_most"):
        replace(rule, breaks_through_from=0)
    with pytest.raises(Misuse, match="confidence"):
        replace(rule, confidence=0.5)


def test_the_rule_is_stated_in_the_scale_s_own_words():
    said = VerdictRule().sentence(SPREAD, PULL_THROUGH)
    first, second = (SPREAD.steps[1].split(":")[0], PULL_THROUGH.steps[2].split(":")[0])
    assert said.startswith(f"fine edge: spread at most '{first}', pull-through at most")
    assert f"broken through: pull-through '{second}', or worse" in said
    last = VerdictRule(breaks_through_from=4).sentence(SPREAD, PULL_THROUGH)
    assert "or worse" not in last
    assert "0.50 mm" in VerdictRule().measured_sentence


def test_a_verdict_never_borrows_the_word_of_a_step():
    words = {step.split(":")[0].strip() for scale in (SPREAD, PULL_THROUGH) for step in scale.steps}
    assert not words & {*VERDICTS, *(shown.label for shown in LOOKS.values())}


def test_looks_cover_every_verdict_and_every_leaning():
    assert set(LOOKS) == set(VERDICTS)
    assert set(LEANINGS) == set(ENDINGS)
    each = [*LOOKS.values(), *LEANINGS.values()]
    for name in ("label", "heading", "short", "sign", "path", "colour", "sentence"):
        assert len({getattr(shown, name) for shown in each}) == len(each), name
    assert look(NOT_KNOWN, SOFT_EDGE) is LEANINGS[SOFT_EDGE]
    assert look(NOT_KNOWN) is LOOKS[NOT_KNOWN]
    assert look(FINE_EDGE, FINE_EDGE) is LOOKS[FINE_EDGE]


def test_signs_stay_in_the_unit_square():
    for shown in (*LOOKS.values(), *LEANINGS.values()):
        anchors = re.findall(r"M([\d.]+),([\d.]+)", shown.path)
        assert anchors
        assert all(0 <= float(c) <= 1 for pair in anchors for c in pair)
        assert shown.path.endswith("z")


def _linear(colour: str) -> np.ndarray:
    """IEC 61966-2-1, the sRGB transfer function."""
    value = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def _lab(linear: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* for D65 (CIE 15)."""
    to_xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    ratio = np.clip(to_xyz @ linear, 0, None) / np.array([0.9505, 1.0, 1.089])
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_verdicts_differ_in_grey():
    lightness = sorted(_lab(_linear(shown.colour))[0] for shown in LOOKS.values())
    assert min(np.diff(lightness)) > 9, lightness


@pytest.mark.parametrize("sight", COLOUR_BLIND)
def test_verdicts_differ_to_colour_blind_readers(sight):
    seen = [_lab(np.clip(sight @ _linear(shown.colour), 0, 1)) for shown in LOOKS.values()]
    assert min(np.linalg.norm(a - b) for a, b in combinations(seen, 2)) > 12


def test_what_is_not_known_and_what_varies_are_said_apart():
    varies = verdict_sentence(HIT_OR_MISS, FINE_EDGE, 0.55, 0.65)
    assert varies == (
        "About 6 in 10 of its patches keep a fine edge, and more samples will not change that."
    )
    unknown = verdict_sentence(NOT_KNOWN, BROKEN_THROUGH, 0.3, 0.9)
    assert "leans to broken through" in unknown
    assert "3 in 10 to 9 in 10" in unknown
    assert "more samples" in unknown
    assert verdict_sentence(SOFT_EDGE, SOFT_EDGE, 0.97, 0.99) == (
        "Nearly all of its patches get a soft edge."
    )
