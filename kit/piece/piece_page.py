"""A piece's own page: the answer first, then what would help, each contact, what to fire."""

from collections.abc import Sequence

import pandas as pd

from kit.drawing import Drawing, LayerShown, piece_section
from kit.piece.improvements import Advice
from kit.piece.outlook import ContactOutlook, PieceOutlook
from kit.piece.recipe import BASE
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
from kit.series import DEFERENCE, cautions_for
from kit.wording import percent


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
