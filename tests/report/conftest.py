"""Series that the report must cope with, fired in the invented studio."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from kit.series import Settings, new_series, patch_name
from kit.studio import draw_truth, fire

COLOURS = pd.DataFrame(
    {
        "colour": ["Ember", "Rowan", "Dusk", "Frost", "Moss", "Slate"],
        "family": ["leaded"] * 3 + ["unleaded"] * 3,
        "opacity": ["opaque", "transparent", "opaque"] * 2,
        "grain": "medium",
        "notes": "",
    }
)


def planned(name, tiles=12, per_tile=4, **settings):
    """A series whose bases take turns and whose overlays are drawn at random."""
    random = np.random.default_rng(11)
    chosen = {
        "title": "Edges over two families",
        "question": "Which pairs keep a fine edge?",
        "started": dt.date(2026, 3, 14),
        "seed": 11,
        "tiles": tiles,
        "patches_per_tile": per_tile,
        "graders": ("Ada", "Ben"),
    } | settings
    series = new_series(name, Settings(**chosen), COLOURS)
    names = list(COLOURS["colour"])
    laid = pd.DataFrame(
        {
            "tile": range(1, tiles + 1),
            "base": [names[t % 6] for t in range(tiles)],
            "coats": 2,
            "mesh": 80,
            "coat_weight": 60.0,
            "session": [1 + t // 6 for t in range(tiles)],
        }
    )
    rows = [
        (patch_name(t, p + 1), t, p + 1, overlay)
        for t in laid["tile"]
        for p, overlay in enumerate(random.choice(names, per_tile, replace=False))
    ]
    patches = pd.DataFrame(rows, columns=["patch", "tile", "position", "overlay"])
    patches = patches.assign(mesh=100, coat_weight=40.0, before_firing=1, accident="")
    from dataclasses import replace

    return replace(series, tiles=laid, patches=patches.astype({"accident": "str"}))


@pytest.fixture(scope="session")
def fired():
    """A small series fired and graded by two people, one tile lost."""
    return fire(planned("edges"), draw_truth(COLOURS, 5, loss_rate=0.02), 3)
