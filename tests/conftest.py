"""A small graded series that many tests start from. Its data are invented."""

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
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


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> Path:
    """A copy of the demo without the crops that measuring its photographs leaves beside them."""
    committed = Path(__file__).parents[1] / "data" / "demo"
    place = tmp_path_factory.mktemp("demo") / "data" / "demo"
    return shutil.copytree(committed, place, ignore=shutil.ignore_patterns(".measured", ".lock"))


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


@pytest.fixture(scope="session")
def invent_grades() -> Callable[..., pd.DataFrame]:
    """What makes graded tables of known make, from a seed and their sizes."""
    return _invented


def _invented(
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


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    """Chromium, driven from outside; what needs it is skipped where it is not installed."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    driven_by = shutil.which("chromedriver")
    if not (chromium and driven_by):
        pytest.skip("no browser here: install Debian's chromium and chromium-driver to run this")
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium drives the browser")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for option in (
        "headless=new", "no-sandbox", "disable-gpu", "disable-quic", "no-first-run",
        "disable-background-networking", "disable-component-update", "disable-sync",
        "disable-dev-shm-usage", "window-size=1280,900",
        f"user-data-dir={tmp_path_factory.mktemp('profile')}",
    ):  # fmt: skip
        options.add_argument(f"--{option}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    service = webdriver.ChromeService(driven_by)
    driver = webdriver.Chrome(options=options, service=service)
    driver.set_script_timeout(120)
    driver.set_page_load_timeout(120)
    yield driver
    driver.quit()
