"""A piece's file: what may stand in it, and what a person is told when it cannot be."""

import pytest

from kit.errors import DataProblems, Misuse
from kit.piece.piece_file import format_piece, parse_piece, read_piece, start_piece
from kit.piece.recipe import BaseCoat, Layer, Piece

COLOURS = ("Chalk", "Moss", "Rust")

PANEL = Piece(
    "panel",
    "A small panel",
    BaseCoat("Chalk"),
    (
        Layer("ground", "Moss", stencils=3),
        Layer("dots", "Rust", on=("base", "ground"), wanted="broken through"),
        Layer("line", "Rust", fires_with="dots"),
    ),
    closing_firings=1,
    series=("autumn",),
)


def test_a_piece_survives_being_written_and_read():
    piece, problems = parse_piece(format_piece(PANEL), "panel", COLOURS)
    assert problems == []
    assert piece == PANEL


def test_a_new_file_can_be_read_as_it_is_and_is_never_written_over(tmp_path):
    path = start_piece(tmp_path / "pieces" / "my-panel.toml", "Chalk", "Moss")
    piece = read_piece(path, COLOURS)
    assert (piece.name, piece.title, piece.layers[0].overlay) == ("my-panel", "My panel", "Moss")
    with pytest.raises(Misuse, match="exists already"):
        start_piece(path, "Chalk", "Moss")


BASE = '[base]\ncolour = "Chalk"\n'
LAYER = '[[layer]]\nname = "a"\noverlay = "Moss"\non = ["base"]\nwanted = "fine edge"\n'
SECOND = LAYER.replace('"a"', '"b"')

WRONG = {
    "no base": ('title = "x"\n' + LAYER, "base", "missing"),
    "no layer": ('title = "x"\n' + BASE, "layer", "no layer"),
    "unknown colour": (
        'title = "x"\n' + BASE + LAYER.replace("Moss", "Mos"),
        "layer 1.overlay",
        "Did you mean 'Moss'",
    ),
    "on a later layer": (
        'title = "x"\n' + BASE + LAYER.replace('["base"]', '["b"]') + SECOND,
        "layer 1.on",
        "does not lie there yet",
    ),
    "on a layer of its own firing": (
        'title = "x"\n' + BASE + LAYER + SECOND + 'fires_with = "a"\n'
        + LAYER.replace('"a"', '"c"').replace('["base"]', '["a"]') + 'fires_with = "b"\n',
        "layer 3.fires_with",
        "has to be fired before",
    ),
    "on itself": (
        'title = "x"\n' + BASE + LAYER.replace('["base"]', '["a"]'),
        "layer 1.on",
        "does not lie there yet",
    ),
    "on nothing known": (
        'title = "x"\n' + BASE + LAYER.replace('["base"]', '["sky"]'),
        "layer 1.on",
        "no layer 'sky'",
    ),
    "one name twice": ('title = "x"\n' + BASE + LAYER + LAYER, "layer 2.name", "earlier layer"),
    "called base": (
        'title = "x"\n' + BASE + LAYER.replace('"a"', '"base"'),
        "layer 1.name",
        "No layer may be called",
    ),
    "an ending that is none": (
        'title = "x"\n' + BASE + LAYER.replace("fine edge", "nice"),
        "layer 1.wanted",
        "cannot stand here",
    ),
    "fired with what it lies on": (
        'title = "x"\n' + BASE + LAYER + SECOND.replace('["base"]', '["a"]\nfires_with = "a"'),
        "layer 2.fires_with",
        "has to be fired before",
    ),
    "fired with a layer that is not its neighbour": (
        'title = "x"\n' + BASE + LAYER + SECOND + SECOND.replace('"b"', '"c"\nfires_with = "a"'),
        "layer 3.fires_with",
        "not the layer directly before",
    ),
    "no sifter": (
        'title = "x"\n' + BASE + LAYER + "mesh = 101\n", "layer 1.mesh", "cannot stand here"
    ),
    "too many stencils": (
        'title = "x"\n' + BASE + LAYER + "stencils = 0\n", "layer 1.stencils", "whole number"
    ),
    "an unknown word": (
        'title = "x"\n' + BASE + LAYER + 'over = "x"\n', "layer 1.over", "does not know"
    ),
    "a list for a table": ('title = "x"\nbase = 3\n' + LAYER, "base", "missing"),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_what_cannot_be_right_is_named_with_its_place(case):
    content, column, words = WRONG[case]
    piece, problems = parse_piece(content.encode(), "panel", COLOURS)
    assert piece is None
    told = [p for p in problems if p.column == column]
    assert told, problems
    assert any(words in str(p) for p in told), told


def test_every_problem_is_named_at_once(tmp_path):
    path = tmp_path / "panel.toml"
    path.write_text(BASE.replace("Chalk", "Snow") + LAYER.replace("Moss", "Mud") + "mesh = 1\n")
    with pytest.raises(DataProblems) as told:
        read_piece(path, COLOURS)
    assert {p.column for p in told.value.problems} == {
        "title", "base.colour", "layer 1.overlay", "layer 1.mesh",
    }  # fmt: skip


def test_a_name_that_is_nearly_right_is_guessed(tmp_path):
    start_piece(tmp_path / "panel.toml", "Chalk", "Moss")
    with pytest.raises(Misuse, match="Did you mean 'panel'"):
        read_piece(tmp_path / "panl.toml", COLOURS)


@pytest.mark.parametrize("content", [b"\xff\xfe", b"title = ", b"a = " + b"[" * 5000])
def test_a_damaged_file_is_one_sentence(content):
    piece, problems = parse_piece(content, "panel", COLOURS)
    assert piece is None
    assert len(problems) == 1
