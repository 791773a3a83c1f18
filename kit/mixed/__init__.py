"""Ordinal and linear mixed models: formulas, sparse algebra, priors, results, prediction."""

from kit.mixed.case_deletion import LeftOut, leave_out
from kit.mixed.cholesky import one_thread
from kit.mixed.grouping import Group, RandomTerm, read_group, same_division
from kit.mixed.joint import JointMixedModel
from kit.mixed.linear import LinearMixedModel
from kit.mixed.measured_results import JointResults, LinearResults
from kit.mixed.new_rows import LatentDraws, square_root
from kit.mixed.ordinal import OrdinalMixedModel
from kit.mixed.ordinal_results import OrdinalDraws, OrdinalResults, averaged_below, reading_below
from kit.mixed.prior import Amount, Prior, RowBelief
from kit.mixed.results import MixedResults, checked_confidence
from kit.mixed.sparsity import Array

__all__ = [
    "Amount",
    "Array",
    "Group",
    "JointMixedModel",
    "JointResults",
    "LatentDraws",
    "LeftOut",
    "LinearMixedModel",
    "LinearResults",
    "MixedResults",
    "OrdinalDraws",
    "OrdinalMixedModel",
    "OrdinalResults",
    "Prior",
    "RandomTerm",
    "RowBelief",
    "averaged_below",
    "checked_confidence",
    "leave_out",
    "one_thread",
    "read_group",
    "reading_below",
    "same_division",
    "square_root",
]
