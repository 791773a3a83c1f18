"""Which sample is fired first, what is said of it, and what becomes of it and of the piece."""

from dataclasses import replace

import numpy as np
import pytest

from kit.piece import (
    BaseCoat,
    Knowledge,
    Layer,
    Piece,
    best_sample,
    changes,
    open_ways,
    piece_outlook,
)
from kit.piece.contact_draws import ContactRow
from kit.piece.sample import PieceSample, SamplePatch, made_series, sample_series
from kit.series import read_series
from kit.studio import fire

LEAF = Piece("leaf", "Leaf", BaseCoat("White"), (Layer("leaf", "Red"),))
STOCK = ["Red", "Blue"]


def either(row, state):
    """Whether the one colour holds or the other is the one thing that is not known."""
    return np.where((state * 512 % 2 < 1) == (row.overlay == "Red"), 0.98, 0.02)


def sample_of(piece, known, stock=(), places=1, tiles=1):
    ways = open_ways(piece, known, stock, changes(piece, known, stock))
    return best_sample(ways, known, places, tiles)


def test_a_sample_that_settles_which_colour_to_take_is_worth_what_is_settled(glass):
    """Expected value of perfect information: with it 0.98, without it 0.5; one patch gives it."""
    sample = sample_of(LEAF, glass(either), STOCK)
    assert sample.now == pytest.approx(0.5, abs=0.01)
    assert sample.then == pytest.approx(0.98**2 + 0.02**2, abs=0.02)
    assert sample.otherwise == pytest.approx(0.5, abs=0.1)
    assert sample.worth_firing


def test_a_sample_that_says_nothing_of_the_piece_gains_nothing(glass):
    """Each tile has luck of its own, so that what one shows says nothing of the next."""

    class Tiles(glass):
        def told(self, row, state, seed, tile):
            luck = np.random.default_rng((tile, len(row.overlay))).random(len(state))
            return np.where(luck < 0.5, 0.98, 0.02)

    sample = sample_of(LEAF, Tiles(None), STOCK, places=4)
    assert sample.then == pytest.approx(sample.now, abs=0.02)
    assert sample.shift < 0.05


def test_luck_among_few_states_is_not_taken_for_knowledge(glass):
    """Eight patches leave few states in weight, and say nothing of which colour will hold."""

    class Tiles(glass):
        def told(self, row, state, seed, tile):
            if tile == 1 and row.overlay not in STOCK:
                return 1.0
            name = int.from_bytes(row.overlay.encode(), "big")
            return np.where(
                np.random.default_rng((tile, name)).random(len(state)) < 0.5, 0.98, 0.02
            )

    others = [Layer(f"l{n}", f"c{n}") for n in range(8)]
    piece = Piece("many", "Many", BaseCoat("White"), (Layer("leaf", "Red"), *others))
    ways = [piece, piece.with_layer("leaf", overlay="Blue")]
    sample = best_sample(ways, Tiles(None), 8, 1)
    assert sample.then == pytest.approx(sample.now, abs=0.03)


def test_what_decides_is_fired_and_not_what_is_merely_unknown(glass):
    """Whether 'line' holds is less known, but there is nothing else to be done about it."""

    def rule(row, state):
        if row.overlay == "Grey":
            return np.where(state < 0.5, 0.99, 0.01)
        return np.where((state * 512 % 2 < 1) == (row.overlay == "Red"), 0.8, 0.2)

    piece = Piece("two", "Two", BaseCoat("White"), (Layer("leaf", "Red"), Layer("line", "Grey")))
    ways = [piece, piece.with_layer("leaf", overlay="Blue")]
    ((patch,),) = best_sample(ways, glass(rule), 1, 1).tiles
    assert patch.layer == "leaf"


def test_where_nothing_is_open_the_sample_says_so_and_is_named_all_the_same(glass):
    sample = sample_of(LEAF, glass(lambda row, state: 0.9), ())
    assert not sample.worth_firing
    first, *rest = sample.sentences()
    assert first.startswith("No small sample is expected to change")
    assert "On a tile of White: Red for leaf, fired once." in rest


def test_where_nothing_is_open_the_sample_carries_the_piece_as_it_is(glass):
    known = glass(lambda row, state: {"Red": 0.9, "Blue": 0.91}[row.overlay])
    ways = [LEAF, LEAF.with_layer("leaf", overlay="Blue")]
    ((patch,),) = best_sample(ways, known, 1, 1).tiles
    assert patch.row.overlay == "Red"


def test_a_sample_planned_beside_a_striped_series_has_whole_tiles(panel, known, series):
    striped = replace(series, settings=replace(series.settings, stripes=3))
    planned = sample_series(sample_of(panel, known, places=4), striped, "sample")
    assert planned.settings.stripes == 1


def test_a_patch_is_told_with_what_differs_from_its_layer():
    row = ContactRow("White", "Blue", 2, 80, 60.0, 80, 40.0, 2)
    tile = (SamplePatch("leaf", row), SamplePatch("leaf", row))
    sample = PieceSample(LEAF, (tile,), 0.4, 0.6, 0.3, 0.8, 0.1, 0.3, 6)
    assert sample.sentences()[0] == (
        "On a tile of White: Blue for leaf, which may take the place of Red, 80 mesh, fired twice "
        "(2 patches)."
    )


def test_a_sample_carries_the_recipe_and_the_firings_of_the_piece(panel, known, series, tmp_path):
    sample = sample_of(panel, known, series.colours["colour"].tolist(), 4, 2)
    assert sample.low <= sample.then <= sample.high
    assert sample.now <= sample.then
    planned = sample_series(sample, series, "panel-sample")
    read = read_series(planned.write(tmp_path / "data" / "panel-sample"))
    tiles = read.tiles.set_index("tile")
    told = [(n, patch) for n, tile in enumerate(sample.tiles, start=1) for patch in tile]
    assert len(told) == len(read.patches)
    assert set(read.patches.groupby("tile")["before_firing"].min()) == {1}, "a tile is fired bare"
    for (tile, (_, row)), patch in zip(told, read.patches.itertuples(), strict=True):
        assert patch.tile == tile
        assert (patch.overlay, patch.mesh) == (row.overlay, row.mesh)
        assert tiles.loc[tile, "base"] == row.base
        assert tiles.loc[tile, "coats"] == row.base_coats
        assert tiles.loc[tile, "firings"] - patch.before_firing + 1 == row.firings
    trips = (1 + tiles["coats"] + tiles["firings"]).sum()
    assert sample.trips == trips


def test_what_is_graded_of_the_sample_changes_what_is_said(panel, known, series, truth):
    sample = sample_of(panel, known, places=4)
    fired = fire(sample_series(sample, series, "sample"), truth, 9)
    again = Knowledge.of([series, fired])
    assert piece_outlook(panel, again).chance != piece_outlook(panel, known).chance


def test_the_finished_piece_can_be_graded_like_tiles(panel, series, tmp_path):
    made = made_series(panel, series, "panel-made")
    read = read_series(made.write(tmp_path / "data" / "panel-made"))
    assert len(read.patches) == len(panel.contacts)
    assert read.settings.title == "Piece: Small panel"
    goes_on = dict(zip(read.patches["overlay"], read.patches["before_firing"], strict=True))
    assert goes_on == {"Slate": 1, "Ember": 2, "Plum": 3, "Frost": 4}
