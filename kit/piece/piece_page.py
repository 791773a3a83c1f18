"""A piece's own page, and its order of work on paper.

The page has the answer first, then what would help, each contact, what to fire; the sheet goes
layer by layer, and says when to fire and what to look for.
"""

from collections.abc import Sequence
from typing import Any

import pandas as pd

from kit.drawing import Drawing, LayerShown, piece_section, short_steps
from kit.model import FINE_EDGE
from kit.piece.improvements import Advice
from kit.piece.outlook import ContactOutlook, PieceOutlook
from kit.piece.recipe import BASE, NOT_BROKEN, Layer, Piece, groups
from kit.piece.sample import PieceSample
from kit.report import (
    Answer,
    Block,
    Bullets,
    Caution,
    Document,
    Paragraph,
    Point,
    Section,
    made_by,
    table_of,
)
from kit.series import DEFERENCE, OPENING_UM, Settings, cautions_for
from kit.sheets import checked_paper, typeset
from kit.wording import listed, opening, percent


def section_of(outlook: PieceOutlook) -> Drawing:
    """The section through the piece in its own order."""
    piece = outlook.piece
    counts = piece.firings()
    shown = [
        LayerShown(
            layer.name,
            layer.overlay,
            tuple(under for under in layer.on if under != BASE),
            BASE in layer.on,
            counts[layer.name],
        )
        for layer in piece.layers
    ]
    return piece_section(piece.title, piece.base.colour, shown)


def piece_document(
    outlook: PieceOutlook,
    advised: Sequence[Advice],
    sample: PieceSample,
    doubts: Sequence[str] = (),
) -> Document:
    """Put a piece's page together, the answer first.

    Parameters
    ----------
    outlook : PieceOutlook
    advised : sequence of Advice
    sample : PieceSample
    doubts : sequence of str
        What the models could not tell apart.
    """
    answer, weakest, *_ = outlook.sentences()
    first = (Answer(answer), Paragraph(weakest), section_of(outlook))
    unsure = tuple(Paragraph(said) for said in doubts)
    contacts = (contact_table(outlook.contacts), *_beyond(outlook), *unsure)
    sections = (
        Section("answer", "Will it hold?", first),
        Section("help", "What would help most", (_points(help_told(advised)),)),
        Section("contacts", "Contact by contact", contacts),
        Section("sample", "The sample to fire first", (_points(sample.sentences()),)),
        Section("care", "Take care", (_care(),)),
    )
    told = f"{outlook.piece.base.colour} with {len(outlook.piece.layers)} layers"
    return Document(outlook.piece.title, told, sections, None, made_by())


def help_told(advised: Sequence[Advice]) -> list[str]:
    """What would help, the most helpful first, or that nothing tried does."""
    return [one.sentence for one in advised] or [
        "Nothing that was tried gains two points: other orders, firings, sifters, coats and "
        "colours, alone or several at once."
    ]


def contact_table(contacts: Sequence[ContactOutlook]) -> Block:
    """Each contact with its chances."""
    frame = pd.DataFrame(
        {
            "Layer": [c.contact.layer for c in contacts],
            "Colours": [f"{c.overlay} over {c.base}" for c in contacts],
            "Firings": [c.firings for c in contacts],
            "Wanted": [c.wanted for c in contacts],
            "One stencil": [percent(c.one) for c in contacts],
            "All of them": [f"{percent(c.all_stencils)} ({c.stencils})" for c in contacts],
            "Fine, soft, broken": [
                " / ".join(percent(chance) for chance in (c.fine, c.soft, c.broken))
                for c in contacts
            ],
        }
    )
    return table_of("Chance that each contact ends as wanted", frame)


def _points(sentences: Sequence[str]) -> Bullets:
    return Bullets(tuple(Point(said) for said in sentences))


def _beyond(outlook: PieceOutlook) -> tuple[Block, ...]:
    beyond = [c for c in outlook.contacts if c.beyond]
    if not beyond:
        return ()
    points = tuple(
        Point("; ".join(c.beyond) + ".", f"{c.contact.layer} ({c.overlay} over {c.base}):")
        for c in beyond
    )
    return (Caution("Beyond anything that was fired, so less sure than it looks", points),)


def _care() -> Caution:
    usual = cautions_for("sift", "fire", "cool")
    points = tuple(Point(caution.text, f"{caution.title}:") for caution in usual)
    return Caution("At the bench", (*points, Point(DEFERENCE)))


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
