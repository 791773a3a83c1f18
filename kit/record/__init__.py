"""What people bring in: grades by workbook, CSV or form, and what was lost on the way.

Loaded piece by piece when first used: only notebooks need the widgets, only some commands the
workbooks.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "amending": ["Amendment"],
        "corrections": ["correct", "withdraw"],
        "entries": ["Change", "Entered", "Entry"],
        "form_server": ["GradingServer", "grading_form"],
        "grading": ["Grading"],
        "intake": ["Intake", "apply", "read_file", "take_in"],
        "lost_patches": ["LossBalance", "loss_balance"],
        "merging": ["Conflict", "Merge", "merge"],
        "past_events": ["history", "restore", "undo"],
        "plan_changes": [
            "CHANGES",
            "change_plan",
            "first_free_number",
            "plan_saver",
            "replanned",
            "split",
            "unplanned",
        ],
        "reconciliation": ["Reconciliation", "reconcile"],
        "workbook_out": ["write_workbook", "write_workbooks"],
        "worklist": ["blind_order", "grading_order", "planned_firings", "planned_grades"],
    },
)
