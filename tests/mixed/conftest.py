"""Published data and reference fits, and invented grades of known make."""

import json
from pathlib import Path

import pandas as pd
import pytest

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


@pytest.fixture(scope="session")
def graded(invent_grades) -> pd.DataFrame:
    """1296 grades: 36 tiles x 4 patches x 3 firings x 3 graders."""
    return invent_grades(seed=1)


@pytest.fixture(scope="session")
def few_grades(invent_grades) -> pd.DataFrame:
    """96 grades: 12 tiles x 4 patches x 2 firings x 1 grader."""
    return invent_grades(seed=2, tiles=12, firings=2, graders=1)


@pytest.fixture(scope="session")
def six_groups() -> list[str]:
    return list(GROUPS)


@pytest.fixture(scope="session")
def six_group_formula() -> str:
    return FORMULA
