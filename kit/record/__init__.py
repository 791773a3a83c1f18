"""Grades taken in: by workbook, by CSV, by a form; and what was lost on the way."""

from typing import TYPE_CHECKING, Any

from kit.record.entries import Change, Entered, Entry
from kit.record.form_state import Grading
from kit.record.intake import Intake, apply, read_file, take_in
from kit.record.loss_balance import LossBalance, loss_balance
from kit.record.workbook_out import write_workbook
from kit.record.worklist import blind_order, grading_order, planned_firings, planned_grades

if TYPE_CHECKING:
    from kit.record.form import GradingForm

__all__ = [
    "Change",
    "Entered",
    "Entry",
    "Grading",
    "GradingForm",
    "Intake",
    "LossBalance",
    "apply",
    "blind_order",
    "grading_order",
    "loss_balance",
    "planned_firings",
    "planned_grades",
    "read_file",
    "take_in",
    "write_workbook",
]


def __getattr__(name: str) -> Any:
    """Load the form when it is first asked for: only notebooks need the widgets."""
    if name == "GradingForm":
        from kit.record.form import GradingForm

        return GradingForm
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
