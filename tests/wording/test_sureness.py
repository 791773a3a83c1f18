"""How sureness, steps, counts and dates are written."""

import datetime as dt

import pytest

import kit.wording as words

# Mastrandrea et al. (2010), Guidance Note for Lead Authors of the IPCC Fifth Assessment Report on
# Consistent Treatment of Uncertainties, table 1: virtually certain 99-100 %, very likely 90-100 %,
# likely 66-100 %, about as likely as not 33-66 %. Bounds from memory of the note.
IPCC = {"virtually certain": 0.99, "very likely": 0.90, "likely": 0.66}
OURS = {
    "virtually certain": "almost certainly",
    "very likely": "very probably",
    "likely": "probably",
}


@pytest.mark.parametrize("term", IPCC)
def test_adverbs_change_at_the_published_bounds(term):
    assert words.adverb(IPCC[term]) == OURS[term]
    assert words.adverb(IPCC[term] - 0.001) != OURS[term]


def test_a_claim_weakens_and_then_gives_up():
    said = [
        words.claim(c, "leaded over unleaded", "spreads more", "No family clearly does")
        for c in (0.995, 0.91, 0.89)
    ]
    assert said == [
        "Leaded over unleaded almost certainly spreads more",
        "Leaded over unleaded very probably spreads more",
        "No family clearly does",
    ]


@pytest.mark.parametrize(("chance", "said"), [(0.796, 79), (0.8, 80), (0.29, 29), (0.9999, 99)])
def test_percent_never_rounds_up_to_a_bound_that_was_missed(chance, said):
    assert words.whole_percent(chance) == said


def test_sizes_in_steps_have_one_form():
    assert words.of_a_step(0.04) == "under a twentieth of a step"
    assert words.of_a_step(-0.31) == "0.3 of a step"
    assert words.of_a_step(1.0) == "1.0 step"
    assert words.of_a_step(1.64) == "1.6 steps"
    assert words.interval(-0.12, 0.4) == "(−0.1 to 0.4)"
    assert words.interval(-0.02, 0.4) == "(0.0 to 0.4)"


def test_no_chance_is_called_certain_or_impossible():
    assert words.percent(1.0) == "over 99\u00a0%"
    assert words.percent(0.0) == "under 1\u00a0%"
    assert words.percent(0.992) == "over 99\u00a0%"


def test_small_grammar():
    assert words.counted(1, "patch", "patches") == "1 patch"
    assert words.counted(12000, "patch", "patches") == "12 000 patches"
    assert words.listed(["a", "b", "c"]) == "a, b and c"
    assert words.listed(["a", "b", "c, ground"]) == "a; b; and c, ground"
    assert words.day(dt.date(2026, 3, 4)) == "4 March 2026"


def test_shares_are_counted_in_tens():
    assert [words.in_ten(share) for share in (0.02, 0.55, 0.649, 0.97)] == [
        "hardly any", "about 6 in 10", "about 6 in 10", "nearly all",
    ]  # fmt: skip
