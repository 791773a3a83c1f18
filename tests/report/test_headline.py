"""The answer names colours and firing counts, and says no more than the verdicts do."""

from types import SimpleNamespace

import pandas as pd
import pytest

from kit.model import BROKEN_THROUGH, FINE_EDGE, HIT_OR_MISS, NOT_KNOWN, SOFT_EDGE
from kit.report import PairFindings
from kit.report.findings.finding import Finding
from kit.report.findings.headline import answer, asked_pairs, which_pairs, wishes_answered
from kit.report.sections.look_up_data import _first, best_count

FAMILY = {"Ash": "leaded", "Brick": "leaded", "Chalk": "unleaded", "Dune": "unleaded"}
CHANCES = {
    FINE_EDGE: (0.9, 0.05, 0.05),
    SOFT_EDGE: (0.05, 0.9, 0.05),
    BROKEN_THROUGH: (0.05, 0.05, 0.9),
    HIT_OR_MISS: (0.5, 0.3, 0.2),
    NOT_KNOWN: (0.5, 0.3, 0.2),
}


def judged(**verdicts):
    """Pairs of four colours with the verdicts after one and two firings, by 'Overlay_Base'."""
    rows = []
    for base in FAMILY:
        for overlay in FAMILY:
            told = verdicts.get(f"{overlay}_{base}", (NOT_KNOWN, NOT_KNOWN))
            for firings, verdict in enumerate(told, start=1) if base != overlay else ():
                chances = dict(zip(("fine_edge", "soft_edge", "broken_through"),
                                   CHANCES[verdict], strict=True))  # fmt: skip
                rows.append(
                    {
                        "base": base, "overlay": overlay, "base_family": FAMILY[base],
                        "overlay_family": FAMILY[overlay], "firings": firings, "patches": 1,
                        **chances, "verdict": verdict,
                        "leans_to": verdict if verdict in list(CHANCES)[:3] else FINE_EDGE,
                        "share_low": 0.4, "share_high": 0.6,
                        "hit_or_miss": 0.9 if verdict == HIT_OR_MISS else 0.1,
                        "reading_fine_edge": 0.5, "foretold": False,
                        **{f"{s}{e}": 1.0 for s in ("spread", "pull_through")
                           for e in ("", "_low", "_high")},
                    }
                )  # fmt: skip
    return PairFindings(pd.DataFrame(rows))


def test_it_names_the_colours_and_how_often_they_may_be_fired():
    said = which_pairs(
        judged(
            Ash_Chalk=(FINE_EDGE, FINE_EDGE), Ash_Dune=(FINE_EDGE, FINE_EDGE),
            Brick_Chalk=(FINE_EDGE, SOFT_EDGE), Brick_Dune=(FINE_EDGE, FINE_EDGE),
        )
    )  # fmt: skip
    assert said.startswith(
        "Ash keeps a fine edge over every unleaded base, through 2 firings (2 of 2 pairs fired)."
    )


def unfired(found, *overlays):
    """The same pairs where these overlays were fired over nothing."""
    patches = found.table["patches"].mask(found.table["overlay"].isin(overlays), 0)
    return PairFindings(found.table.assign(patches=patches))


def test_an_overlay_fired_over_none_of_the_bases_is_not_praised():
    kept = {f"{o}_{b}": (FINE_EDGE,) * 2 for o in ("Ash", "Brick") for b in ("Chalk", "Dune")}
    found = judged(**kept)
    assert which_pairs(found).startswith(
        "Every leaded colour keeps a fine edge over every unleaded base, through 2 firings "
        "(4 of 4 pairs fired)."
    )
    said = which_pairs(unfired(found, "Ash"))
    assert said.startswith("Brick keeps a fine edge over every unleaded base, through 2 firings (2")
    assert "every unleaded base" not in which_pairs(unfired(found, "Ash", "Brick"))


def test_a_claim_of_every_base_says_how_many_of_its_pairs_were_fired():
    found = judged(Ash_Chalk=(FINE_EDGE, FINE_EDGE), Ash_Dune=(FINE_EDGE, FINE_EDGE))
    never = (found.table["overlay"] == "Ash") & (found.table["base"] == "Dune")
    table = found.table.assign(patches=found.table["patches"].mask(never, 0))
    assert "through 2 firings (1 of 2 pairs fired)." in which_pairs(PairFindings(table))


def test_colours_are_kept_off_from_the_count_by_which_most_are_known_to_be_spoiled():
    late = {f"{o}_{b}": (NOT_KNOWN, SOFT_EDGE) for o in ("Ash", "Brick") for b in ("Chalk", "Dune")}
    late["Ash_Dune"] = (SOFT_EDGE, SOFT_EDGE)
    said = which_pairs(judged(**late))
    assert "Keep leaded colours off unleaded bases from 2 firings on (4 of 4 pairs fired)." in said


def test_a_family_that_only_spoils_is_kept_off():
    spoiled = {
        f"{overlay}_{base}": (SOFT_EDGE, BROKEN_THROUGH)
        for overlay in ("Ash", "Brick")
        for base in ("Chalk", "Dune")
    }
    said = which_pairs(judged(Chalk_Ash=(FINE_EDGE, FINE_EDGE), **spoiled))
    assert "Keep leaded colours off unleaded bases from 1 firing on (4 of 4 pairs fired)." in said
    assert said.startswith("Chalk over Ash keeps a fine edge through 2 firings (fired).")


def test_hit_or_miss_is_said_apart_from_what_is_not_known():
    said = which_pairs(judged(Dune_Ash=(HIT_OR_MISS, HIT_OR_MISS)))
    assert said == (
        "No pair is sure to keep a fine edge, even through 1 firing. Dune over Ash is hit or miss "
        "(fired). "
        "11 pairs of 12 are not known yet at any firing count."
    )


def test_it_fits_the_first_screen_of_a_phone(analysis):
    assert len(which_pairs(analysis.pairs_found)) < 420


def test_a_pair_that_varies_by_nature_is_never_among_those_that_firing_could_settle():
    found = judged(Dune_Ash=(HIT_OR_MISS, HIT_OR_MISS), Ash_Dune=(FINE_EDGE, NOT_KNOWN))
    assert found.of("Ash", "Dune") not in found.open
    assert found.of("Dune", "Ash") in found.open
    assert found.varying == [found.of("Ash", "Dune")]


def test_an_overlay_keeps_its_edge_as_long_as_over_its_worst_base():
    said = which_pairs(
        judged(
            Ash_Chalk=(FINE_EDGE, FINE_EDGE), Ash_Dune=(FINE_EDGE, SOFT_EDGE),
            Brick_Chalk=(FINE_EDGE, SOFT_EDGE), Brick_Dune=(SOFT_EDGE, SOFT_EDGE),
        )
    )  # fmt: skip
    assert said.startswith(
        "Ash keeps a fine edge over every unleaded base, through 1 firing (2 of 2 pairs fired)."
    )


def test_colours_are_kept_off_only_where_most_pairs_are_spoiled():
    said = which_pairs(judged(Ash_Chalk=(SOFT_EDGE, SOFT_EDGE), Chalk_Ash=(FINE_EDGE, FINE_EDGE)))
    assert "Keep leaded colours off" not in said


def test_only_what_is_not_known_at_any_count_is_called_so():
    said = which_pairs(judged(Ash_Chalk=(SOFT_EDGE, NOT_KNOWN)))
    assert "11 pairs of 12 are not known yet at any firing count." in said


def test_the_last_count_with_a_fine_edge_stands_for_a_pair():
    pair = judged(Ash_Chalk=(FINE_EDGE, FINE_EDGE)).of("Chalk", "Ash")
    assert (pair.through, pair.shown.firings) == (2, 2)


def test_what_lies_beyond_what_was_fired_is_not_settled_by_firing():
    table = judged().table.assign(foretold=True)
    assert not any(pair.can_be_settled for pair in PairFindings(table))
    assert all(pair.can_be_settled for pair in judged())


def test_the_look_up_opens_with_a_pair_that_was_photographed():
    table = pd.DataFrame(
        {"base": ["Ash", "Ash", "Moss"], "overlay": ["Moss", "Sky", "Ash"], "patches": [5, 2, 1]}
    )
    place = {"Ash": 0, "Moss": 1, "Sky": 2}
    assert _first(table, place, {}) == [0, 1]
    seen = {("Ash", "Sky"): ("a.jpg",), ("Moss", "Ash"): ("b.jpg",)}
    assert _first(table, place, seen) == [0, 2]


def test_pairs_wished_for_are_those_asked_about():
    found = judged()
    wish = SimpleNamespace(base="Ash", overlay="Dune")
    settings = SimpleNamespace(wishes=(wish,))
    asked = SimpleNamespace(pairs_found=found, series=SimpleNamespace(settings=settings))
    assert asked_pairs(asked) == [found.of("Ash", "Dune")]
    settings.wishes = ()
    assert asked_pairs(asked) == found.fired


@pytest.mark.parametrize(
    ("verdicts", "said"),
    [
        (
            (FINE_EDGE, FINE_EDGE),
            "Ash over Dune: yes, a fine edge through 2 firings, the most that was fired. Fine edge "
            "after 1 and 2 firings (chance 90\u00a0%, 90\u00a0%).",
        ),
        (
            (FINE_EDGE, SOFT_EDGE),
            "Ash over Dune: yes for a fine edge through 1 firing, and not beyond. Fine edge after "
            "1 firing (chance 90\u00a0%); soft edge after 2 firings (chance 90\u00a0%).",
        ),
        (
            (SOFT_EDGE, BROKEN_THROUGH),
            "Ash over Dune: no. Soft edge after 1 firing (chance 90\u00a0%); broken through after "
            "2 firings (chance 90\u00a0%).",
        ),
        (
            (NOT_KNOWN, BROKEN_THROUGH),
            "Ash over Dune: do not rely on it. Leans to a fine edge after 1 firing (chance "
            "50\u00a0%); broken through after 2 firings (chance 90\u00a0%).",
        ),
        (
            (NOT_KNOWN, NOT_KNOWN),
            "Ash over Dune: not known yet. Leans to a fine edge after 1 and 2 firings (chance "
            "50\u00a0%, 50\u00a0%).",
        ),
    ],
)
def test_one_pair_asked_about_is_answered_at_every_firing_count(verdicts, said):
    found = judged(Ash_Dune=verdicts)
    settings = SimpleNamespace(
        ask="is this pair safe", wishes=(SimpleNamespace(base="Dune", overlay="Ash"),)
    )
    series = SimpleNamespace(settings=settings)
    asked = SimpleNamespace(observations=[1], pairs_found=found, series=series)
    assert answer(asked) == said


def test_pairs_wished_for_are_answered_where_the_question_is_of_all_pairs():
    found = judged(Ash_Dune=(FINE_EDGE, SOFT_EDGE))
    wishes = (
        SimpleNamespace(base="Dune", overlay="Ash"),
        SimpleNamespace(base="Gone", overlay="Ash"),
    )
    settings = SimpleNamespace(ask="which pairs work", wishes=wishes)
    told = SimpleNamespace(pairs_found=found, series=SimpleNamespace(settings=settings))
    assert wishes_answered(told) == (
        "You wished to know of some pairs above others. Ash over Dune keeps a fine edge through 1 "
        "firing; after 2 firings it gets a soft edge (seen on 1 patch)."
    )
    settings.wishes = ()
    assert wishes_answered(told) == ""


def test_a_fine_edge_that_comes_back_after_a_soft_one_is_not_counted():
    rows = [
        SimpleNamespace(firings=n, verdict=verdict, leans_to=FINE_EDGE, fine_edge=0.9)
        for n, verdict in enumerate((FINE_EDGE, SOFT_EDGE, FINE_EDGE), start=1)
    ]
    assert best_count(rows).startswith("it keeps a fine edge through 1 firing; after 2 firings")


def test_every_effect_that_may_be_claimed_is_named_what_turns_round_first():
    def effect(factor, chance, value, **more):
        finding = Finding(chance, factor, "raises spread", value=value, patches=9, **more)
        return SimpleNamespace(factor=factor, finding=finding)

    effects = [
        effect("firings", 0.99, 0.4),
        effect("mesh", 0.97, -1.2),
        effect("coat_weight", 0.96, float("nan"), turns=True),
        effect("heat", 0.6, 2.0),
        effect("base_family", 0.99, 3.0),
    ]
    made = SimpleNamespace(
        series=SimpleNamespace(settings=SimpleNamespace(ask="which things matter")),
        observations=[1],
        scores={"spread": SimpleNamespace(effects=effects)},
        findings=[one.finding for one in effects],
    )
    said = [part.split(", ")[1].split(" raises")[0] for part in answer(made).split(". ")]
    assert said == ["coat_weight", "mesh", "firings"]
