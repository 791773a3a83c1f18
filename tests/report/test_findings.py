"""What is claimed of families and factors, and how surely."""

from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest

from kit.model import (
    BROKEN_THROUGH,
    FINE_EDGE,
    HIT_OR_MISS,
    NOT_KNOWN,
    SOFT_EDGE,
    VerdictRule,
    common_practice_check,
    family_contrasts,
    fit_series,
)
from kit.report.findings.effect_findings import _turned, family_finding, practice_findings
from kit.report.findings.finding import FEWEST_PATCHES, Finding
from kit.report.findings.tile_outcomes import tile_outcome
from kit.report.findings.verdict_history import verdicts_by_round
from kit.report.sections.unexpected_results import against_the_rule, far_from_expected
from kit.series import over_another


@pytest.fixture(scope="module")
def fits(fired):
    return {name: fit_series(fired, name) for name in ("spread", "pull_through")}


@pytest.fixture(scope="module")
def against(fired):
    """The same series with every grade turned round, so that practice is contradicted."""
    worst = fired.grades.assign(
        **{name: 4 - fired.grades[name] for name in ("spread", "pull_through")}
    )
    turned = replace(fired, grades=worst)
    return {name: fit_series(turned, name) for name in ("spread", "pull_through")}


def test_common_practice_that_is_contradicted_has_the_chance_of_the_contradiction(fits, against):
    for which in (fits, against):
        for row, one in zip(
            common_practice_check(which).itertuples(), practice_findings(which), strict=True
        ):
            assert one.chance == max(row.chance_more, 1 - row.chance_more)
            assert ("is not so" in one.does) == (row.chance_more < 0.5)
    assert all("is not so" in one.does for one in practice_findings(against))


def test_common_practice_agrees_only_where_the_whole_interval_does(fits, against, fired):
    mixed_up = fired.grades.assign(
        **{name: fired.grades[name].sample(frac=1, random_state=2).array for name in fits}
    )
    chance = {name: fit_series(replace(fired, grades=mixed_up), name) for name in fits}
    rows = [row for f in (fits, against, chance) for row in common_practice_check(f).itertuples()]
    for row in rows:
        agrees, contradicts = row.low > 0, row.high < 0
        expected = "agrees" if agrees else "contradicts" if contradicts else "cannot tell"
        assert row.finding == expected
    assert {row.finding for row in rows} == {"agrees", "contradicts", "cannot tell"}
    assert any(row.low < 0 < row.difference for row in rows)


def test_a_pair_of_families_has_the_most_as_surely_as_it_beats_every_other(fits, against, fired):
    """Boole: not surer than one less the chances of each other pair, whichever way round."""
    for name, fit in (*fits.items(), *against.items()):
        told = family_finding(fit, fired.settings.scale(name))
        contrasts = family_contrasts(fit)
        chances = [
            row.chance_more if row.first == told.subject else 1 - row.chance_more
            for row in contrasts.itertuples()
            if told.subject in (row.first, row.second)
        ]
        assert len(chances) == 3
        assert told.chance == pytest.approx(max(0.0, 1 - sum(1 - chance for chance in chances)))


def test_an_effect_turns_round_no_more_surely_than_both_ways_hold():
    each = (
        ("over leaded", Finding(0.95, "more firings", "raises spread", value=1.0)),
        ("over unleaded", Finding(0.8, "more firings", "lowers spread", value=-1.0)),
    )
    assert _turned("more firings", "spread", each, 9).chance == pytest.approx(0.75)


def test_nothing_is_claimed_of_few_samples_and_no_direction_of_little():
    sure = Finding(0.99, "a coarser sifter", "raises spread")
    assert sure.found
    assert sure.directed
    few = replace(sure, patches=FEWEST_PATCHES - 1)
    assert not few.found
    assert not few.leaning
    assert not replace(sure, little=True).directed


def test_a_round_is_known_with_its_own_tiles(analysis):
    rounds = verdicts_by_round(analysis)
    made = analysis.series.tiles.set_index("tile")["session"]
    seen = over_another(analysis.observations)
    for session, patches in zip(sorted(made.unique()), rounds["patches"], strict=True):
        assert patches == seen.loc[seen["tile"].map(made) <= session, "patch"].nunique()


def test_a_tile_counts_neither_lost_patches_nor_a_half_grade_as_the_better_step():
    grades = pd.DataFrame(
        [
            (patch, 1, scale, grade)
            for patch, spread in (("T1-1", 1.0), ("T1-2", 1.5), ("T1-3", 0.0))
            for scale, grade in (("spread", spread), ("pull_through", 0.0))
        ],
        columns=["patch", "firing", "scale", "grade"],
    )
    told = tile_outcome(1, grades, VerdictRule(), lost=["T1-3"])
    assert (told.fine, told.judged, told.lost) == (1, 2, 1)


def test_patches_surprise_either_way():
    rows = pd.DataFrame(
        {
            "patch": ["T1-1", "T1-2", "T1-3"],
            "firing": 1,
            "base": "Ash",
            "overlay": "Chalk",
            "grade": [4.0, 0.0, 2.0],
            "expected": [2.5, 2.0, 1.5],
        }
    )
    rows["off"] = rows["grade"] - rows["expected"]
    assert list(far_from_expected(rows)["patch"]) == ["T1-2", "T1-1"]


def test_only_an_ending_goes_against_the_rule_of_thumb():
    def pair(families: str, verdict: str) -> SimpleNamespace:
        shown = SimpleNamespace(verdict=verdict, chance=0.9)
        return SimpleNamespace(
            shown=shown, first=SimpleNamespace(families=families), name=f"{families}: {verdict}"
        )

    odd = [
        pair("leaded over leaded", BROKEN_THROUGH),
        pair("leaded over unleaded", FINE_EDGE),
        pair("unleaded over leaded", FINE_EDGE),
    ]
    usual = [
        pair("leaded over leaded", HIT_OR_MISS),
        pair("leaded over unleaded", NOT_KNOWN),
        pair("unleaded over leaded", SOFT_EDGE),
        pair("unleaded over unleaded", FINE_EDGE),
    ]
    assert against_the_rule([*usual, *odd]) == odd
