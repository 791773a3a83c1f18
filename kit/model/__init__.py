"""What the grades say: mixed models applied to tiles, and what they mean at the bench."""

from kit.model.correlated_scores import score_correlation
from kit.model.drift import Drift, drift_in_session
from kit.model.effects import effects_table, effects_within
from kit.model.families import (
    common_practice_check,
    family_contrasts,
    family_table,
    matched_contrasts,
)
from kit.model.goodness_of_fit import (
    FALSE_ALARM,
    LeftOut,
    left_out,
    observed_against_foretold,
    residuals,
)
from kit.model.grader_mistakes import ExpectedGrades, grader_slips
from kit.model.grades_as_measured import GradeMeaning, grades_against_measurements
from kit.model.influence import grader_influence, tile_influence
from kit.model.informative_losses import LossBias, loss_bias
from kit.model.interrater_agreement import Agreement, agreement
from kit.model.joint_draws import EndingDraws, ending_draws
from kit.model.measurement_fit import (
    MEASURE_OF,
    MeasureFit,
    fit_measurements,
    scale_to_share,
    share_to_scale,
)
from kit.model.pair_setting import PairSetting, every_pair, reasons_beyond, recipes
from kit.model.pair_states import (
    PairOutlook,
    ScoreState,
    ending_chances,
    outlook,
    state_by_grades,
    state_by_measurements,
)
from kit.model.pair_verdicts import measured_pair_table, pair_table, pairs, through
from kit.model.proportional_odds import (
    cuts_differ,
    cuts_sentence,
    proportional_odds_check,
    verdicts_by_own_cuts,
)
from kit.model.refiring import CANNOT_TELL, refiring_table
from kit.model.right_hand_side import NOISE, PICTURED, with_refirings
from kit.model.series_fit import ScaleFit, fit_observations, fit_series, learned_prior
from kit.model.series_prior import LEARNED, SERIES_PRIOR, LearnedPrior
from kit.model.variation import logits_a_step, variation_table
from kit.model.verdict_rule import (
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
    "CANNOT_TELL",
    "DO",
    "DOES",
    "ENDINGS",
    "FALSE_ALARM",
    "FINE_EDGE",
    "HIT_OR_MISS",
    "LEANINGS",
    "LEARNED",
    "LOOKS",
    "MEASURE_OF",
    "NOISE",
    "NOT_KNOWN",
    "PICTURED",
    "SERIES_PRIOR",
    "SOFT_EDGE",
    "VERDICTS",
    "Agreement",
    "Drift",
    "EndingDraws",
    "ExpectedGrades",
    "GradeMeaning",
    "LearnedPrior",
    "LeftOut",
    "Look",
    "LossBias",
    "MeasureFit",
    "PairOutlook",
    "PairSetting",
    "ScaleFit",
    "ScoreState",
    "VerdictRule",
    "agreement",
    "common_practice_check",
    "cuts_differ",
    "cuts_sentence",
    "drift_in_session",
    "effects_table",
    "effects_within",
    "ending_chances",
    "ending_draws",
    "every_pair",
    "family_contrasts",
    "family_table",
    "fit_measurements",
    "fit_observations",
    "fit_series",
    "grader_influence",
    "grader_slips",
    "grades_against_measurements",
    "learned_prior",
    "left_out",
    "logits_a_step",
    "look",
    "loss_bias",
    "matched_contrasts",
    "measured_pair_table",
    "observed_against_foretold",
    "outlook",
    "pair_table",
    "pairs",
    "proportional_odds_check",
    "reasons_beyond",
    "recipes",
    "refiring_table",
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
    "verdicts_by_own_cuts",
    "with_refirings",
]
