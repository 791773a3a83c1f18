"""Grades taken in: by workbook, by CSV, by a form; and what was lost on the way."""

from kit.record.entries import Change, Entered, Entry
from kit.record.form import Grading, GradingServer, grading_form
from kit.record.intake import Intake, apply, read_file, take_in
from kit.record.loss_balance import LossBalance, loss_balance
from kit.record.workbook_out import write_workbook
from kit.record.worklist import blind_order, grading_order, planned_firings, planned_grades

__all__ = [
    "Change",
    "Entered",
    "Entry",
    "Grading",
    "GradingServer",
    "Intake",
    "LossBalance",
    "apply",
    "blind_order",
    "grading_form",
    "grading_order",
    "loss_balance",
    "planned_firings",
    "planned_grades",
    "read_file",
    "take_in",
    "write_workbook",
]

