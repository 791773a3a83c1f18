"""Pictures state what the numbers say, and an unsure cell looks unsure."""

import re

import numpy as np
import pandas as pd
import pytest

from kit.model import BROKEN_THROUGH, FINE_EDGE, NOT_KNOWN, SOFT_EDGE, variation_table
from kit.report.figures.all_tiles import all_tiles
from kit.report.figures.colour_effects import own_ways
from kit.report.figures.effect_lines import effect_claim, effects_in_steps, moves
from kit.report.figures.firing_trend import firing_trend
from kit.report.figures.grader_bars import grades_in_common, same_and_near
from kit.report.figures.latent_scale import family_places, hidden_ruler
from kit.report.figures.pair_chart import pair_chart, side_of
from kit.report.figures.tile_budget import budget_picture
from kit.report.figures.variation_lines import sources_of_variation
from kit.report.page.verdict_looks import leanings
from kit.report.sections.chart_explained import telling_pair
from kit.series import SPREAD, last_grades, middle_grades, observations

PHONE_IN = 4.7


def pairs(verdicts):
    """Four pairs of two colours with the verdicts given."""
    frame = pd.DataFrame(
        {
            "base": ["Ember", "Ember", "Frost", "Frost"],
            "overlay": ["Ember", "Frost", "Ember", "Frost"],
            "base_family": ["leaded", "leaded", "unleaded", "unleaded"],
            "overlay_family": ["leaded", "unleaded", "leaded", "unleaded"],
            "patches": [1, 0, 2, 0],
            "fine_edge": [0.9, 0.1, 0.1, 0.5],
            "broken_through": [0.05, 0.85, 0.05, 0.3],
        }
    )
    return frame.assign(verdict=verdicts)


COLOURS = pd.DataFrame({"colour": ["Ember", "Frost"], "family": ["leaded", "unleaded"]})


def test_pair_chart_counts_the_verdicts_it_draws():
    chart = pair_chart(pairs([FINE_EDGE, BROKEN_THROUGH, SOFT_EDGE, NOT_KNOWN]), COLOURS)
    assert chart.title == (
        "Of 4 pairs, 1 holds a fine edge, 1 suits broken effects only and 1 is better avoided; "
        "1 is not known yet"
    )
    assert "Fired: 2 pairs." in chart.alt
    assert "not known yet: 1 (1 unleaded over unleaded)" in chart.alt


def test_pair_chart_says_plainly_that_nothing_is_known():
    chart = pair_chart(pairs([NOT_KNOWN] * 4), COLOURS)
    assert chart.title == "None of the 4 pairs can be judged yet"


def test_the_surer_the_larger():
    sides = [side_of(chance) for chance in (0.34, 0.5, 0.8, 0.99)]
    assert sides == sorted(sides)
    assert sides[-1] > 2 * sides[0]
    # The area of a mark, not its side, should grow in step with what it stands for: Cleveland and
    # McGill (1984), Graphical perception, Journal of the American Statistical Association 79.
    areas = np.square([side_of(chance) for chance in (0.4, 0.6, 0.8)])
    assert areas[2] - areas[1] == pytest.approx(areas[1] - areas[0])


def test_an_undecided_pair_leans_to_its_likeliest_outcome():
    judged = leanings(pairs([FINE_EDGE, BROKEN_THROUGH, SOFT_EDGE, NOT_KNOWN]))
    assert list(judged["leaning"]) == [FINE_EDGE, BROKEN_THROUGH, SOFT_EDGE, FINE_EDGE]
    assert list(judged["sureness"]) == pytest.approx([0.9, 0.85, 0.85, 0.5])


def test_pictures_are_narrow_enough_for_a_phone(analysis):
    fit = analysis.fits.by_scale["spread"]
    drawn = [
        pair_chart(analysis.pairs, analysis.series.colours),
        firing_trend(SPREAD, analysis.graded("spread")),
        hidden_ruler(fit, SPREAD, analysis.series.settings),
        own_ways(fit, SPREAD, analysis.series.colours),
        sources_of_variation(variation_table(fit), SPREAD),
        effects_in_steps(analysis.effects["spread"], SPREAD),
    ]
    for picture in drawn:
        assert picture.width_in <= PHONE_IN, picture.name
        assert picture.svg.startswith(b"<?xml")


def test_forty_colours_still_make_a_chart():
    names = [f"Colour {n:02d}" for n in range(40)]
    family = ["leaded", "unleaded"] * 20
    colours = pd.DataFrame({"colour": names, "family": family})
    every = colours.merge(colours, how="cross", suffixes=("_b", "_o"))
    every.columns = ["base", "base_family", "overlay", "overlay_family"]
    every = every.assign(patches=0, fine_edge=0.9, broken_through=0.05, verdict=FINE_EDGE)
    assert pair_chart(every, colours).title == "Of 1 600 pairs, 1 600 hold a fine edge"


def test_dollars_in_a_name_are_not_a_formula():
    odd = COLOURS.replace({"Ember": "$x_2$ & <b>"})
    table = pairs([FINE_EDGE] * 4).replace({"Ember": "$x_2$ & <b>"})
    assert pair_chart(table, odd).svg


def test_middle_grade_is_the_median_over_graders():
    seen = pd.DataFrame(
        {
            "patch": "T1-1", "firing": [1, 1, 1, 2], "firings": [1, 1, 1, 2], "tile": 1,
            "position": 1, "base": "Ember", "overlay": "Frost", "base_family": "leaded",
            "overlay_family": "unleaded", "grader": ["A", "B", "C", "A"], "spread": [0, 1, 4, 3],
        }
    )  # fmt: skip
    assert list(middle_grades(seen, "spread")["grade"]) == [1, 3]
    assert list(last_grades(seen, "spread")["grade"]) == [3]


def test_firing_trend_tells_the_averages_of_the_data(analysis):
    grades = analysis.graded("spread")
    picture = firing_trend(SPREAD, grades)
    unlike = grades[(grades["base_family"] == "unleaded") & (grades["overlay_family"] == "leaded")]
    means = unlike.groupby("firings")["grade"].mean()
    said = re.search(r"leaded over unleaded: ([\d., then]+)", picture.alt)
    told = [float(number) for number in re.findall(r"\d\.\d", said[1])]
    assert told == pytest.approx(list(means), abs=0.051)


def test_effect_title_weakens_with_its_chance():
    table = pd.DataFrame(
        {
            "factor": ["firings"], "from": ["1"], "to": ["3"], "effect": [0.5], "low": [0.1],
            "high": [0.9], "sentence": [""],
        }
    )  # fmt: skip
    said = [
        effect_claim(next(moves(table.assign(chance_up=chance))), SPREAD)
        for chance in (0.999, 0.92, 0.8)
    ]
    assert said[0] == "Going from 1 to 3 firings almost certainly raises spread by 0.5 of a step"
    assert said[1] == "Going from 1 to 3 firings very probably raises spread by 0.5 of a step"
    assert said[2] == "Nothing that was varied clearly moves spread"


def test_hidden_ruler_places_leaded_over_unleaded_highest_for_spread(analysis):
    # The invented studio's truth, after the trade's rule of thumb (common practice, no source).
    places = family_places(analysis.fits.by_scale["spread"], analysis.series.settings)
    last = places[places["firings"] == 3].set_index("families")
    assert last["value"].idxmax() == "leaded over unleaded"
    assert (last["low"] < last["value"]).all()
    assert (last["value"] < last["high"]).all()


def test_share_of_the_same_grade_is_counted_over_pairs_of_graders():
    seen = pd.DataFrame(
        {
            "patch": ["a", "a", "b", "b", "c"], "firing": 1, "grader": ["A", "B", "A", "B", "A"],
            "spread": [1, 1, 0, 2, 4],
        }
    )  # fmt: skip
    wide = grades_in_common(seen, "spread")
    assert len(wide) == 2
    assert same_and_near(wide) == (0.5, 0.5)


def test_budget_title_does_not_promise_what_more_tiles_would_not_bring():
    flat = pd.DataFrame(
        {
            "tiles": [12, 24, 48], "about": "pair", "question": "an average pair not on the plan",
            "within": [0.9, 0.8, 0.79],
        }
    )  # fmt: skip
    assert budget_picture(flat, 24).title.endswith("more tiles would hardly help")
    steep = flat.assign(within=[0.9, 0.8, 0.5])
    assert budget_picture(steep, 24).title.endswith("48 tiles would make that ±0.5")


def test_lost_patches_are_not_counted_among_the_finished(fired):
    graded = observations(fired)
    last = last_grades(graded, "spread")
    gone = set(last["patch"].head(3))
    bases = fired.tiles.set_index("tile")["base"]
    whole = all_tiles(fired.settings, SPREAD, bases, last)
    rest = all_tiles(fired.settings, SPREAD, bases, last, gone)
    assert f"of {len(last)} patches" in whole.title
    assert f"of {len(last) - 3} patches" in rest.title
    assert rest.svg.count(b"stroke-dasharray") > whole.svg.count(b"stroke-dasharray")


def test_cells_tell_the_chance_without_rounding_it_up():
    table = pairs([NOT_KNOWN, BROKEN_THROUGH, SOFT_EDGE, NOT_KNOWN]).assign(
        fine_edge=[0.796, 0.1, 0.1, 0.5]
    )
    axes = pair_chart(table, COLOURS).figure.axes[0]
    written = [t.get_text() for t in axes.texts if t.get_text().isdigit()]
    assert written == ["79", "85", "85", "50"]


def test_pair_read_aloud_has_a_verdict_if_any_has():
    table = pairs([NOT_KNOWN, NOT_KNOWN, NOT_KNOWN, FINE_EDGE])
    assert telling_pair(table)["verdict"] == FINE_EDGE
