"""What would help a piece: what may be changed at all, what is claimed of it, and how surely."""

import numpy as np
import pytest

from kit.piece import BASE, BaseCoat, Layer, Piece, advice, changes, open_ways, piece_outlook
from kit.piece.contact_draws import CHECK_SEED, SEED
from kit.piece.recipe import groups

FADING = {1: 0.95, 2: 0.7, 3: 0.4, 4: 0.2, 5: 0.1, 6: 0.05}
"""A fine edge that goes soft from firing to firing: common practice, no source."""


def panel(*layers, closing=0):
    return Piece("panel", "Panel", BaseCoat("White"), tuple(layers), closing)


def fading(row, state):
    return FADING[row.firings]


def advised(piece, known, stock=()):
    return advice(piece_outlook(piece, known), known, changes(piece, known, stock))


def found(piece, known, stock=()):
    return {one.change.what: one for one in advised(piece, known, stock)}


def random_piece(seed):
    random = np.random.default_rng(seed)
    layers = []
    for n in range(int(random.integers(2, 8))):
        on = str(random.choice([BASE, *(layer.name for layer in layers)]))
        together = layers and random.random() < 0.25 and layers[-1].name != on
        layers.append(
            Layer(
                f"l{n}",
                str(random.choice(["Red", "Blue", "Grey"])),
                (on,),
                wanted=str(random.choice(["fine edge", "soft edge"])),
                firings=int(random.integers(1, 3)),
                fires_with=layers[-1].name if together else None,
            )
        )
    if random.random() < 0.5 and len(layers) > 2 and layers[2].fires_with is None:
        layers[2] = Layer("l2", "Red", (BASE, "l0"))
    return panel(*layers, closing=int(random.integers(0, 3)))


@pytest.mark.parametrize("seed", range(12))
def test_no_change_breaks_what_lies_on_what_or_what_the_file_keeps(seed, glass):
    piece = random_piece(seed)
    levels = {"mesh": [80, 100], "coat_weight": [30.0, 40.0]}
    known = glass(lambda row, state: FADING.get(row.firings, 0.02) * (0.5 + state / 2), levels)
    tried = changes(piece, known, ["Red", "Blue", "Grey", "Pink"])
    assert {"sifter", "coat", "colour"} <= {one.kind for one in tried}
    kept = [{layer.name for layer in group} for group in groups(piece.layers)]
    for one in tried:
        changed = one.piece
        names = [layer.name for layer in changed.layers]
        assert sorted(names) == sorted(layer.name for layer in piece.layers)
        assert changed != piece
        assert changed.closing_firings == piece.closing_firings
        together = [{layer.name for layer in group} for group in groups(changed.layers)]
        assert all(any(group <= larger for larger in together) for group in kept)
        for layer in changed.layers:
            assert layer.on == piece.layer(layer.name).on
            for under in set(layer.on) - {BASE}:
                assert names.index(under) < names.index(layer.name)
                assert not any({under, layer.name} <= group for group in together)


def test_a_layer_is_moved_so_that_it_meets_fewer_firings(glass):
    piece = panel(Layer("halo", "Red"), Layer("leaf", "Blue"), Layer("dots", "Grey"))
    known = glass(lambda row, state: fading(row, state) if row.overlay == "Red" else 1.0)
    told = found(piece, known)
    assert told["put halo on after dots"].after == pytest.approx(0.95)
    assert told["put halo on after dots"].before == pytest.approx(0.4)
    assert told["put halo on after dots"].sure == 1.0
    assert "put the layers on in this order" not in " ".join(told)


def test_an_order_of_many_moves_is_named_where_it_does_more_than_one_move(glass):
    piece = panel(Layer("a", "Red"), Layer("b", "Blue"), Layer("c", "Grey"), Layer("d", "Pink"))
    keeps = {"Red": 1, "Blue": 2, "Grey": 3, "Pink": 4}
    known = glass(lambda row, state: 0.95 if row.firings <= keeps[row.overlay] else 0.5)
    told = found(piece, known)
    best = "put the layers on in this order: d, then c, then b, then a"
    assert told[best].after == pytest.approx(0.95**4)
    moves = [one for one in told.values() if one.change.kind == "move"]
    assert all(one.after <= told[best].after - 0.02 for one in moves)


def test_layers_are_fired_together_where_they_do_not_lie_on_each_other(glass):
    piece = panel(
        Layer("ground", "Red"), Layer("leaf", "Blue", ("ground",)), Layer("dots", "Grey", (BASE,))
    )
    known = glass(fading)
    told = found(piece, known)
    (together,) = (what for what in told if "together" in what and "put" not in what)
    assert together in {
        "fire leaf and dots together, where they do not touch",
    }
    assert told[together].change.piece.firings() == {"ground": 2, "leaf": 1, "dots": 1}


def test_a_firing_is_left_out_where_a_fine_edge_is_wanted(glass):
    piece = panel(Layer("leaf", "Red", firings=2), Layer("dots", "Blue"))
    told = found(piece, glass(fading))
    once = told["fire leaf once before dots, not twice"]
    assert once.change.piece.firings() == {"leaf": 2, "dots": 1}
    assert once.before == pytest.approx(0.4 * 0.95)
    assert once.after == pytest.approx(0.7 * 0.95)


def test_a_firing_is_added_where_a_soft_edge_is_wanted_but_never_of_those_kept(glass):
    piece = panel(Layer("halo", "Red", wanted="soft edge"))
    told = found(piece, glass(fading))
    assert told["fire halo twice at the end, not once"].after == pytest.approx(0.3)
    fine = panel(Layer("halo", "Red"), closing=2)
    assert found(fine, glass(fading)) == {}


def test_order_and_firings_together_must_do_more_than_either(glass):
    piece = panel(Layer("a", "Red"), Layer("b", "Blue"), Layer("c", "Grey"))
    known = glass(lambda row, state: fading(row, state) if row.overlay == "Red" else 1.0)
    assert [one.change.kind for one in advised(piece, known)].count("order and firing") == 0


def test_a_gain_is_claimed_from_draws_that_it_was_not_chosen_on(glass):
    """The one colour shines on the draws that changes are chosen on, and on no others."""

    class Lucky(glass):
        def told(self, row, state, seed, tile):
            lucky = {"Pink": seed == SEED, "Grey": seed == CHECK_SEED}
            return 0.9 if lucky.get(row.overlay) else {"Blue": 0.6}.get(row.overlay, 0.5)

    told = found(panel(Layer("leaf", "Red")), Lucky(None), ["Red", "Pink"])
    assert told == {}
    told = found(panel(Layer("leaf", "Red")), Lucky(None), ["Red", "Blue"])
    assert told["take Blue for leaf instead of Red"].after == pytest.approx(0.6)


def test_how_surely_a_change_helps_is_the_share_of_states_in_which_it_does(glass):
    def rule(row, state):
        return np.where(state < 0.75, 0.9, 0.3) if row.overlay == "Blue" else 0.5

    (only,) = advised(panel(Layer("leaf", "Red")), glass(rule), ["Red", "Blue"])
    assert only.sure == pytest.approx(0.75)
    assert only.gain == pytest.approx(0.75 * 0.9 + 0.25 * 0.3 - 0.5)
    assert only.sentence == (
        "Take Blue for leaf instead of Red: the whole piece then ends as wanted with a chance of "
        "75\u00a0%, not 50\u00a0%. This probably helps (75\u00a0%)."
    )


def test_luck_of_a_tile_is_no_doubt_about_a_change(glass):
    """On half of the tiles the change does harm; on average it helps in every state."""

    class Tiles(glass):
        def told(self, row, state, seed, tile):
            return (0.4 if tile % 2 else 0.9) if row.overlay == "Blue" else 0.5

    (only,) = advised(panel(Layer("leaf", "Red")), Tiles(None), ["Red", "Blue"])
    assert only.sure == 1.0


def test_of_each_kind_the_best_is_named_for_each_layer_and_small_gains_are_not(glass):
    chance = {"Red": 0.5, "Blue": 0.6, "Grey": 0.8, "Pink": 0.515}
    known = glass(lambda row, state: chance[row.overlay])
    told = advised(panel(Layer("leaf", "Red")), known, ["Red", "Blue", "Grey", "Pink"])
    assert [one.change.what for one in told] == ["take Grey for leaf instead of Red"]
    two = panel(Layer("leaf", "Red"), Layer("dots", "Red"))
    told = advised(two, known, ["Red", "Blue", "Grey", "Pink"])
    assert {(one.change.kind, one.change.place) for one in told} == {
        ("several", ""), ("colour", "leaf"), ("colour", "dots"),
    }  # fmt: skip
    gains = [one.gain for one in told]
    assert gains == sorted(gains, reverse=True)
    assert advised(panel(Layer("leaf", "Red")), known, ["Red", "Pink"]) == []


def test_several_changes_are_asked_for_where_each_alone_does_too_little(glass):
    """Each of three layers holds 1 time in 10 as laid out; one change gains next to nothing."""
    piece = panel(*(Layer(name, "Red") for name in ("leaf", "dots", "line")))
    known = glass(lambda row, state: 0.9 if row.overlay in ("Blue", "Grey", "Pink") else 0.1)
    (only,) = advised(piece, known, ["Red", "Blue", "Grey", "Pink"])
    assert only.change.kind == "several"
    assert only.change.what.count("take ") == 3
    assert only.after == pytest.approx(0.9**3)


def test_what_is_still_open_is_the_piece_the_best_way_and_what_could_prove_better(glass):
    """Grey is best on average; Blue may prove better, Pink never does."""
    rules = {"Red": 0.2, "Grey": 0.6, "Pink": 0.4}

    def rule(row, state):
        return np.where(state < 0.3, 0.9, 0.1) if row.overlay == "Blue" else rules[row.overlay]

    piece = panel(Layer("leaf", "Red"))
    stock = ["Red", "Pink", "Blue", "Grey"]
    ways = open_ways(piece, glass(rule), stock, changes(piece, glass(rule), stock))
    assert [way.layers[0].overlay for way in ways][:3] == ["Red", "Grey", "Blue"]
