"""A small graded series that many tests start from. Its data are invented."""

from dataclasses import replace

import pandas as pd
import pytest

from kit.series import Series, Settings, new_series, patch_name
from kit.studio import draw_truth, fire

COLOURS = pd.DataFrame(
    {
        "colour": ["Attic Rose", "Ferry Blue", "Plaster White", "Pond Green"],
        "family": ["leaded", "leaded", "unleaded", "unleaded"],
        "opacity": ["opaque", "transparent", "opaque", ""],
        "grain": ["fine", "", "", "coarse"],
        "notes": ["", "", "", ""],
    }
).astype("str")


def planned_by_hand(name: str = "small") -> Series:
    """Every colour twice as a base, and under it all four colours once."""
    bases = list(COLOURS["colour"]) * 2
    tiles = pd.DataFrame(
        {
            "tile": range(1, 9),
            "base": pd.Series(bases, dtype="str"),
            "coats": 2,
            "mesh": 80,
            "coat_weight": 60.0,
            "session": [1] * 4 + [2] * 4,
        }
    )
    spots = [(t, p) for t in tiles["tile"] for p in range(1, 5)]
    patches = pd.DataFrame(
        {
            "patch": pd.Series([patch_name(t, p) for t, p in spots], dtype="str"),
            "tile": [t for t, _ in spots],
            "position": [p for _, p in spots],
            "overlay": pd.Series([COLOURS["colour"][(t + p) % 4] for t, p in spots], dtype="str"),
            "mesh": [100 if p % 2 else 80 for _, p in spots],
            "coat_weight": 40.0,
            "before_firing": 1,
            "accident": pd.Series([""] * len(spots), dtype="str"),
        }
    )
    settings = Settings("Small", "Does it hold?", tiles=8, graders=("AB", "CD"), seed=5)
    return replace(new_series(name, settings, COLOURS), tiles=tiles, patches=patches)


@pytest.fixture
def planned() -> Series:
    return planned_by_hand()


@pytest.fixture
def fired(planned: Series) -> Series:
    return fire(planned, draw_truth(planned.colours, seed=3, loss_rate=0.0), seed=4)


@pytest.fixture
def folder(fired, tmp_path):
    """The graded series on disk, below a data folder."""
    return fired.write(tmp_path / "data" / "small")
