"""Pair surveys: what is known of pairs, verdicts to expect, the search, what to fire next."""

from kit.design.surveys.choose_next import next_patches, verdicts_now
from kit.design.surveys.pair_knowledge import (
    SCORES,
    Floats,
    Ints,
    PairKnowledge,
    checked_colours,
    fitted_scores,
    known_from_grades,
)
from kit.design.surveys.pair_survey import TileFormat, survey, survey_plan, survey_task
from kit.design.surveys.pairs_beforehand import (
    SOURCES,
    known_beforehand,
    known_of_series,
    learned_scores,
    score_of_rule,
    source_beliefs,
)
from kit.design.surveys.patch_exchange import Places
from kit.design.surveys.verdict_criterion import expected_verdicts
from kit.design.surveys.verdict_search import after_firing, dealt_evenly, remaining_shares

__all__ = [
    "SCORES",
    "SOURCES",
    "Floats",
    "Ints",
    "PairKnowledge",
    "Places",
    "TileFormat",
    "after_firing",
    "checked_colours",
    "dealt_evenly",
    "expected_verdicts",
    "fitted_scores",
    "known_beforehand",
    "known_from_grades",
    "known_of_series",
    "learned_scores",
    "next_patches",
    "remaining_shares",
    "score_of_rule",
    "source_beliefs",
    "survey",
    "survey_plan",
    "survey_task",
    "verdicts_now",
]
