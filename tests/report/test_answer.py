"""The one-line answer says what the verdicts say, and no more."""

from types import SimpleNamespace

import pandas as pd

from kit.model import BROKEN_THROUGH, FINE_EDGE, NOT_KNOWN, SOFT_EDGE
from kit.report.findings.headline import answer


def judged(**by_family):
    """An analysis whose pairs of families have the verdicts given, in any number."""
    rows = [
        (*reversed(families.split("_over_")), verdict)
        for families, verdicts in by_family.items()
        for verdict in verdicts
    ]
    pairs = pd.DataFrame(rows, columns=["base_family", "overlay_family", "verdict"])
    return SimpleNamespace(observations=[1], pairs=pairs)


def test_it_counts_verdicts_and_what_is_open():
    said = answer(
        judged(
            leaded_over_leaded=[FINE_EDGE] * 3 + [NOT_KNOWN],
            unleaded_over_leaded=[BROKEN_THROUGH] + [NOT_KNOWN] * 15,
            leaded_over_unleaded=[SOFT_EDGE, SOFT_EDGE, FINE_EDGE],
        )
    )
    assert said == (
        "Of 4 pairs leaded over leaded, 3 keep a fine edge and 1 is not known yet; of 16 pairs "
        "unleaded over leaded, 1 is broken through and 15 are not known yet; of 3 pairs leaded "
        "over unleaded, 1 keeps a fine edge and 2 are better avoided."
    )


def test_families_of_which_nothing_is_known_are_named_together():
    said = answer(judged(leaded_over_leaded=[NOT_KNOWN] * 4, leaded_over_unleaded=[NOT_KNOWN] * 2))
    assert said == (
        "None of the 4 pairs leaded over leaded and 2 pairs leaded over unleaded is known yet."
    )
