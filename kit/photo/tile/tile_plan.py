"""What the kit knows of the tiles before it looks at a picture."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from kit.photo.card.card_geometry import Card, PrintScale, card_for
from kit.series import Blank, Position, Series, Stencil, positions


@dataclass(frozen=True, eq=False)
class PhotoPlan:
    """Everything about a series that measuring its pictures needs.

    Parameters
    ----------
    patches : DataFrame
        The patches to be measured: patch, tile, position, overlay, before_firing.
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
    striped : frozenset of int
        Tiles that carry several bases in stripes; their pictures are not measured.
    fired : dict of int to dict of int to int
        Of each tile whose firings are written down: the session of each of its firings.
    """

    patches: pd.DataFrame
    patches_per_tile: int
    blank: Blank
    stencil: Stencil
    scale: PrintScale = field(default_factory=PrintScale)
    scale_measured: bool = False
    bases: Mapping[int, str] = field(default_factory=dict)
    striped: frozenset[int] = frozenset()
    fired: Mapping[int, Mapping[int, int]] = field(default_factory=dict)

    @property
    def card(self) -> Card:
        return card_for(self.blank)

    def places(self) -> dict[int, Position]:
        """Planned places on the tile by position number."""
        laid = positions(self.blank, self.stencil, self.patches_per_tile)
        return {place.number: place for place in laid}

    def places_of(self, overlay: str) -> list[tuple[int, int]]:
        """Tile and position of every patch of an overlay."""
        own = self.patches[self.patches["overlay"] == overlay]
        return list(zip(own["tile"].tolist(), own["position"].tolist(), strict=True))

    def on_tile(self, tile: int, firing: int) -> pd.DataFrame:
        """The patches of a tile that have been sifted by a firing, in order of position."""
        own = self.patches[self.patches["tile"] == tile]
        return own[own["before_firing"] <= firing].sort_values("position")


def photo_plan(series: Series) -> PhotoPlan:
    """Gather what measuring a series' pictures needs; patches lost to an accident are left out.

    The scale follows from the two lengths on the printed card in the settings; the card is taken
    to be as planned where they are not there.

    Raises
    ------
    Misuse
        When a length is out by more than a tenth.
    """
    settings = series.settings
    lost = series.patches["accident"].fillna("") != ""
    card = card_for(settings.blank)
    scale = card.print_scale(
        settings.card_across_mm or card.across_mm, settings.card_down_mm or card.down_mm
    )
    columns = ["patch", "tile", "position", "overlay", "before_firing"]
    return PhotoPlan(
        series.patches.loc[~lost, columns].reset_index(drop=True),
        settings.patches_per_tile,
        settings.blank,
        settings.stencil,
        scale,
        bool(settings.card_across_mm and settings.card_down_mm),
        dict(zip(series.tiles["tile"].tolist(), series.tiles["base"].tolist(), strict=True)),
        frozenset(series.stripes["tile"].astype(int)),
        {
            int(tile): dict(zip(rows["firing"].tolist(), rows["session"].tolist(), strict=True))
            for tile, rows in series.firings.groupby("tile")
        },
    )
