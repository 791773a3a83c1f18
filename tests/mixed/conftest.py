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
    files = ("mixed_models.json", "mixed_models_more.json")
    cases = [case for file in files for case in json.loads((REFERENCE / file).read_text())]
    return {case["case"]: case for case in cases}


@pytest.fixture(scope="session")
def sleep() -> pd.DataFrame:
    """Belenky et al. (2003), Journal of Sleep Research 12."""
    return pd.read_csv(REFERENCE / "sleepstudy.csv")


@pytest.fixture(scope="session")
def strips() -> pd.DataFrame:
    """Gomez and Gomez (1984), Statistical Procedures for Agricultural Research, 2nd ed., p. 110."""
    return pd.read_csv(REFERENCE / "strip_plot.csv")


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
