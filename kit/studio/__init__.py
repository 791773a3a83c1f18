"""An invented studio that fires a plan, for planning, teaching and tests."""

from kit.studio.demo import demo_colours, demo_series, demo_settings, demo_truth
from kit.studio.fire import fire
from kit.studio.truth import ScaleTruth, Truth, draw_truth

__all__ = [
    "ScaleTruth",
    "Truth",
    "demo_colours",
    "demo_series",
    "demo_settings",
    "demo_truth",
    "draw_truth",
    "fire",
]
