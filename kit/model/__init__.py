"""What the grades say: mixed models applied to tiles, and what they mean at the bench."""

from kit.model.agreement import Agreement, agreement
from kit.model.checks import observed_against_foretold, residuals, tile_influence
from kit.model.dependence import score_correlation
from kit.model.effects import effects_table
from kit.model.families import common_practice_check, family_contrasts, family_table
from kit.model.grade_meaning import GradeMeaning, grades_against_measurements
from kit.model.grader_influence import grader_influence
from kit.model.measured import MeasureFit, fit_measurements
from kit.model.measured_pairs import MEASURE_OF, measured_pair_table
from kit.model.pair_setting import PairSetting
from kit.model.pairs import pair_table
from kit.model.proportional_odds import proportional_odds_check
from kit.model.series_fit import ScaleFit, fit_observations, fit_series
from kit.model.shares import scale_to_share, share_to_scale
from kit.model.variation import variation_table
from kit.model.verdicts import AVOID, BROKEN_ONLY, NOT_KNOWN, SUITED, VERDICTS

__all__ = [
    "AVOID",
    "BROKEN_ONLY",
    "MEASURE_OF",
    "NOT_KNOWN",
    "SUITED",
    "VERDICTS",
    "Agreement",
    "GradeMeaning",
    "MeasureFit",
    "PairSetting",
    "ScaleFit",
    "agreement",
    "common_practice_check",
    "effects_table",
    "family_contrasts",
    "family_table",
    "fit_measurements",
    "fit_observations",
    "fit_series",
    "grader_influence",
    "grades_against_measurements",
    "measured_pair_table",
    "observed_against_foretold",
    "pair_table",
    "proportional_odds_check",
    "residuals",
    "scale_to_share",
    "score_correlation",
    "share_to_scale",
    "tile_influence",
    "variation_table",
]
