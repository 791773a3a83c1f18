"""Series that the report must cope with, fired in the invented studio."""

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.report import analyse
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

    return replace(series, tiles=laid, patches=patches.astype({"accident": "str"}))


@pytest.fixture(scope="session")
def fired():
    """A small series fired and graded by two people, one tile lost."""
    return fire(planned("edges"), draw_truth(COLOURS, 5, loss_rate=0.02), 3)


WINE_TOML = """\
title = "Bitterness of eight wines"
question = "Do warmth and contact with the skins make a wine more bitter?"
ask = "which things matter"
seed = 1

[blank]
shape = "square"
width_mm = 50
height_mm = 50

[budget]
tiles = 8
patches_per_tile = 1

[factors]
base_coat_weight = [40, 80]
coat_weight = [20, 40]
firings = [1]

[verdict]
firings = 1
base_coat_weight = 80
coat_weight = 40

[[scale]]
name = "spread"
title = "Spread"
question = "Not looked at."
steps = ["0", "1", "2", "3", "4"]

[[scale]]
name = "pull_through"
title = "Pull-through"
question = "Not looked at."
steps = ["0", "1", "2", "3", "4"]

[[scale]]
name = "bitterness"
title = "Bitterness"
question = "How bitter is the wine?"
steps = ["least bitter", "a little", "half-way", "much", "most bitter"]
"""


@pytest.fixture(scope="session")
def wine_folder(tmp_path_factory):
    """The wine ratings of Randall (1989), written as the folder of a series.

    Randall, J. H. (1989), The analysis of sensory data by generalised linear model, Biometrical
    Journal 31, 781-793; the data set `wine` of the R package ordinal.

    A bottle is a tile with one patch, a judge is a grader, and a rating of 1 to 5 is a grade of 0
    to 4. The two things the study varied stand in for two that a series can vary: temperature
    (cold, warm) for the base's coat weight (40, 80 mg/cm²), and contact of juice and skins (no,
    yes) for the overlay's (20, 40 mg/cm²). There is one base and one overlay.
    """
    wine = pd.read_csv(Path(__file__).parents[1] / "reference" / "wine.csv")
    folder = tmp_path_factory.mktemp("wine") / "data" / "wine"
    folder.mkdir(parents=True)
    bottles = wine.drop_duplicates("bottle").sort_values("bottle")
    tile, patch = bottles["bottle"], [patch_name(b, 1) for b in bottles["bottle"]]
    tables = {
        "colours": pd.DataFrame({"colour": ["must", "juice"], "family": ["leaded", "unleaded"]})
        .assign(opacity="transparent", grain="fine", notes=""),
        "tiles": pd.DataFrame({"tile": tile, "base": "must", "coats": 1, "mesh": 80})
        .assign(coat_weight=bottles["temp"].map({"cold": 40, "warm": 80}), session=1),
        "patches": pd.DataFrame({"patch": patch, "tile": tile, "position": 1, "overlay": "juice"})
        .assign(mesh=100, coat_weight=bottles["contact"].map({"no": 20, "yes": 40}))
        .assign(before_firing=1, accident=""),
        "firings": pd.DataFrame({"tile": tile, "firing": 1, "session": 1})
        .assign(minutes="", heat="", accident="", note=""),
        "grades": pd.DataFrame({"patch": [patch_name(b, 1) for b in wine["bottle"]], "firing": 1})
        .assign(grader=("judge " + wine["judge"].astype(str)).to_numpy(), spread="")
        .assign(pull_through="", bitterness=(wine["rating"] - 1).to_numpy(), note=""),
    }  # fmt: skip
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False)
    (folder / "series.toml").write_text(WINE_TOML, "utf-8")
    return folder


@pytest.fixture(scope="session")
def analysis(fired):
    """The small series, worked out once."""
    return analyse(fired)
