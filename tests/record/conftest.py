"""A small invented series, planned and not yet fired."""

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from kit.series import Series, Settings, new_series, patch_name

COLOURS = ("Fog", "Slate", "Amber", "Moss")


def planned(**settings: object) -> Series:
    """Four tiles of three patches; the last patch of each tile goes on before firing 2."""
    told = {"title": "Trial", "question": "Which over which?", "patches_per_tile": 3, "tiles": 4}
    stock = pd.DataFrame(
        {
            "colour": COLOURS,
            "family": ["leaded", "unleaded"] * 2,
            "opacity": "opaque",
            "grain": "",
            "notes": "",
        }
    ).astype("str")
    series = new_series("trial", Settings(**{**told, **settings}), stock)
    tiles = pd.DataFrame(
        {
            "tile": [1, 2, 3, 4],
            "base": COLOURS,
            "coats": 2,
            "mesh": 80,
            "coat_weight": 60.0,
            "session": [1, 1, 2, 2],
        }
    ).astype({"base": "str"})
    patches = pd.DataFrame(
        [
            {
                "patch": patch_name(tile, place),
                "tile": tile,
                "position": place,
                "overlay": COLOURS[(tile + place - 1) % 4],
                "mesh": 100,
                "coat_weight": 40.0,
                "before_firing": 2 if place == 3 else 1,
                "accident": "",
            }
            for tile in (1, 2, 3, 4)
            for place in (1, 2, 3)
        ]
    ).astype({"patch": "str", "overlay": "str", "accident": "str"})
    return replace(series, tiles=tiles, patches=patches)


@pytest.fixture
def series() -> Series:
    return planned(graders=("Ada", "Ben"))


@pytest.fixture
def folder(series: Series, tmp_path: Path) -> Path:
    """The series on disk."""
    place = tmp_path / "data" / "trial"
    place.parent.mkdir()
    return series.write(place)


@pytest.fixture
def plan():
    """Build the series with other settings."""
    return planned


@pytest.fixture(scope="session")
def fuzz():
    """The cases of fuzz_workbooks.py, which the benchmark runs many more of."""
    place = Path(__file__).with_name("fuzz_workbooks.py")
    spec = importlib.util.spec_from_file_location(place.stem, place)
    module = importlib.util.module_from_spec(spec)
    sys.modules[place.stem] = module
    spec.loader.exec_module(module)
    return module
