"""One invented series, graded, and what it knows."""

import numpy as np
import pandas as pd
import pytest

from kit.model import EndingDraws
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


class Glass:
    """What is known of a piece, told by a rule instead of by grades.

    The rule gives the chance of a fine edge for a row and the states of knowledge, which are spread
    evenly from 0 to 1; what is not fine is a soft edge.
    """

    def __init__(self, fine, levels=None):
        self.fine, self.fired = fine, levels or {}

    def levels(self, factor):
        return self.fired.get(factor, [])

    def beyond(self, rows):
        return [() for _ in rows]

    def draws(self, rows, seed, draws=512, tiles=(0,)):
        state = (np.arange(draws) + 0.5) / draws
        shares = np.zeros((len(tiles) * draws, len(rows), 3))
        for n, row in enumerate(rows):
            shares[:, n, 0] = np.concatenate(
                [np.broadcast_to(self.told(row, state, seed, tile), draws) for tile in tiles]
            )
        shares[:, :, 1] = 1 - shares[:, :, 0]
        return EndingDraws(shares)

    def told(self, row, state, seed, tile):
        return self.fine(row, state)


@pytest.fixture
def glass():
    return Glass


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
