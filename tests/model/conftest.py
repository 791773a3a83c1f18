"""An invented graded survey of known make."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.series import Series, Settings, new_series, patch_name
from kit.studio import Truth, draw_truth, fire

SURVEY_COLOURS = pd.DataFrame(
    {
        "colour": [f"colour {k}" for k in range(8)],
        "family": ["leaded", "unleaded"] * 4,
        "opacity": "",
        "grain": "",
        "notes": "",
    }
).astype("str")


@pytest.fixture(scope="session")
def survey_truth() -> Truth:
    return draw_truth(SURVEY_COLOURS, seed=11, loss_rate=0.0)


@pytest.fixture(scope="session")
def survey(survey_truth) -> Series:
    """8 colours on 24 tiles of 4 patches, fired three times, graded by two."""
    random = np.random.default_rng(4)
    names = list(SURVEY_COLOURS["colour"])
    tiles = pd.DataFrame(
        {
            "tile": range(1, 25),
            "base": pd.Series(names * 3, dtype="str"),
            "coats": 2,
            "mesh": 80,
            "coat_weight": 60.0,
            "session": [1 + k // 8 for k in range(24)],
        }
    )
    spots = [(tile, place) for tile in range(1, 25) for place in range(1, 5)]
    overlays = np.concatenate([random.choice(names, 4, replace=False) for _ in range(24)])
    patches = pd.DataFrame(
        {
            "patch": pd.Series([patch_name(*spot) for spot in spots], dtype="str"),
            "tile": [tile for tile, _ in spots],
            "position": [place for _, place in spots],
            "overlay": pd.Series(overlays, dtype="str"),
            "mesh": [100 if place % 2 else 80 for _, place in spots],
            "coat_weight": 40.0,
            "before_firing": 1,
            "accident": pd.Series([""] * len(spots), dtype="str"),
        }
    )
    settings = Settings("Survey", "Which pairs work?", tiles=24, graders=("AB", "CD"), seed=1)
    empty = new_series("survey", settings, SURVEY_COLOURS)
    return fire(replace(empty, tiles=tiles, patches=patches), survey_truth, seed=5)
