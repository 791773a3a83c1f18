"""A piece: how often each layer is fired, and which orders can be made at all.

A layer goes through its own firing and every later one: common practice, no source.
"""

from itertools import permutations
from math import factorial

import numpy as np
import pytest

from kit.piece.orders import best_order, log_chance, moves
from kit.piece.recipe import BaseCoat, Layer, Piece, as_wanted


def piece_chance(piece, chances):
    return np.exp(log_chance(piece, chances))


def names_of(piece):
    return tuple(layer.name for layer in piece.layers)


def _piece(*layers, closing=0):
    return Piece("panel", "Panel", BaseCoat("White"), tuple(layers), closing)


def test_a_layer_is_fired_once_for_itself_and_once_for_each_later_firing():
    piece = _piece(Layer("ground", "Red"), Layer("leaf", "Green"), Layer("dots", "Blue"))
    assert piece.firings() == {"ground": 3, "leaf": 2, "dots": 1}
    assert piece.trips == 3


def test_layers_that_share_a_firing_count_it_once():
    piece = _piece(
        Layer("ground", "Red"),
        Layer("leaf", "Green", fires_with="ground"),
        Layer("dots", "Blue"),
        closing=1,
    )
    assert piece.firings() == {"ground": 3, "leaf": 3, "dots": 2}


def test_what_is_wanted_may_leave_two_endings_open():
    assert as_wanted("not broken through", "soft edge")
    assert not as_wanted("not broken through", "broken through")
    assert as_wanted("fine edge", "fine edge")
    assert not as_wanted("fine edge", "soft edge")


def _log_chances(piece, seed):
    """Chances that fall with each firing, each layer at its own pace."""
    random = np.random.default_rng(seed)
    counts = piece.trips
    return {
        layer.name: -np.cumsum(random.exponential(random.exponential(0.5), (counts, 50)), axis=0)
        for layer in piece.layers
    }


@pytest.mark.parametrize("seed", range(6))
def test_the_best_order_is_the_best_of_all_that_can_be_made(seed):
    piece = _piece(
        Layer("a", "Red"),
        Layer("b", "Green", on=("a",)),
        Layer("c", "Blue"),
        Layer("d", "Pink", on=("base", "b")),
        Layer("e", "Grey"),
    )
    chances = _log_chances(piece, seed)
    names = [layer.name for layer in piece.layers]
    possible = [
        order
        for order in permutations(names)
        if order.index("a") < order.index("b") < order.index("d")
    ]
    assert len(possible) == factorial(5) // factorial(3)
    best = max(piece_chance(piece.reordered(order), chances) for order in possible)
    found = best_order(piece, chances)
    assert names_of(found) in possible
    assert piece_chance(found, chances) == pytest.approx(best)


def test_orders_are_compared_by_the_mean_chance_at_the_counts_of_the_end():
    piece = _piece(Layer("a", "Red"), Layer("b", "Green"), closing=1)
    steady, risky = np.full(2, 0.4), np.array([0.9, 0.01])
    sure, never = np.ones(2), np.full(2, 1e-6)
    # Once closing firings are counted, the last layer is fired twice and the one before it three
    # times. As given the chance is 0.455 on average, in the other order it is 0.4 in every draw.
    chances = {
        "a": np.log([never, steady, sure]),
        "b": np.log([never, risky, sure]),
    }
    assert piece_chance(piece, chances) == pytest.approx(0.455)
    assert names_of(best_order(piece, chances)) == ("a", "b")
    swapped = {"a": chances["b"], "b": chances["a"]}
    assert names_of(best_order(piece, swapped)) == ("b", "a")


def test_an_order_that_cannot_be_bettered_is_left_as_it_was_given():
    piece = _piece(Layer("a", "Red"), Layer("b", "Green"), Layer("c", "Blue"))
    same = {name: np.zeros((3, 10)) for name in "abc"}
    assert best_order(piece, same) is piece


def test_many_layers_are_improved_without_trying_every_order():
    layers = [Layer(f"l{n}", "Red", on=("base",) if n < 6 else (f"l{n - 6}",)) for n in range(12)]
    piece = _piece(*layers)
    chances = _log_chances(piece, 3)
    found = best_order(piece, chances)
    names = names_of(found)
    assert sorted(names) == sorted(names_of(piece))
    assert piece_chance(found, chances) > piece_chance(piece, chances)
    for n in range(6, 12):
        assert names.index(f"l{n - 6}") < names.index(f"l{n}")


def test_layers_that_share_a_firing_stay_together_in_every_order():
    piece = _piece(
        Layer("a", "Red"),
        Layer("b", "Green", fires_with="a"),
        Layer("c", "Blue"),
        Layer("d", "Pink"),
    )
    found = best_order(piece, _log_chances(piece, 1))
    assert names_of(found).index("b") == names_of(found).index("a") + 1
    assert found.layer("b").fires_with == "a"


def test_a_layer_fired_more_than_once_takes_all_below_it_along():
    piece = _piece(
        Layer("ground", "Red"),
        Layer("leaf", "Green", firings=2),
        Layer("dots", "Blue"),
        closing=1,
    )
    assert piece.firings() == {"ground": 5, "leaf": 4, "dots": 2}
    shared = piece.with_layer("ground", firings=3).with_layer("leaf", fires_with="ground")
    assert shared.firings() == {"ground": 5, "leaf": 5, "dots": 2}


def test_an_order_counts_what_each_layer_is_fired_for_itself():
    """b is fired twice before the next goes on, so that only what comes after it is spared."""
    piece = _piece(Layer("a", "Red"), Layer("b", "Green", firings=2))
    chances = {
        "a": np.log([[0.9], [0.88], [0.1]]),
        "b": np.log([[1.0], [0.9], [0.5]]),
    }
    assert names_of(best_order(piece, chances)) == ("b", "a")
    assert piece_chance(best_order(piece, chances), chances) == pytest.approx(0.9 * 0.5)


def test_a_layer_moves_anywhere_but_below_what_it_lies_on():
    piece = _piece(Layer("a", "Red"), Layer("b", "Green", on=("a",)), Layer("c", "Blue"))
    assert {names_of(one) for one in moves(piece)} == {("a", "c", "b"), ("c", "a", "b")}
