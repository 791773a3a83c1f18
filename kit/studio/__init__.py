"""An invented studio that fires a plan, for planning, teaching and tests."""

from kit.studio.fire import fire
from kit.studio.truth import ScaleTruth, Truth, draw_truth

__all__ = ["ScaleTruth", "Truth", "draw_truth", "fire"]
