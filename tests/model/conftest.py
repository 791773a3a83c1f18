"""Published data, reference fits, and an invented graded series of known make."""

import json
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.model import ScaleFit, fit_observations
from kit.series import Series, Settings, new_series, patch_name
from kit.studio import Truth, draw_truth, fire

REFERENCE = Path(__file__).parents[1] / "reference"

GROUPS = ["base", "overlay", "base:overlay", "tile", "patch", "grader"]
FORMULA = "grade ~ base_family * overlay_family + firings + mesh"


@pytest.fixture(scope="session")
def wine() -> pd.DataFrame:
    """Randall (1989), Biometrical Journal 31."""
    return pd.read_csv(REFERENCE / "wine.csv")


@pytest.fixture(scope="session")
def penicillin() -> pd.DataFrame:
    """Davies and Goldsmith (1972), Statistical Methods in Research and Production."""
    return pd.read_csv(REFERENCE / "penicillin.csv")


@pytest.fixture(scope="session")
def cake() -> pd.DataFrame:
    """Cochran and Cox (1957), Experimental Designs, 2nd ed."""
    return pd.read_csv(REFERENCE / "cake.csv")


@pytest.fixture(scope="session")
def references() -> dict[str, dict]:
    """Fits of the published data by R's ordinal and lme4, by case."""
    cases = json.loads((REFERENCE / "mixed_models.json").read_text())
    return {case["case"]: case for case in cases}


def invent_grades(
    seed: int, tiles: int = 36, patches: int = 4, firings: int = 3, graders: int = 3
) -> pd.DataFrame:
    """Grades and millimetres of an invented series, made by the model that is fitted to it."""
    random = np.random.default_rng(seed)
    colours = np.array([f"{chr(97 + i)}" for i in range(12)])
    rows = [
        (tile, f"{tile}-{position}", colours[tile % 12], colours[overlay], firing, f"g{grader}")
        for tile in range(tiles)
        for position, overlay in enumerate(random.choice(12, patches, replace=False))
        for firing in range(1, firings + 1)
        for grader in range(graders)
    ]
    data = pd.DataFrame(rows, columns=["tile", "patch", "base", "overlay", "firings", "grader"])
    leaded = set(colours[:6])
    data["base_family"] = np.where(data["base"].isin(leaded), "leaded", "unleaded")
    data["overlay_family"] = np.where(data["overlay"].isin(leaded), "leaded", "unleaded")
    data["mesh"] = np.where(pd.factorize(data["patch"])[0] % 2, 80, 120)
    eta = (
        1.5 * ((data["base_family"] == "unleaded") & (data["overlay_family"] == "leaded"))
        + 0.7 * data["firings"]
        + 0.01 * data["mesh"]
    ).to_numpy()
    sds = {"base": 0.8, "overlay": 0.7, "pair": 0.6, "tile": 0.5, "patch": 0.5, "grader": 0.4}
    data["pair"] = data["base"] + ":" + data["overlay"]
    for group, sd in sds.items():
        codes, levels = pd.factorize(data[group])
        eta = eta + random.normal(0, sd, len(levels))[codes]
    data["eta"] = eta
    cuts = np.array([1.5, 3.0, 4.5, 6.0])
    data["grade"] = np.searchsorted(cuts, eta + random.logistic(size=len(eta)))
    data["spread_mm"] = 0.2 * eta + random.normal(0, 0.2, len(eta))
    return data


@pytest.fixture(scope="session")
def graded() -> pd.DataFrame:
    """1296 grades: 36 tiles x 4 patches x 3 firings x 3 graders."""
    return invent_grades(seed=1)


@pytest.fixture(scope="session")
def few_grades() -> pd.DataFrame:
    """96 grades: 12 tiles x 4 patches x 2 firings x 1 grader."""
    return invent_grades(seed=2, tiles=12, firings=2, graders=1)


@pytest.fixture(scope="session")
def six_groups() -> list[str]:
    return list(GROUPS)


@pytest.fixture(scope="session")
def six_group_formula() -> str:
    return FORMULA


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


@pytest.fixture(scope="session")
def small_fit_with_odd_tile() -> ScaleFit:
    """8 tiles, of which tile 3 lost every edge on its second firing."""
    data = invent_grades(seed=6, tiles=8, patches=3, firings=2, graders=2)
    odd = data["tile"] == 3
    data["spread"] = np.minimum(data["grade"], 2)
    data.loc[odd, "spread"] = np.where(data.loc[odd, "firings"] == 2, 4, 0)
    data = data.assign(firing=data["firings"])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return fit_observations(data, "spread")
