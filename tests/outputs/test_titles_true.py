"""A title, a sentence and an alt text never contradict the data behind them."""

import math
import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.drawing import GRADE_COLOURS, Drawing
from kit.model import (
    FINE_EDGE,
    HIT_OR_MISS,
    NOT_KNOWN,
    VerdictRule,
    effects_within,
    variation_table,
)
from kit.report.figures.fitted_scale import expected_and_seen
from kit.report.figures.interval_lines import effects_in_steps, sources_of_variation
from kit.report.findings.finding import FEWEST_OF_A_COLOUR, FEWEST_PATCHES, FEWEST_TO_CHECK
from kit.report.findings.tile_outcomes import score_outcome, tile_outcome
from kit.report.page.picture import Picture
from kit.report.sections.suggested_patches import next_round
from kit.report.sections.tile_by_tile import samples
from kit.report.sections.tiles_fired import fired
from kit.report.sections.what_is_uncertain import doubts
from kit.series import PULL_THROUGH, SPREAD, losses
from kit.wording import FOUND, TELLING, percent

HELD = re.compile(r": (all|none of the|\d+ of|the one)(?: (\d+))? patch(?:es)? judged")


def by_hand(series):
    """Held and judged patches of each tile, from the raw grades: median, a half to the worse."""
    rule, told = series.settings.verdict, {}
    gone = set(losses(series)["patch"])
    grades = series.grades.astype({"spread": float, "pull_through": float})
    tiles = series.patches.set_index("patch")["tile"]
    for tile, own in grades.groupby(grades["patch"].map(tiles)):
        named = [scale.name for scale in series.settings.scales]
        seen = own[own[named].notna().any(axis=1)]
        last = seen[seen["firing"] == seen["firing"].max()]
        held = judged = 0
        for patch, here in last.groupby("patch"):
            worst = [np.median(here[s].dropna()) for s in ("spread", "pull_through")
                     if here[s].notna().any()]  # fmt: skip
            if patch in gone or len(worst) < 2:
                continue
            judged += 1
            held += all(math.floor(grade + 0.5) <= rule.fine_edge_at_most for grade in worst)
        told[int(tile)] = (held, judged)
    return told


def told_by(title):
    """Held and judged patches as a title has them."""
    found = HELD.search(title)
    if not found:
        return 0, 0
    first, count = found[1], int(found[2] or 1)
    if first == "the one":
        return (0 if "did not" in title else 1), 1
    held = {"all": count, "none of the": 0}.get(first)
    return (int(first.split()[0]) if held is None else held), count


def pictures(section):
    return {picture.name: picture for picture in section.pictures()}


def test_tile_titles_count_by_spread_and_pull_through_and_nothing_else(graded):
    counted = by_hand(graded.series)
    drawn = pictures(samples(graded.analysis))
    assert len(drawn) == len(counted)
    for tile, expected in counted.items():
        assert told_by(drawn[f"tile-{tile}-grades"].title) == expected


def test_pictures_of_all_tiles_title_words_and_colours_count_alike(graded):
    for name, drawing in pictures(fired(graded.analysis)).items():
        scale = next(s for s in graded.analysis.scales if name.endswith(s.name.replace("_", "-")))
        counts = re.search(r"of (\d+) patch.*, (\d+) ended .* and (\d+) at 3 or 4", drawing.title)
        total, calm, wild = map(int, counts.groups())
        said = {int(g): int(n) for n, g in re.findall(r"(\d+) at grade (\d)", drawing.alt)}
        assert sum(said.values()) == total
        assert sum(n for g, n in said.items() if g <= 1) == calm
        assert sum(n for g, n in said.items() if g >= 3) == wild
        if not len(losses(graded.series)):
            filled = [drawing.marks.count(f'fill="{colour}"') for colour in GRADE_COLOURS]
            assert [count - 1 for count in filled] == [said.get(g, 0) for g in scale.grades]


@settings(max_examples=200, deadline=None)
@given(st.lists(st.integers(0, 8), min_size=1, max_size=40))
def test_half_grades_count_as_the_worse_step_in_title_and_words(halves):
    last = pd.DataFrame({"grade": [half / 2 for half in halves]})
    title, alt = score_outcome(SPREAD, last)
    steps = [math.floor(half / 2 + 0.5) for half in halves]
    said = {int(g): int(n) for n, g in re.findall(r"(\d+) at grade (\d)", alt)}
    assert said == {g: steps.count(g) for g in sorted(set(steps))}
    assert f"{sum(g <= 1 for g in steps)} ended at grade 0 or 1" in title
    assert f"and {sum(g >= 3 for g in steps)} at 3 or 4" in title


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8), st.integers(0, 4)), min_size=1,
                max_size=9), st.integers(0, 3))  # fmt: skip
def test_a_tile_holds_what_the_rule_says_whatever_other_scales_show(patches, at_most):
    rule = VerdictRule(fine_edge_at_most=at_most, breaks_through_from=at_most + 1)
    rows = [
        {"patch": f"T1-{n}", "firing": 2, "scale": scale, "grade": grade}
        for n, (spread, pull, gloss) in enumerate(patches)
        for scale, grade in (
            (SPREAD.name, spread / 2), (PULL_THROUGH.name, pull / 2), ("gloss", gloss)
        )
    ]  # fmt: skip
    outcome = tile_outcome(1, pd.DataFrame(rows), rule)
    steps = [(math.floor(s / 2 + 0.5), math.floor(p / 2 + 0.5)) for s, p, _ in patches]
    held = sum(rule.ending(*step) == FINE_EDGE for step in steps)
    assert (outcome.fine, outcome.judged) == (held, len(patches))
    assert told_by(outcome.title) == (held, len(patches))


def test_nothing_is_called_drawn_to_scale_beside_tiles_drawn_smaller(graded):
    widths = {p.name: p.width for p in pictures(samples(graded.analysis)).values()}
    intro = samples(graded.analysis).blocks[0].text
    assert "to scale" not in intro or len(set(widths.values())) == 1


def test_what_is_claimed_is_sure_enough_and_seen_often_enough(graded):
    for finding in graded.analysis.findings:
        if finding.found:
            assert finding.chance >= FOUND
            needed = FEWEST_OF_A_COLOUR if " as " in finding.subject else FEWEST_PATCHES
            assert finding.patches >= needed
            assert finding.lead.startswith(("Almost certainly", "Very probably"))
        else:
            assert "cannot be told" in finding.sentence or percent(finding.chance) in (
                finding.sentence
            )


def test_a_hollow_dot_is_what_no_words_claim(graded):
    for score in graded.analysis.scores.values():
        picture = effects_in_steps(score.effects, score.scale)
        if picture is None:
            continue
        drawn = picture.figure.axes[0].collections[-1].get_facecolors()
        hollow = [bool(colour[:3].min() > 0.99) for colour in drawn]
        lines = [one for e in score.effects for _, one in e.by_context or (("", e.finding),)]
        assert hollow == [not line.directed for line in lines]
        assert all(line.low > 0 or line.high < 0 or line.chance < 0.96 for line in lines
                   if line.directed)  # fmt: skip
        claimed = [e for e in score.effects if e.finding.directed]
        assert picture.title.startswith("Nothing") == (not claimed)


def test_no_main_effect_is_stated_that_turns_round_with_something_else(graded):
    for name, score in graded.analysis.scores.items():
        within = effects_within(graded.analysis.fits.by_scale[name])
        for effect in score.effects:
            own = within[within["factor"] == effect.factor]
            for _, held in own.groupby("held"):
                both = held["chance_up"].max() >= TELLING and (
                    held["chance_up"].min() <= 1 - TELLING
                )
                if both:
                    assert effect.finding.turns
                    assert "and lowers it" in effect.finding.does


def test_a_fit_is_never_said_to_be_tested_by_its_own_grades(graded):
    for name, fit in graded.analysis.fits.by_scale.items():
        picture = expected_and_seen(fit, graded.series.settings.scale(name))
        if fit.frame["patch"].nunique() < FEWEST_TO_CHECK:
            assert picture is None
        else:
            assert "come true" not in picture.title
            assert "the grades it was made from" in picture.title


def test_shares_of_variation_are_the_same_in_picture_and_sentence(graded):
    for name, fit in graded.analysis.fits.by_scale.items():
        table = variation_table(fit)
        picture = sources_of_variation(table, graded.series.settings.scale(name))
        drawn = [text.get_text().replace("\n", " ") for text in picture.figure.axes[0].texts]
        for row, words in zip(table.itertuples(), drawn, strict=True):
            assert f"({percent(row.share)} of the variation)" in words
            assert percent(row.share) in row.sentence
            assert row.sentence in picture.alt


def test_no_advice_to_fire_what_firing_cannot_settle(graded):
    found = graded.analysis.pairs_found
    if not len(found):
        pytest.skip("nothing is judged")
    told = next_round(graded.analysis).blocks[0].text
    table = graded.analysis.pairs
    settled_by_firing = table[(table["verdict"] == NOT_KNOWN) & ~table["foretold"]]
    pairs = len(settled_by_firing[["base", "overlay"]].drop_duplicates())
    count = re.match(r"(\d[\d\u202f ]*) pairs? of", told)
    if pairs:
        assert count is None or int(re.sub(r"\D", "", count[1])) == pairs
    else:
        assert told.startswith("More samples would settle no pair")
    varying = table.groupby(["base", "overlay"])["verdict"].agg(lambda v: set(v) == {HIT_OR_MISS})
    assert not {(p.first.base, p.first.overlay) for p in found.open} & set(varying[varying].index)
    close = [point for block in doubts(graded.analysis).blocks for point in
             getattr(block, "points", ()) if point.lead == "Close calls:"]  # fmt: skip
    for point in close:
        named, known = map(int, re.match(r"(\d+) verdicts? of (\d+)", point.text).groups())
        assert named <= known == len(found.known)


def test_every_picture_states_something_and_can_be_read_aloud(made):
    for section in made.report.sections:
        for picture in section.pictures():
            assert isinstance(picture, Picture | Drawing)
            assert picture.title and picture.alt
            assert not re.search(r"\b(nan|None|NaN|inf)\b(?! of)", picture.title + picture.alt)
