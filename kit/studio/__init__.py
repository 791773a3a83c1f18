"""An invented studio that fires a plan, for planning, teaching and tests.

Loaded piece by piece when first used: the demo plans a series, and planning needs the truth.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "demo": ["demo_colours", "demo_series", "demo_settings", "demo_truth"],
        "fire": ["fire"],
        "truth": ["ScaleTruth", "Truth", "draw_truth"],
    },
)
