"""What is said of a piece: contact by contact, and as a whole."""

import numpy as np
import pytest

from kit.errors import Misuse
from kit.model import ENDINGS, PairSetting, pair_table
from kit.piece import BASE, Knowledge, Layer, piece_outlook
from kit.piece.contact_draws import ON_OVERLAY, ContactRow, chance_as_wanted, contact_row
from kit.piece.outlook import ContactOutlook, PieceOutlook, state_chances
from kit.piece.recipe import BaseCoat, Contact, Piece


def test_a_contact_on_the_base_has_the_chances_of_the_pair_table(series, known):
    """The two are worked out apart: by draws here, by quadrature in the pair table."""
    table = pair_table(known.fits, series.colours, PairSetting(), [1, 2, 3])
    rows = [
        ContactRow(r.base, r.overlay, 2, 80, 60.0, 100, 40.0, int(r.firings))
        for r in table.itertuples()
    ]
    drawn = known.draws(rows, 5, 1024).shares.mean(axis=0)
    judged = table[["fine_edge", "soft_edge", "broken_through"]].to_numpy()
    assert np.abs(drawn - judged).max() < 0.05
    assert np.abs(drawn - judged).mean() < 0.012


def test_endings_exclude_each_other_and_leave_nothing_out(known):
    rows = [ContactRow("Chalk", "Ember", 2, 80, 60.0, 100, 40.0, f) for f in (1, 2, 3)]
    shares = known.draws(rows, 1).shares
    assert shares.min() >= 0
    np.testing.assert_allclose(shares.sum(axis=2), 1)
    either = sum(chance_as_wanted(known.draws(rows, 1), ending) for ending in ENDINGS)
    np.testing.assert_allclose(either, 1)


def test_a_piece_is_never_surer_than_its_weakest_contact(panel, known):
    outlook = piece_outlook(panel, known)
    assert outlook.chance <= outlook.weakest.all_stencils + 1e-9
    for contact in outlook.contacts:
        assert contact.all_stencils <= contact.one + 1e-9
    assert [c.contact for c in outlook.contacts] == list(panel.contacts)


def test_contacts_are_not_taken_for_independent(known):
    """Twenty stencils of one colour share tile, session and colour: common sense, no source."""
    piece = Piece("twenty", "Twenty", BaseCoat("Chalk"), (Layer("dots", "Slate", stencils=20),))
    (dots,) = piece_outlook(piece, known).contacts
    assert dots.all_stencils > dots.one**20 + 0.02


def test_the_firing_count_at_the_end_is_the_one_that_is_judged(panel, known):
    outlook = piece_outlook(panel, known)
    assert {c.contact.layer: c.firings for c in outlook.contacts} == panel.firings()
    later = piece_outlook(Piece(**{**vars(panel), "closing_firings": 2}), known)
    assert [
        b.firings - a.firings for a, b in zip(outlook.contacts, later.contacts, strict=True)
    ] == ([2] * len(panel.contacts))


def test_each_layer_is_judged_at_its_own_count_and_all_must_hold(glass):
    """a is fired twice and b once; the mean over what is not known comes last."""
    piece = Piece("two", "Two", BaseCoat("Chalk"), (Layer("a", "Slate"), Layer("b", "Ember")))
    fine = {
        ("Slate", 1): (0.9, 0.8), ("Slate", 2): (0.5, 0.4),
        ("Ember", 1): (0.8, 0.6), ("Ember", 2): (0.1, 0.1),
    }  # fmt: skip
    told = glass(lambda row, state: np.where(state < 0.5, *fine[row.overlay, row.firings]))
    (whole,) = state_chances([piece], told, 1)
    assert whole.mean() == pytest.approx((0.5 * 0.8 + 0.4 * 0.6) / 2)
    assert piece_outlook(piece, told).chance == pytest.approx(whole.mean())


def test_every_stencil_of_a_layer_must_hold(glass):
    piece = Piece("one", "One", BaseCoat("Chalk"), (Layer("a", "Slate", stencils=3),))
    told = piece_outlook(piece, glass(lambda row, state: 0.9))
    (a,) = told.contacts
    assert told.chance == pytest.approx(0.9**3)
    assert (a.one, a.all_stencils) == (pytest.approx(0.9), pytest.approx(0.9**3))


def test_the_weakest_contact_is_the_one_whose_stencils_least_probably_all_hold(panel):
    once, often = (
        ContactOutlook(
            Contact(layer, BASE), "Chalk", "Slate", 1, stencils, "fine edge", one, 1 - one, 0.0,
            one, every, (),
        )
        for layer, stencils, one, every in (("line", 1, 0.8, 0.8), ("leaves", 5, 0.9, 0.6))
    )  # fmt: skip
    assert PieceOutlook(panel, (once, often), 0.5).weakest is often


def test_an_earlier_layer_below_counts_as_one_coat(panel):
    veins = contact_row(panel, "veins", "leaves", 2)
    assert (veins.base, veins.base_coats, veins.base_mesh, veins.base_coat_weight) == (
        "Slate", 1, 100, 40.0,
    )  # fmt: skip
    assert contact_row(panel, "leaves", BASE, 2).base_coats == 2


def test_what_lies_beyond_anything_fired_is_said_beside_the_number(panel, known):
    outlook = piece_outlook(panel, known)
    by_layer = {(c.contact.layer, c.contact.under): c.beyond for c in outlook.contacts}
    assert by_layer["veins", "leaves"] == (ON_OVERLAY,)
    assert any("number of firings would be 4" in said for said in by_layer["leaves", BASE])
    assert by_layer["line", BASE] == ()


def test_nothing_is_said_before_anything_is_graded(series):
    from dataclasses import replace

    bare = replace(series, grades=series.grades.iloc[:0], firings=series.firings.iloc[:0])
    with pytest.raises(Misuse, match="No series was graded yet"):
        Knowledge.of([bare])
