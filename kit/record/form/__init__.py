"""The grading form: one patch at a time, on a tablet, a phone or a screen, saved at every tap."""

from kit.record.form.grading import Grading
from kit.record.form.server import GradingServer, grading_form

__all__ = ["Grading", "GradingServer", "grading_form"]
