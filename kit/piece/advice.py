"""What would help a piece most: another order, a shared firing, a sifter, a coat, another colour.

Every change is scored on the same draws as the piece itself, so that what is gained is not luck of
the draw. A change is named only where it gains at least `WORTH_SAYING`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from kit.mixed import Array
from kit.piece.contact_draws import ContactRow, Knowledge, contact_row
from kit.piece.outlook import CHECK_SEED, PieceOutlook, log_chances_of_rows
from kit.piece.recipe import Piece
from kit.wording import percent

WORTH_SAYING = 0.02
"""Least gain of the whole piece's chance that is named."""

KINDS = ("order", "firing", "sifter", "coat", "colour")


@dataclass(frozen=True)
class Advice:
    """One change and what it would do.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    what : str
        The change as a request: 'put dots on before leaves'.
    piece : Piece
        With the change made.
    before, after : float
        Chance of the whole piece.
    """

    kind: str
    what: str
    piece: Piece
    before: float
    after: float

    @property
    def gain(self) -> float:
        """How much the chance of the whole piece rises."""
        return self.after - self.before

    @property
    def sentence(self) -> str:
        """The change and what it does, as a person would say it."""
        what = self.what[:1].upper() + self.what[1:]
        return f"{what}: the whole piece then holds {percent(self.after)}."


def advice(outlook: PieceOutlook, known: Knowledge, stock: Sequence[str]) -> list[Advice]:
    """Find the changes that would help most, at most one of each kind for each layer.

    Parameters
    ----------
    outlook : PieceOutlook
    known : Knowledge
    stock : sequence of str
        Colours that the person owns.

    Returns
    -------
    list of Advice
        The most helpful first; empty when nothing gains enough.
    """
    piece = outlook.piece
    options = list(_changes(piece, known, stock))
    chances = _piece_chances([piece, *(changed for _, _, changed in options)], known)
    before = chances[0]
    found = [
        Advice(kind, what, changed, before, after)
        for (kind, what, changed), after in zip(options, chances[1:], strict=True)
    ]
    if outlook.best != piece:
        order = ", then ".join(layer.name for layer in outlook.best.layers)
        what = f"put the layers on in this order: {order}"
        found.append(Advice("order", what, outlook.best, outlook.chance, outlook.best_chance))
    worth = sorted((a for a in found if a.gain >= WORTH_SAYING), key=lambda a: -a.gain)
    return _best_of_each(worth, piece)


def _best_of_each(worth: Sequence[Advice], piece: Piece) -> list[Advice]:
    kept: dict[tuple[str, str], Advice] = {}
    for one in worth:
        changed = [
            layer.name
            for layer, was in zip(one.piece.layers, piece.layers, strict=True)
            if layer != was
        ]
        place = "" if one.kind == "order" else changed[0]
        kept.setdefault((one.kind, place), one)
    return list(kept.values())


def _changes(
    piece: Piece, known: Knowledge, stock: Sequence[str]
) -> Iterator[tuple[str, str, Piece]]:
    for place, layer in enumerate(piece.layers):
        previous = piece.layers[place - 1] if place else None
        if previous and layer.fires_with is None and previous.name not in layer.on:
            what = f"fire {layer.name} together with {previous.name}"
            yield "firing", what, piece.with_layer(layer.name, fires_with=previous.name)
        for mesh in known.levels("mesh"):
            if mesh != layer.mesh:
                kind = "finer" if mesh > layer.mesh else "coarser"
                what = f"sift {layer.name} through the {kind} {mesh:g} mesh"
                yield "sifter", what, piece.with_layer(layer.name, mesh=int(mesh))
        for weight in known.levels("coat_weight"):
            if weight != layer.coat_weight:
                kind = "thicker" if weight > layer.coat_weight else "thinner"
                what = f"sift {layer.name} {kind}, {weight:g} mg/cm²"
                yield "coat", what, piece.with_layer(layer.name, coat_weight=float(weight))
        for colour in stock:
            if colour not in piece.colours:
                what = f"take {colour} for {layer.name} instead of {layer.overlay}"
                yield "colour", what, piece.with_layer(layer.name, overlay=colour)


def _piece_chances(pieces: Sequence[Piece], known: Knowledge) -> list[float]:
    """Chance of each whole piece, all on the same draws; equal contacts are drawn once."""
    needed: dict[tuple[ContactRow, str, int], int] = {}
    places = []
    for piece in pieces:
        counts = piece.firings()
        own = []
        for contact in piece.contacts:
            row = contact_row(piece, contact.layer, contact.under, counts[contact.layer])
            layer = piece.layer(contact.layer)
            own.append(needed.setdefault((row, layer.wanted, layer.stencils), len(needed)))
        places.append(own)
    logs = _logs(list(needed), known)
    return [float(np.exp(logs[own].sum(axis=0)).mean()) for own in places]


def _logs(needed: Sequence[tuple[ContactRow, str, int]], known: Knowledge) -> Array:
    rows = [row for row, _, _ in needed]
    return log_chances_of_rows(
        rows, [wanted for _, wanted, _ in needed], [n for _, _, n in needed], known, CHECK_SEED
    )
