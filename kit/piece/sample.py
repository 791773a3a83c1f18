"""The sample to fire first: one tile or two with the piece's own recipe and order of firings.

What a sample is worth is told before it is fired. Each of many equally likely states of knowledge
fires it once; what the sample then shows reweights all the states, and the piece's chance under
those weights is the answer that the person would be given afterwards. A sample that cannot change
the answer is worth nothing, however much it says about glass.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.mixed import Array
from kit.model import EndingDraws
from kit.piece.contact_draws import Knowledge, contact_row
from kit.piece.outlook import layer_log_chances
from kit.piece.recipe import BASE, Contact, Piece
from kit.series import Series, Settings, new_series, patch_name, positions
from kit.wording import counted, percent

DRAWS = 2048
TRIALS = 400
"""Invented firings of a sample."""
SEED = 63
BACK_AND_BASE = 1
"""Trips through the heat beside one for each base coat: that of the back."""


@dataclass(frozen=True)
class SampleTile:
    """A tile of the sample.

    Parameters
    ----------
    under : str
        `BASE` or the layer whose colour covers the tile.
    contacts : tuple of Contact
        What its patches stand for, position by position; a contact may stand there twice.
    """

    under: str
    contacts: tuple[Contact, ...]


@dataclass(frozen=True)
class PieceSample:
    """The sample that would tell most about a piece.

    Parameters
    ----------
    piece : Piece
    tiles : tuple of SampleTile
    chance : float
        Of the whole piece as it is known now.
    low, high : float
        Within which it is expected to lie after the sample, 8 times in 10.
    shift : float
        How far it is expected to move, on average.
    trips : int
        Trips of a tile through the heat that the sample costs.
    """

    piece: Piece
    tiles: tuple[SampleTile, ...]
    chance: float
    low: float
    high: float
    shift: float
    trips: int

    def sentences(self) -> list[str]:
        """What to fire, what it costs, and what it is expected to change."""
        said = []
        for tile in self.tiles:
            colour = _ground(self.piece, tile.under)[0]
            shown = [f"{self.piece.layer(c.layer).overlay} (as {c.layer})" for c in tile.contacts]
            said.append(f"On a tile of {colour}: {', '.join(shown)}.")
        tiles = counted(len(self.tiles), "tile")
        return [
            *said,
            f"That is {tiles} and {counted(self.trips, 'trip')} through the heat.",
            f"The chance of the whole piece is now {percent(self.chance)}. After this sample it is "
            f"expected to lie between {percent(self.low)} and {percent(self.high)}, 8 times in 10.",
        ]


def best_sample(
    piece: Piece, known: Knowledge, patches_per_tile: int, tiles: int = 1
) -> PieceSample:
    """Choose the patches that are expected to move the piece's chance most.

    Patches are added one at a time, each the one that adds most; a contact may be repeated.

    Parameters
    ----------
    piece : Piece
    known : Knowledge
    patches_per_tile, tiles : int
        How much the person will fire. One tile carries contacts on one ground only.
    """
    whole = np.exp(_whole_log(piece, known))
    trials = _Trials(piece, known, whole)
    chosen: list[SampleTile] = []
    for _ in range(tiles):
        grounds = {c.under for c in piece.contacts} - {tile.under for tile in chosen}
        options = [trials.filled(under, patches_per_tile, chosen) for under in sorted(grounds)]
        if not options:
            break
        chosen.append(max(options, key=lambda tile: trials.shift([*chosen, tile])))
    after = trials.after(chosen)
    low, high = np.quantile(after, [0.1, 0.9])
    trips = sum(BACK_AND_BASE + _ground(piece, tile.under)[1] + piece.trips for tile in chosen)
    return PieceSample(
        piece,
        tuple(chosen),
        float(whole.mean()),
        float(low),
        float(high),
        float(np.abs(after - whole.mean()).mean()),
        trips,
    )


def sample_series(sample: PieceSample, like: Series, name: str) -> Series:
    """Plan a sample as a series of its own.

    Parameters
    ----------
    sample : PieceSample
    like : Series
        Whose colours, graders, scales and bench the sample shares.
    name : str
    """
    piece = sample.piece
    settings = _settings(piece, like.settings, f"Sample for {piece.title}", len(sample.tiles))
    places = max(len(tile.contacts) for tile in sample.tiles)
    settings = replace(settings, patches_per_tile=places)
    positions(settings.blank, settings.stencil, places)
    grounds = [(tile.under, list(tile.contacts)) for tile in sample.tiles]
    return _planned(piece, new_series(name, settings, like.colours), grounds)


def made_series(piece: Piece, like: Series, name: str) -> Series:
    """The finished piece as a series, so that what became of its contacts is graded like tiles.

    Each ground of the piece counts as a tile, each contact as a patch; the title says that it is a
    piece and no test tile.
    """
    grounds: dict[str, list[Contact]] = {}
    for contact in piece.contacts:
        grounds.setdefault(contact.under, []).append(contact)
    settings = _settings(piece, like.settings, f"Piece: {piece.title}", len(grounds))
    settings = replace(settings, patches_per_tile=max(map(len, grounds.values())))
    return _planned(piece, new_series(name, settings, like.colours), list(grounds.items()))


class _Trials:
    """Invented firings of samples, all from the same states of knowledge."""

    def __init__(self, piece: Piece, known: Knowledge, whole: Array) -> None:
        self.piece, self.whole = piece, whole
        counts = piece.firings()
        rows = [contact_row(piece, c.layer, c.under, counts[c.layer]) for c in piece.contacts]
        self.drawn: EndingDraws = known.draws(rows, SEED, DRAWS, tile_seed=SEED + 1)
        random = np.random.default_rng(SEED)
        self.states = random.integers(DRAWS, size=TRIALS)
        self.luck = random.random((TRIALS, 2 * len(rows), 2))

    def filled(self, under: str, places: int, before: Sequence[SampleTile]) -> SampleTile:
        """Fill a tile on one ground with the patches that move the answer most."""
        options = [c for c in self.piece.contacts if c.under == under]
        tile = SampleTile(under, ())
        while len(tile.contacts) < min(places, 2 * len(options)):
            more = [
                replace(tile, contacts=(*tile.contacts, c))
                for c in options
                if tile.contacts.count(c) < 2
            ]
            tile = max(more, key=lambda one: self.shift([*before, one]))
        return tile

    def shift(self, tiles: Sequence[SampleTile]) -> float:
        """How far the answer is expected to move, on average."""
        return float(np.abs(self.after(tiles) - self.whole.mean()).mean())

    def after(self, tiles: Sequence[SampleTile]) -> Array:
        """Chance of the whole piece after each invented firing of a sample."""
        weight = np.ones((TRIALS, DRAWS))
        seen: dict[Contact, int] = {}
        for contact in (c for tile in tiles for c in tile.contacts):
            place = self.piece.contacts.index(contact)
            again = seen[contact] = seen.get(contact, -1) + 1
            shares = self.drawn.shares[:, place]
            luck = self.luck[:, place, again]
            ending = (luck[:, None] > np.cumsum(shares[self.states], axis=1)[:, :2]).sum(axis=1)
            weight *= shares.T[ending]
        after: Array = weight @ self.whole / np.maximum(weight.sum(axis=1), 1e-300)
        return after


def _whole_log(piece: Piece, known: Knowledge) -> Array:
    logs = layer_log_chances(piece, known, SEED, DRAWS)
    return sum((logs[name][count - 1] for name, count in piece.firings().items()), np.zeros(DRAWS))


def _ground(piece: Piece, under: str) -> tuple[str, int, int, float]:
    """Colour, coats, sifter and coat weight of what a tile is covered with."""
    if under == BASE:
        base = piece.base
        return base.colour, base.coats, base.mesh, base.coat_weight
    lower = piece.layer(under)
    return lower.overlay, 1, lower.mesh, lower.coat_weight


def _settings(piece: Piece, like: Settings, title: str, tiles: int) -> Settings:
    grounds = [_ground(piece, under) for under in {c.under for c in piece.contacts}]
    layers = piece.layers
    factors = {
        **like.factors,
        "base_coats": tuple(sorted({coats for _, coats, _, _ in grounds})),
        "base_mesh": tuple(sorted({mesh for _, _, mesh, _ in grounds})),
        "base_coat_weight": tuple(sorted({weight for *_, weight in grounds})),
        "mesh": tuple(sorted({layer.mesh for layer in layers})),
        "coat_weight": tuple(sorted({layer.coat_weight for layer in layers})),
        "firings": tuple(range(1, piece.trips + 1)),
    }
    question = f"Will {piece.title} hold?"
    return replace(
        like, title=title, question=question, tiles=tiles, factors=factors, wishes=(), follows=()
    )


def _planned(
    piece: Piece, series: Series, grounds: Sequence[tuple[str, Sequence[Contact]]]
) -> Series:
    counts = piece.firings()
    tiles, patches = [], []
    for tile, (under, contacts) in enumerate(grounds, start=1):
        colour, coats, mesh, weight = _ground(piece, under)
        tiles.append(
            {
                "tile": tile,
                "base": colour,
                "coats": coats,
                "mesh": mesh,
                "coat_weight": weight,
                "session": 1,
                "firings": piece.trips,
            }
        )
        for position, contact in enumerate(contacts, start=1):
            layer = piece.layer(contact.layer)
            patches.append(
                {
                    "patch": patch_name(tile, position),
                    "tile": tile,
                    "position": position,
                    "overlay": layer.overlay,
                    "mesh": layer.mesh,
                    "coat_weight": layer.coat_weight,
                    "before_firing": piece.trips - counts[layer.name] + 1,
                    "accident": "",
                }
            )
    return replace(
        series,
        tiles=pd.DataFrame(tiles).astype(series.tiles.dtypes.to_dict()),
        patches=pd.DataFrame(patches).astype(series.patches.dtypes.to_dict()),
    )
