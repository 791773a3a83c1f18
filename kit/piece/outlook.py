"""Will a piece hold: the chance of every contact, and of the piece as a whole."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.mixed import Array
from kit.piece.contact_draws import (
    DRAWS,
    ContactRow,
    Knowledge,
    chance_as_wanted,
    contact_row,
)
from kit.piece.orders import LogChances, best_order
from kit.piece.recipe import Contact, Piece, blocks
from kit.wording import counted, percent

SEED = 20
"""Of the draws that orders are chosen on; `CHECK_SEED` of those that a choice is scored on."""
CHECK_SEED = 41

_LEAST = 1e-12


@dataclass(frozen=True)
class ContactOutlook:
    """What is expected of one contact when the piece is finished.

    Parameters
    ----------
    contact : Contact
    base, overlay : str
        Colours.
    firings : int
        How often the upper layer will have been fired.
    stencils : int
    wanted : str
    fine, soft, broken : float
        Chance of each ending for one stencil.
    one, all_stencils : float
        Chance that one stencil ends as wanted, and that all of them do.
    beyond : tuple of str
        What of it lies beyond anything fired, in words; empty when nothing does.
    """

    contact: Contact
    base: str
    overlay: str
    firings: int
    stencils: int
    wanted: str
    fine: float
    soft: float
    broken: float
    one: float
    all_stencils: float
    beyond: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The contact as a person would say it."""
        stencils = counted(self.stencils, "stencil")
        every = f", all {stencils} {percent(self.all_stencils)}" if self.stencils > 1 else ""
        beyond = (
            f" Expected from other samples only: {'; '.join(self.beyond)}." if self.beyond else ""
        )
        return (
            f"{self.contact.layer}: {self.overlay} over {self.base}, fired "
            f"{counted(self.firings, 'time')}, ends as wanted ({self.wanted}) "
            f"with a chance of {percent(self.one)}{every}.{beyond}"
        )


@dataclass(frozen=True)
class PieceOutlook:
    """What is expected of a piece.

    Parameters
    ----------
    piece : Piece
    contacts : tuple of ContactOutlook
        Layer by layer, in the order of the piece.
    chance : float
        That every stencil of every contact ends as wanted.
    best : Piece
        The same piece in the order that gives it the best chance.
    best_chance : float
        Scored on draws that the order was not chosen on, as `chance` is.
    """

    piece: Piece
    contacts: tuple[ContactOutlook, ...]
    chance: float
    best: Piece
    best_chance: float

    @property
    def weakest(self) -> ContactOutlook:
        """The contact whose stencils least probably all end as wanted."""
        return min(self.contacts, key=lambda contact: contact.all_stencils)

    def sentences(self) -> list[str]:
        """The answer first, then contact by contact."""
        weakest = self.weakest
        said = [
            f"All of {self.piece.title} ends as wanted with a chance of {percent(self.chance)}.",
            f"Its weakest contact is {weakest.contact.layer}: {weakest.overlay} over "
            f"{weakest.base}, {percent(weakest.all_stencils)}.",
        ]
        if self.best != self.piece:
            order = ", then ".join(layer.name for layer in self.best.layers)
            said.append(f"In another order it would be {percent(self.best_chance)}: {order}.")
        return said + [contact.sentence for contact in self.contacts]


def piece_outlook(piece: Piece, known: Knowledge) -> PieceOutlook:
    """Work out what is expected of a piece, and the order that suits it best.

    Every contact is judged at the firing count that it will have at the end. The piece's chance is
    worked out within each draw of all that is not known and averaged last. An order is chosen on
    one set of draws and scored on another.

    Parameters
    ----------
    piece : Piece
    known : Knowledge
    """
    order = best_order(piece, layer_log_chances(piece, known, SEED))
    checked = layer_log_chances(piece, known, CHECK_SEED)
    best = piece.reordered(order)
    return PieceOutlook(
        piece,
        contact_outlooks(piece, known),
        piece_chance(piece, checked),
        best,
        piece_chance(best, checked),
    )


def piece_chance(piece: Piece, log_chances: LogChances) -> float:
    """Chance that every stencil of every layer ends as wanted, in the piece's own order."""
    total = sum(log_chances[name][count - 1] for name, count in piece.firings().items())
    return float(np.exp(total).mean())


def layer_log_chances(piece: Piece, known: Knowledge, seed: int, draws: int = DRAWS) -> LogChances:
    """Log chance, draw by draw, that all stencils of each layer end as wanted, at every count.

    Returns
    -------
    mapping of str to (counts, draws) array
        Row f - 1 is for f firings, up to as many as any order can bring.
    """
    counts = range(1, len(blocks(piece)) + piece.closing_firings + 1)
    places = [(contact, count) for contact in piece.contacts for count in counts]
    rows = [contact_row(piece, c.layer, c.under, count) for c, count in places]
    layers = [piece.layer(contact.layer) for contact, _ in places]
    logs = log_chances_of_rows(
        rows, [one.wanted for one in layers], [one.stencils for one in layers], known, seed, draws
    )
    total = {layer.name: np.zeros((len(counts), draws)) for layer in piece.layers}
    for place, (contact, count) in enumerate(places):
        total[contact.layer][count - 1] += logs[place]
    return total


def log_chances_of_rows(
    rows: Sequence[ContactRow],
    wanted: Sequence[str],
    stencils: Sequence[int],
    known: Knowledge,
    seed: int,
    draws: int = DRAWS,
) -> Array:
    """Log chance, draw by draw, that all stencils of each row end as wanted.

    Returns
    -------
    (rows, draws) array
    """
    drawn = known.draws(rows, seed, draws)
    chance = {wish: chance_as_wanted(drawn, wish) for wish in set(wanted)}
    own = np.array([chance[wish][:, n] for n, wish in enumerate(wanted)])
    logs: Array = np.asarray(stencils, float)[:, None] * np.log(np.maximum(own, _LEAST))
    return logs


def contact_outlooks(piece: Piece, known: Knowledge) -> tuple[ContactOutlook, ...]:
    """What is expected of each contact in the piece's own order."""
    counts = piece.firings()
    contacts = piece.contacts
    rows = [contact_row(piece, c.layer, c.under, counts[c.layer]) for c in contacts]
    drawn = known.draws(rows, CHECK_SEED)
    beyond = known.beyond(rows)
    told = []
    for place, (contact, row) in enumerate(zip(contacts, rows, strict=True)):
        layer = piece.layer(contact.layer)
        one = chance_as_wanted(drawn, layer.wanted)[:, place]
        fine, soft, broken = drawn.shares[:, place].mean(axis=0)
        told.append(
            ContactOutlook(
                contact,
                row.base,
                row.overlay,
                row.firings,
                layer.stencils,
                layer.wanted,
                float(fine),
                float(soft),
                float(broken),
                float(one.mean()),
                float((one**layer.stencils).mean()),
                beyond[place],
            )
        )
    return tuple(told)
