"""The sample to fire first: one tile or two with the piece's own recipe and order of firings.

A sample is worth what it does to the piece that is then made. Each of many equally likely states of
knowledge fires it once; what the sample then shows reweights all the states, the best of all that
the person could do is taken under those weights, and the piece is made so. A sample that cannot
change what is done is worth little, however much it says about glass.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from kit.mixed import Array
from kit.piece.contact_draws import SEED, ContactRow, Knowledge, contact_row
from kit.piece.outlook import rows_of, whole_chances
from kit.piece.recipe import Piece
from kit.series import Series, Settings, new_series, patch_name, positions
from kit.wording import coat_weight, counted, in_ten, percent, times

DRAWS = 4096
TRIALS = 256
"""Invented firings of a sample."""
MOST_ALIKE = 2
"""Patches of one tile that may be the same."""
SHIFT_COUNTS = 0.1
"""What a point that the answer moves by counts, beside a point that the piece gains."""
LEAST_GAIN, LEAST_SHIFT = 0.005, 0.02
"""A sample that does less than both for a piece, on average, is not worth its heat."""
BACK_AND_BASE = 1
"""Trips through the heat beside one for each base coat: that of the back."""


_TOLD_LITTLE = (
    "No small sample is expected to change what is best done, nor to move the chance by as much as "
    "two points on average. If hours of work hang on it, fire this one all the same."
)


class SamplePatch(NamedTuple):
    """A patch of the sample: the layer that it stands for, and its recipe."""

    layer: str
    row: ContactRow

    @property
    def ground(self) -> tuple[str, int, int, float]:
        """Colour, coats, sifter and coat weight of what lies below."""
        row = self.row
        return row.base, row.base_coats, row.base_mesh, row.base_coat_weight


SampleTile = tuple[SamplePatch, ...]
"""Patches on one ground, position by position."""


@dataclass(frozen=True)
class PieceSample:
    """The sample that would help a piece most.

    Parameters
    ----------
    piece : Piece
    tiles : tuple of SampleTile
    now : float
        Chance of the whole piece when the best that is known now is done.
    then : float
        The same on average when the best that is known after the sample is done.
    low, high : float
        Within which that chance is then expected to lie, 8 times in 10.
    shift : float
        How far the chance of what would be done now is expected to move, on average.
    otherwise : float
        How probably something else then proves better than what is best now, by two points.
    trips : int
        Trips of a tile through the heat that the sample costs.
    """

    piece: Piece
    tiles: tuple[SampleTile, ...]
    now: float
    then: float
    low: float
    high: float
    shift: float
    otherwise: float
    trips: int

    @property
    def worth_firing(self) -> bool:
        """Whether it is expected to change what is best done, or how surely."""
        return self.then - self.now >= LEAST_GAIN or self.shift >= LEAST_SHIFT

    def sentences(self) -> list[str]:
        """What to fire, what it costs, and what it is expected to change."""
        tiles = counted(len(self.tiles), "tile")
        said = [_TOLD_LITTLE] if not self.worth_firing else []
        for tile in self.tiles:
            patches = [self._told(patch, count) for patch, count in Counter(tile).items()]
            said.append(f"On a tile of {tile[0].row.base}: {'; '.join(patches)}.")
        said.append(f"That is {tiles} and {counted(self.trips, 'trip')} through the heat.")
        if self.worth_firing:
            said += [
                f"Made in the best way known now, the whole piece ends as wanted with a chance of "
                f"{percent(self.now)}. Made in the best way known after this sample, it is "
                f"expected to be {percent(self.then)} on average, and between {percent(self.low)} "
                f"and {percent(self.high)} 8 times in 10.",
                f"In {in_ten(self.otherwise)} cases the sample then advises otherwise than now.",
                "These chances are worked out anew from fewer draws than that of the piece as it "
                "is written down, so the two may lie a point or two apart.",
            ]
        return said

    def _told(self, patch: SamplePatch, count: int) -> str:
        """A patch with what differs from the layer that it stands for, and its firings."""
        row, layer = patch.row, self.piece.layer(patch.layer)
        twice = f" ({count} patches)" if count > 1 else ""
        other = f", which may take the place of {layer.overlay}" * (row.overlay != layer.overlay)
        mesh = f", {row.mesh} mesh" * (row.mesh != layer.mesh)
        coat = f", {coat_weight(row.coat_weight)}" * (row.coat_weight != layer.coat_weight)
        fired = f", fired {times(row.firings)}"
        return f"{row.overlay} for {patch.layer}{other}{mesh}{coat}{fired}{twice}"


def best_sample(
    ways: Sequence[Piece], known: Knowledge, patches_per_tile: int, tiles: int = 1
) -> PieceSample:
    """Choose the patches that are expected to do most for the piece that is then made.

    Patches are added one at a time, each the one that adds most.

    Parameters
    ----------
    ways : sequence of Piece
        The piece, and the ways to make it that are still open, as `open_ways` lists them.
    known : Knowledge
    patches_per_tile, tiles : int
        How much the person will fire. One tile carries patches on one ground only.
    """
    trials = _Trials(ways, known)
    sample = _chosen(ways[0], trials, patches_per_tile, tiles)
    if sample.worth_firing or len(ways) == 1:
        return sample
    own = trials.best_now if trials.now - trials.as_given >= LEAST_SHIFT else 0
    return _chosen(ways[0], _Trials([ways[own]], known), patches_per_tile, tiles)


def _chosen(piece: Piece, trials: "_Trials", patches_per_tile: int, tiles: int) -> PieceSample:
    chosen: list[SampleTile] = []
    weight = trials.unfired()
    for _ in range(tiles):
        weight, tile = trials.filled(patches_per_tile, weight, chosen)
        chosen.append(tile)
    after = trials.after(weight)
    low, high = np.quantile(after.chance, [0.1, 0.9])
    return PieceSample(
        piece,
        tuple(chosen),
        trials.now,
        max(trials.now, float(after.chance.mean())),
        float(low),
        float(high),
        float(after.shift.mean()),
        float(after.otherwise.mean()),
        sum(BACK_AND_BASE + tile[0].row.base_coats + _fired(tile) for tile in chosen),
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
    title = f"Sample for {sample.piece.title}"
    fired = [_fired(tile) for tile in sample.tiles]
    planned = _planned(sample.piece, sample.tiles, fired, like, name, title)
    settings = planned.settings
    positions(settings.blank, settings.stencil, settings.patches_per_tile)
    return planned


def made_series(piece: Piece, like: Series, name: str) -> Series:
    """The finished piece as a series, so that what became of its contacts is graded like tiles.

    Each ground of the piece counts as a tile, each contact as a patch; the title says that it is a
    piece and no test tile.
    """
    grounds: dict[tuple[str, int, int, float], SampleTile] = {}
    for patch in _patches(piece):
        grounds[patch.ground] = (*grounds.get(patch.ground, ()), patch)
    each = list(grounds.values())
    fired = [max(piece.trips, _fired(patches)) for patches in each]
    return _planned(piece, each, fired, like, name, f"Piece: {piece.title}")


class _After(NamedTuple):
    """What each invented firing of a sample leads to."""

    chance: Array
    shift: Array
    otherwise: Array


class _Trials:
    """Invented firings of samples, all from the same states of knowledge."""

    def __init__(self, ways: Sequence[Piece], known: Knowledge) -> None:
        self.patches = list(dict.fromkeys(patch for way in ways for patch in _patches(way)))
        rows = rows_of(ways)
        # One call, so that a state is the same state for the sample and for the piece; each has
        # its own tile.
        drawn = known.draws(rows, SEED, DRAWS, tiles=(0, 1))
        place = {row: n for n, row in enumerate(rows)}
        self.shares = [drawn.shares[:DRAWS, place[patch.row]].T for patch in self.patches]
        self.chance = whole_chances(ways, rows, drawn)[:, DRAWS:]
        random = np.random.default_rng(SEED)
        self.states = random.integers(DRAWS, size=TRIALS)
        self.luck = random.random((TRIALS, len(self.patches), 2 * MOST_ALIKE))
        self.best_now = int(self.chance.mean(axis=1).argmax())
        self.now = float(self.chance[self.best_now].mean())
        self.as_given = float(self.chance[0].mean())

    def unfired(self) -> Array:
        """Weights of the states in each trial; the state that fires does not judge itself."""
        weight = np.ones((TRIALS, DRAWS))
        weight[np.arange(TRIALS), self.states] = 0.0
        return weight

    def filled(
        self, places: int, weight: Array, before: Sequence[SampleTile]
    ) -> tuple[Array, SampleTile]:
        """Fill a tile with the patches that do most; return the weights after it, and the tile."""
        found = []
        for ground in dict.fromkeys(patch.ground for patch in self.patches):
            own, tile, worth = weight, SampleTile(), 0.0
            options = [n for n, patch in enumerate(self.patches) if patch.ground == ground]
            while len(tile) < min(places, MOST_ALIKE * len(options)):
                told = []
                for n in options:
                    if tile.count(self.patches[n]) < MOST_ALIKE:
                        again = sum(one.count(self.patches[n]) for one in (*before, tile))
                        seen = own * self._likelihood(n, again)
                        told.append((self.worth(seen), -n, seen))
                worth, n, own = max(told, key=lambda one: one[:2])
                tile = (*tile, self.patches[-n])
            found.append((worth, own, tile))
        _, weight, tile = max(found, key=lambda one: one[0])
        return weight, tile

    def worth(self, weight: Array) -> float:
        """What a sample is worth: what the piece gains, and a little for what is then known."""
        after = self.after(weight)
        return float(after.chance.mean() + SHIFT_COUNTS * after.shift.mean())

    def after(self, weight: Array) -> _After:
        """Do what is best under the weights of half of the states, judged by the other half."""
        halves = []
        for half in (0, 1):
            own = weight[:, half::2]
            total = np.maximum(own.sum(axis=1), 1e-300)
            halves.append(own @ self.chance[:, half::2].T / total[:, None])
        every = np.arange(TRIALS)
        done = [half.argmax(axis=1) for half in halves]
        chance = (halves[1][every, done[0]] + halves[0][every, done[1]]) / 2
        moved = np.abs((halves[0] + halves[1])[:, self.best_now] / 2 - self.now)
        better = [half.max(axis=1) - half[:, self.best_now] >= LEAST_SHIFT for half in halves]
        otherwise = np.mean(better, axis=0)
        return _After(chance, moved, otherwise)

    def _likelihood(self, n: int, again: int) -> Array:
        """How probable in each state is what one more such patch shows, trial by trial."""
        shares = self.shares[n]
        luck = self.luck[:, n, again]
        ending = (luck > np.cumsum(shares[:, self.states], axis=0)[:2]).sum(axis=0)
        likelihood: Array = shares[ending]
        return likelihood


def _patches(piece: Piece) -> list[SamplePatch]:
    """The contacts of a piece as patches that stand for them."""
    counts = piece.firings()
    return [
        SamplePatch(c.layer, contact_row(piece, c.layer, c.under, counts[c.layer]))
        for c in piece.contacts
    ]


def _fired(tile: SampleTile) -> int:
    """Firings of a tile: as many as its patches need, so that none goes into the heat bare."""
    return max(patch.row.firings for patch in tile)


def _settings(
    piece: Piece, tiles: Sequence[SampleTile], most: int, like: Settings, title: str
) -> Settings:
    rows = [patch.row for tile in tiles for patch in tile]

    def levels(factor: str) -> tuple[float, ...]:
        return tuple(sorted({getattr(row, factor) for row in rows}))

    own = ("base_coats", "base_mesh", "base_coat_weight", "mesh", "coat_weight")
    return replace(
        like,
        title=title,
        question=f"Will {piece.title} hold?",
        tiles=len(tiles),
        patches_per_tile=max(map(len, tiles)),
        stripes=1,
        factors={
            **like.factors,
            **{factor: levels(factor) for factor in own},
            "firings": tuple(range(1, most + 1)),
        },
        wishes=(),
        follows=(),
    )


def _planned(
    piece: Piece,
    each: Sequence[SampleTile],
    firings: Sequence[int],
    like: Series,
    name: str,
    title: str,
) -> Series:
    tiles, patches = [], []
    for tile, (own, fired) in enumerate(zip(each, firings, strict=True), start=1):
        colour, coats, mesh, weight = own[0].ground
        tiles.append(
            {
                "tile": tile,
                "base": colour,
                "coats": coats,
                "mesh": mesh,
                "coat_weight": weight,
                "session": 1,
                "firings": fired,
            }
        )
        for position, (_, row) in enumerate(own, start=1):
            patches.append(
                {
                    "patch": patch_name(tile, position),
                    "tile": tile,
                    "position": position,
                    "overlay": row.overlay,
                    "mesh": row.mesh,
                    "coat_weight": row.coat_weight,
                    "before_firing": fired - row.firings + 1,
                    "accident": "",
                }
            )
    series = new_series(
        name, _settings(piece, each, max(firings), like.settings, title), like.colours
    )
    return replace(
        series,
        tiles=pd.DataFrame(tiles).astype(series.tiles.dtypes.to_dict()),
        patches=pd.DataFrame(patches)
        .reindex(columns=series.patches.columns)
        .astype(series.patches.dtypes.to_dict()),
    )
