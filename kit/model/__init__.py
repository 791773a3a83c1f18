"""What the grades say: mixed models applied to tiles, and what they mean at the bench."""

from kit.model.agreement import Agreement, agreement
from kit.model.checks import observed_against_foretold, residuals, tile_influence
from kit.model.effects import effects_table, effects_within
from kit.model.ending_draws import EndingDraws, ending_draws
from kit.model.families import common_practice_check, family_contrasts, family_table
from kit.model.grade_meaning import GradeMeaning, grades_against_measurements
from kit.model.grader_influence import grader_influence
from kit.model.measured import MeasureFit, fit_measurements, scale_to_share, share_to_scale
from kit.model.pair_setting import PairSetting, reasons_beyond, recipes
from kit.model.pair_states import (
    PairOutlook,
    ScoreState,
    ending_chances,
    outlook,
    state_by_grades,
    state_by_measurements,
)
from kit.model.pair_table import MEASURE_OF, measured_pair_table, pair_table, pairs, through
from kit.model.proportional_odds import proportional_odds_check
from kit.model.score_correlation import score_correlation
from kit.model.series_fit import NOISE, ScaleFit, fit_observations, fit_series, with_refirings
from kit.model.variation import logits_a_step, variation_table
from kit.model.verdicts import (
    BROKEN_THROUGH,
    DO,
    DOES,
    ENDINGS,
    FINE_EDGE,
    HIT_OR_MISS,
    LEANINGS,
    LOOKS,
    NOT_KNOWN,
    SOFT_EDGE,
    VERDICTS,
    Look,
    VerdictRule,
    look,
    shown_chance,
    verdict_sentence,
    verdicts,
)

__all__ = [
    "BROKEN_THROUGH",
    "DO",
    "DOES",
    "ENDINGS",
    "FINE_EDGE",
    "HIT_OR_MISS",
    "LEANINGS",
    "LOOKS",
    "MEASURE_OF",
    "NOISE",
    "NOT_KNOWN",
    "SOFT_EDGE",
    "VERDICTS",
    "Agreement",
    "EndingDraws",
    "GradeMeaning",
    "Look",
    "MeasureFit",
    "PairOutlook",
    "PairSetting",
    "ScaleFit",
    "ScoreState",
    "VerdictRule",
    "agreement",
    "beyond_what_was_fired",
    "common_practice_check",
    "effects_table",
    "effects_within",
    "ending_chances",
    "ending_draws",
    "family_contrasts",
    "family_table",
    "fit_measurements",
    "fit_observations",
    "fit_series",
    "grader_influence",
    "grades_against_measurements",
    "logits_a_step",
    "look",
    "measured_pair_table",
    "observed_against_foretold",
    "outlook",
    "pair_table",
    "pairs",
    "proportional_odds_check",
    "reasons_beyond",
    "recipes",
    "residuals",
    "scale_to_share",
    "score_correlation",
    "share_to_scale",
    "shown_chance",
    "state_by_grades",
    "state_by_measurements",
    "through",
    "tile_influence",
    "variation_table",
    "verdict_sentence",
    "verdicts",
    "with_refirings",
]
