"""The answer names colours and firing counts, and says no more than the verdicts do."""

import pandas as pd

from kit.model import BROKEN_THROUGH, FINE_EDGE, HIT_OR_MISS, NOT_KNOWN, SOFT_EDGE
from kit.report import PairFindings
from kit.report.findings.headline import which_pairs

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
    assert said.startswith("Ash keeps a fine edge over every unleaded base, through 2 firings.")


def test_a_family_that_only_spoils_is_kept_off():
    spoiled = {
        f"{overlay}_{base}": (SOFT_EDGE, BROKEN_THROUGH)
        for overlay in ("Ash", "Brick")
        for base in ("Chalk", "Dune")
    }
    said = which_pairs(judged(Chalk_Ash=(FINE_EDGE, FINE_EDGE), **spoiled))
    assert "Keep leaded colours off unleaded bases." in said
    assert said.startswith("Chalk over Ash keeps a fine edge through 2 firings.")


def test_hit_or_miss_is_said_apart_from_what_is_not_known():
    said = which_pairs(judged(Dune_Ash=(HIT_OR_MISS, HIT_OR_MISS)))
    assert said == (
        "No pair is sure to keep a fine edge, even through 1 firing. Dune over Ash is hit or miss. "
        "11 pairs of 12 are not known yet at any firing count."
    )


def test_it_fits_the_first_screen_of_a_phone(analysis):
    assert len(which_pairs(analysis.pairs_found)) < 420


def test_a_pair_that_varies_by_nature_is_never_among_those_that_firing_could_settle():
    found = judged(Dune_Ash=(HIT_OR_MISS, HIT_OR_MISS), Ash_Dune=(FINE_EDGE, NOT_KNOWN))
    assert found.of("Ash", "Dune") not in found.open
    assert found.of("Dune", "Ash") in found.open
    assert found.varying == [found.of("Ash", "Dune")]
