"""One invented series, graded, and what it knows."""

import pandas as pd
import pytest

from kit.piece import BaseCoat, Knowledge, Layer, Piece
from kit.series import Settings, new_series
from kit.studio import draw_truth, fire

COLOURS = pd.DataFrame(
    {
        "colour": ["Ember", "Frost", "Moss", "Chalk", "Slate", "Plum"],
        "family": ["leaded", "unleaded"] * 3,
        "opacity": "",
        "grain": "",
        "fusing": "",
        "like": "",
        "notes": "",
    }
).astype("str")


@pytest.fixture(scope="session")
def truth():
    return draw_truth(COLOURS, 4)


@pytest.fixture(scope="session")
def series(truth):
    from kit.design import plan

    settings = Settings("Small", "Which?", tiles=12, graders=("Ada", "Ben"))
    return fire(plan(new_series("small", settings, COLOURS)).series, truth, 4)


@pytest.fixture(scope="session")
def known(series):
    return Knowledge.of([series])


@pytest.fixture
def panel():
    return Piece(
        "panel",
        "Small panel",
        BaseCoat("Chalk"),
        (
            Layer("leaves", "Slate", stencils=3, wanted="fine edge"),
            Layer("halo", "Ember", wanted="soft edge"),
            Layer("veins", "Plum", on=("leaves",), wanted="not broken through"),
            Layer("line", "Frost", on=("base", "leaves"), stencils=2, wanted="fine edge"),
        ),
    )
