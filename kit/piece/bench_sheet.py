"""A piece's order of work on paper: layer by layer, when to fire, and what to look for."""

from typing import Any

from kit.drawing import Drawing
from kit.model import FINE_EDGE
from kit.piece.outlook import PieceOutlook
from kit.piece.recipe import BASE, NOT_BROKEN, Layer, Piece
from kit.series import DEFERENCE, OPENING_UM, Settings, cautions_for
from kit.sheets import checked_paper, typeset
from kit.wording import counted, listed, opening


def piece_sheet(
    outlook: PieceOutlook, section: Drawing, settings: Settings, paper: str = "a4"
) -> bytes:
    """Set the order of work of a piece as a PDF.

    Parameters
    ----------
    outlook : PieceOutlook
    section : Drawing
    settings : Settings
        Of the series whose scales say what to look for.
    paper : str
    """
    piece = outlook.piece
    data = {
        "series": piece.name,
        "series-title": piece.title,
        "deference": DEFERENCE,
        "title": piece.title,
        "answer": outlook.sentences()[0],
        "steps": [{"step": n, **step} for n, step in enumerate(steps_of(piece, settings), start=1)],
        "cautions": [vars(c) for c in cautions_for("cut", "sift", "fire", "cool", "clean")],
    }
    return typeset("piece", data, checked_paper(paper), pictures=[section.svg.decode()])


def steps_of(piece: Piece, settings: Settings) -> list[dict[str, Any]]:
    """What is done in which order: base coats, each layer, each firing, with what to look for."""
    base = piece.base
    steps = [
        _sifted(f"Base coat {n} of {base.colour}, then fire", base.mesh, base.coat_weight, "")
        for n in range(1, base.coats + 1)
    ]
    last = len(piece.layers) - 1
    for place, layer in enumerate(piece.layers):
        under = listed(["the base" if u == BASE else u for u in layer.on])
        what = f"{layer.name}: {layer.overlay} on {under}"
        steps.append(_sifted(what, layer.mesh, layer.coat_weight, "", layer.stencils))
        together = place < last and piece.layers[place + 1].fires_with is not None
        if not together:
            there = piece.layers[: place + 1]
            steps.append(
                _fired(f"Fire (with {listed([one.name for one in there])})", there, settings)
            )
    for n in range(piece.closing_firings):
        steps.append(_fired(f"Closing firing {n + 1}", piece.layers, settings))
    return steps


def _sifted(
    what: str, mesh: int, weight: float, look: str, stencils: int | None = None
) -> dict[str, Any]:
    return {
        "what": what,
        "mesh": f"{mesh} mesh, {opening(OPENING_UM[mesh])}",
        "weight": f"{weight:g}",
        "stencils": "" if stencils is None else str(stencils),
        "look": look,
    }


def _fired(what: str, there: tuple[Layer, ...], settings: Settings) -> dict[str, Any]:
    look = " ".join(_stop(layer, settings) for layer in there)
    return {"what": what, "mesh": "", "weight": "", "stencils": "", "look": look}


def _stop(layer: Layer, settings: Settings) -> str:
    """When to stop because a layer has gone beyond what was wanted of it."""
    rule = settings.verdict
    spread, pull = settings.scale("spread"), settings.scale("pull_through")
    creeps = spread.steps[rule.fine_edge_at_most + 1]
    breaks = pull.steps[rule.breaks_through_from]
    if layer.wanted == FINE_EDGE:
        return f"If {layer.name} is '{creeps}' or '{breaks}', stop."
    if layer.wanted == NOT_BROKEN:
        return f"If {layer.name} is '{breaks}', stop."
    return f"{layer.name} is wanted with a {layer.wanted}: stop once it is so."


def firings_in_words(piece: Piece) -> str:
    """How often the piece goes through the heat, base coats included."""
    return counted(piece.base.coats + piece.trips, "firing")
