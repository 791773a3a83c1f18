"""Grades taken in: by workbook, by CSV, by a form; and what was lost on the way."""

from typing import TYPE_CHECKING, Any

from kit.record.accidents import LossBalance, loss_balance
from kit.record.entry import Change, Entered, Entry
from kit.record.grading import Grading
from kit.record.planned import blind_order, grading_order, planned_firings, planned_grades
from kit.record.take_in import Intake, apply, read_file, take_in
from kit.record.workbook_out import write_workbook

if TYPE_CHECKING:
    from kit.record.form import GradingForm
    from kit.record.notebook_forms import grading_picker, plan_saver

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
    "grading_picker",
    "loss_balance",
    "plan_saver",
    "planned_firings",
    "planned_grades",
    "read_file",
    "take_in",
    "write_workbook",
]


def __getattr__(name: str) -> Any:
    """Load a form when it is first asked for: only notebooks need the widgets."""
    if name == "GradingForm":
        from kit.record.form import GradingForm

        return GradingForm
    if name in ("grading_picker", "plan_saver"):
        from kit.record import notebook_forms

        return getattr(notebook_forms, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
