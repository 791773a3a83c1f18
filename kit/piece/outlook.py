"""Will a piece hold: the chance of every contact, and of the piece as a whole."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.mixed import Array
from kit.model import EndingDraws
from kit.piece.contact_draws import (
    CHECK_SEED,
    DRAWS,
    TILES,
    ContactRow,
    Knowledge,
    chance_as_wanted,
    contact_row,
)
from kit.piece.orders import LogChances
from kit.piece.recipe import Contact, Piece
from kit.wording import counted, percent, times

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
            f"{times(self.firings)}, ends as wanted ({self.wanted}) "
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
    """

    piece: Piece
    contacts: tuple[ContactOutlook, ...]
    chance: float

    @property
    def weakest(self) -> ContactOutlook:
        """The contact whose stencils least probably all end as wanted."""
        return min(self.contacts, key=lambda contact: contact.all_stencils)

    def sentences(self) -> list[str]:
        """The answer first, then contact by contact."""
        weakest = self.weakest
        return [
            f"All of {self.piece.title} ends as wanted with a chance of {percent(self.chance)}.",
            f"Its weakest contact is {weakest.contact.layer}: {weakest.overlay} over "
            f"{weakest.base}, {percent(weakest.all_stencils)}.",
            *(contact.sentence for contact in self.contacts),
        ]


def piece_outlook(piece: Piece, known: Knowledge) -> PieceOutlook:
    """Work out what is expected of a piece.

    Every contact is judged at the firing count that it will have at the end. The piece's chance is
    worked out within each draw of all that is not known and averaged last.

    Parameters
    ----------
    piece : Piece
    known : Knowledge
    """
    chance = state_chances([piece], known, CHECK_SEED, tiles=range(TILES)).mean()
    return PieceOutlook(piece, contact_outlooks(piece, known), float(chance))


def state_chances(
    pieces: Sequence[Piece],
    known: Knowledge,
    seed: int,
    tiles: Sequence[int] = (0,),
) -> Array:
    """Chance of each whole piece in each state of knowledge, over the tiles drawn in it.

    All pieces are held against the same states and tiles; equal contacts are drawn once.

    Returns
    -------
    (pieces, draws) array
    """
    rows = rows_of(pieces)
    drawn = known.draws(rows, seed, tiles=tiles)
    each = whole_chances(pieces, rows, drawn).reshape(len(pieces), len(tiles), DRAWS)
    chances: Array = each.mean(axis=1)
    return chances


def rows_of(pieces: Sequence[Piece]) -> list[ContactRow]:
    """Every contact of the pieces with its recipe and its firings at the end, each once."""
    found: dict[ContactRow, None] = {}
    for piece in pieces:
        counts = piece.firings()
        for c in piece.contacts:
            found[contact_row(piece, c.layer, c.under, counts[c.layer])] = None
    return list(found)


def whole_chances(pieces: Sequence[Piece], rows: Sequence[ContactRow], drawn: EndingDraws) -> Array:
    """Chance within each draw that every stencil of every contact ends as wanted.

    Parameters
    ----------
    pieces : sequence of Piece
    rows : sequence of ContactRow
        As `rows_of` gives them.
    drawn : EndingDraws
        Of the rows.

    Returns
    -------
    (pieces, draws) array
    """
    place = {row: n for n, row in enumerate(rows)}
    wishes = {layer.wanted for piece in pieces for layer in piece.layers}
    logs = {wish: _log(chance_as_wanted(drawn, wish)) for wish in wishes}
    total = np.zeros((len(pieces), len(drawn.shares)))
    for n, piece in enumerate(pieces):
        counts = piece.firings()
        for c in piece.contacts:
            layer = piece.layer(c.layer)
            row = contact_row(piece, c.layer, c.under, counts[c.layer])
            total[n] += layer.stencils * logs[layer.wanted][:, place[row]]
    chances: Array = np.exp(total)
    return chances


def _log(chance: Array) -> Array:
    logs: Array = np.log(np.maximum(chance, _LEAST))
    return logs


def layer_log_chances(piece: Piece, known: Knowledge, seed: int) -> LogChances:
    """Log chance, draw by draw, that all stencils of each layer end as wanted, at every count.

    Returns
    -------
    mapping of str to (counts, draws) array
        Row f - 1 is for f firings, up to as many as any order can bring, and once more.
    """
    counts = range(1, piece.trips + 2)
    total = {layer.name: np.zeros((len(counts), DRAWS)) for layer in piece.layers}
    places = [(contact, count) for contact in piece.contacts for count in counts]
    rows = [contact_row(piece, c.layer, c.under, count) for c, count in places]
    drawn = known.draws(rows, seed)
    logs = {one.wanted: _log(chance_as_wanted(drawn, one.wanted)) for one in piece.layers}
    for n, (contact, count) in enumerate(places):
        layer = piece.layer(contact.layer)
        total[layer.name][count - 1] += layer.stencils * logs[layer.wanted][:, n]
    return total


def contact_outlooks(piece: Piece, known: Knowledge) -> tuple[ContactOutlook, ...]:
    """What is expected of each contact in the piece's own order."""
    counts = piece.firings()
    contacts = piece.contacts
    rows = [contact_row(piece, c.layer, c.under, counts[c.layer]) for c in contacts]
    drawn = known.draws(rows, CHECK_SEED, tiles=range(TILES))
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
