"""What the kit knows of the tiles before it looks at a picture."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from kit.photo.card.card_geometry import Card, PrintScale, card_for
from kit.series import (
    Blank,
    Position,
    Series,
    Stencil,
    lost_by_itself_from,
    places_on_tile,
    positions,
    stencil_on,
    stripe_edges,
)

BY_RULE = 0.0015
"""A rule is read to half a millimetre, which is 0.15 mm (standard deviation) in 90 mm."""


@dataclass(frozen=True)
class TileLayout:
    """What lies where on one tile.

    Parameters
    ----------
    places : dict of int to Position
        By position number.
    stencil : Stencil
    bases : tuple of str
        Base colours from left to right, of a tile in stripes; one or none otherwise.
    edges_mm : tuple of float
        Where stripes meet, from the tile's left.
    """

    places: Mapping[int, Position]
    stencil: Stencil
    bases: tuple[str, ...] = ()
    edges_mm: tuple[float, ...] = ()

    def stripe_at(self, x_mm: ArrayLike) -> NDArray[np.intp]:
        """Number of the stripe, from 0, at distances from the tile's left."""
        return np.searchsorted(np.array(self.edges_mm), np.asarray(x_mm, float))


@dataclass(frozen=True, eq=False)
class PhotoPlan:
    """Everything about a series that measuring its pictures needs.

    Parameters
    ----------
    patches : DataFrame
        The patches to be measured: patch, tile, position, overlay, before_firing and lost_from
        (the firing from which it is lost by an accident of its own; infinite when it is sound).
    patches_per_tile : int
        How many positions the series lays out on a tile.
    blank : Blank
    stencil : Stencil
    scale : PrintScale
        What the printer made of the card.
    scale_measured : bool
        Whether a person measured the printed card.
    bases : dict of int to str
        Base colour of each tile, where it is known.
    striped : dict of int to TileLayout
        Layouts of the tiles that carry several bases in stripes.
    fired : dict of int to dict of int to int
        Of each tile whose firings are written down: the session of each of its firings.
    scale_error : float
        Standard error of the print's scale, as a share.
    """

    patches: pd.DataFrame
    patches_per_tile: int
    blank: Blank
    stencil: Stencil
    scale: PrintScale = field(default_factory=PrintScale)
    scale_measured: bool = False
    bases: Mapping[int, str] = field(default_factory=dict)
    striped: Mapping[int, TileLayout] = field(default_factory=dict)
    fired: Mapping[int, Mapping[int, int]] = field(default_factory=dict)
    scale_error: float = BY_RULE

    @property
    def card(self) -> Card:
        return card_for(self.blank)

    def layout(self, tile: int) -> TileLayout:
        """What lies where on a tile."""
        if tile in self.striped:
            return self.striped[tile]
        bases = (self.bases[tile],) if tile in self.bases else ()
        return TileLayout(self._places, self.stencil, bases)

    @cached_property
    def _places(self) -> dict[int, Position]:
        laid = positions(self.blank, self.stencil, self.patches_per_tile)
        return {place.number: place for place in laid}

    def base_at(self, tile: int, position: int) -> str | None:
        """Base colour under a patch, if it is known."""
        layout = self.layout(tile)
        if not layout.bases or position not in layout.places:
            return None
        return layout.bases[int(layout.stripe_at(layout.places[position].x_mm))]

    def places_of(self, overlay: str) -> list[tuple[int, int]]:
        """Tile and position of every patch of an overlay."""
        return self._by_overlay.get(overlay, [])

    @cached_property
    def _by_overlay(self) -> dict[str, list[tuple[int, int]]]:
        spots: dict[str, list[tuple[int, int]]] = {}
        for row in self.patches.itertuples():
            spots.setdefault(str(row.overlay), []).append((int(row.tile), int(row.position)))
        return spots

    def overlays_on(self, tile: int, firing: int) -> dict[int, str]:
        """Overlay at each position of a tile that has been sifted by a firing."""
        return {
            position: overlay
            for position, overlay, before, lost_from in self._by_tile.get(tile, [])
            if before <= firing < lost_from
        }

    @cached_property
    def _by_tile(self) -> dict[int, list[tuple[int, str, int, float]]]:
        sifted: dict[int, list[tuple[int, str, int, float]]] = {}
        for row in self.patches.itertuples():
            spot = int(row.position), str(row.overlay), int(row.before_firing), float(row.lost_from)
            sifted.setdefault(int(row.tile), []).append(spot)
        return sifted

    def on_tile(self, tile: int, firing: int) -> pd.DataFrame:
        """The patches of a tile that are sifted by a firing and not lost, by position."""
        own = self.patches[self.patches["tile"] == tile]
        there = (own["before_firing"] <= firing) & (firing < own["lost_from"])
        return own[there].sort_values("position")


def photo_plan(series: Series) -> PhotoPlan:
    """Gather what measuring a series' pictures needs; a patch is left out from its accident on.

    The scale follows from the two lengths on the printed card in the settings; the card is taken
    to be as planned where they are not there.

    Raises
    ------
    Misuse
        When a length is out by more than a tenth.
    """
    settings = series.settings
    patches = series.patches.assign(lost_from=lost_by_itself_from(series.patches))
    seen = patches["lost_from"] > patches["before_firing"]
    card = card_for(settings.blank)
    scale = card.print_scale(
        settings.card_across_mm or card.across_mm, settings.card_down_mm or card.down_mm
    )
    columns = ["patch", "tile", "position", "overlay", "before_firing", "lost_from"]
    return PhotoPlan(
        patches.loc[seen, columns].reset_index(drop=True),
        settings.patches_per_tile,
        settings.blank,
        settings.stencil,
        scale,
        bool(settings.card_across_mm and settings.card_down_mm),
        dict(zip(series.tiles["tile"].tolist(), series.tiles["base"].tolist(), strict=True)),
        dict(_striped(series)),
        {
            int(tile): dict(zip(rows["firing"].tolist(), rows["session"].tolist(), strict=True))
            for tile, rows in series.firings.groupby("tile")
        },
    )


def _striped(series: Series) -> Iterator[tuple[int, TileLayout]]:
    for tile, rows in series.stripes.sort_values("stripe").groupby("tile"):
        count = len(rows)
        stencil = stencil_on(series.settings, count)
        places = {place.number: place for place in places_on_tile(series.settings, count)}
        edges = stripe_edges(series.settings.blank, stencil, count)
        yield int(tile), TileLayout(places, stencil, tuple(rows["base"]), edges)
