"""A piece's order of work on paper: layer by layer, when to fire, and what to look for."""

from collections.abc import Sequence
from typing import Any

from kit.drawing import Drawing, short_steps
from kit.model import FINE_EDGE
from kit.piece.outlook import PieceOutlook
from kit.piece.recipe import BASE, NOT_BROKEN, Layer, Piece, groups
from kit.series import DEFERENCE, OPENING_UM, Settings, cautions_for
from kit.sheets import checked_paper, typeset
from kit.wording import listed, opening


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
        "section": section,
        "answer": outlook.sentences()[0],
        "steps": [{"step": n, **step} for n, step in enumerate(steps_of(piece, settings), start=1)],
        "cautions": [vars(c) for c in cautions_for("cut", "sift", "fire", "cool", "clean")],
    }
    return typeset("piece", data, checked_paper(paper))


def steps_of(piece: Piece, settings: Settings) -> list[dict[str, Any]]:
    """What is done in which order: base coats, each layer, each firing, with what to look for."""
    base = piece.base
    steps = [
        _sifted(f"Base coat {n} of {base.colour}, then fire", base.mesh, base.coat_weight, "")
        for n in range(1, base.coats + 1)
    ]
    there: list[Layer] = []
    for group in groups(piece.layers):
        for layer in group:
            under = listed(["the base" if u == BASE else u for u in layer.on])
            what = f"{layer.name}: {layer.overlay} on {under}"
            steps.append(_sifted(what, layer.mesh, layer.coat_weight, "", layer.stencils))
        there += group
        names = listed([layer.name for layer in there])
        for again in range(max(layer.firings for layer in group)):
            what = f"Fire once more (with {names})" if again else f"Fire (with {names})"
            steps.append(_fired(what, there, settings))
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


def _fired(what: str, there: Sequence[Layer], settings: Settings) -> dict[str, Any]:
    return {"what": what, "mesh": "", "weight": "", "stencils": "", "look": _stop(there, settings)}


def _stop(there: Sequence[Layer], settings: Settings) -> str:
    """When to stop because a layer has gone as far as was wanted of it, or beyond."""
    rule = settings.verdict
    creeps = short_steps(settings.scale("spread"))[rule.fine_edge_at_most + 1]
    breaks = short_steps(settings.scale("pull_through"))[rule.breaks_through_from]
    seen = {FINE_EDGE: f"'{creeps}' or '{breaks}'", NOT_BROKEN: f"'{breaks}'"}
    said = []
    for wanted in dict.fromkeys(layer.wanted for layer in there):
        names = listed([layer.name for layer in there if layer.wanted == wanted], "or")
        sign = seen.get(wanted, f"a {wanted}, as wanted,")
        said.append(f"Stop once {names} shows {sign}.".replace(",.", "."))
    return " ".join(said)
