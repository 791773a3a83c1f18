"""An invented studio that fires a plan and photographs it, for planning, teaching and tests.

Loaded piece by piece when first used, so that firing a plan does not draw in what only its
photographs need.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "camera": ["Camera", "Lighting"],
        "demo": [
            "demo_colours",
            "demo_photographs",
            "demo_piece",
            "demo_series",
            "demo_settings",
            "demo_truth",
        ],
        "fired_tile": ["PatchLook", "TileLook"],
        "kiln": ["fire", "latent_truth"],
        "photo_shoot": ["Photographed", "photograph_series"],
        "scene": ["Photograph", "Setting", "photograph"],
        "truth": ["ScaleTruth", "Truth", "draw_truth"],
    },
)
