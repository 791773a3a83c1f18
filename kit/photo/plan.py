"""What the kit knows of the tiles before it looks at a picture."""

from dataclasses import dataclass, field

import pandas as pd

from kit.photo.card import Card, PrintScale, card_for
from kit.series import Blank, Position, Stencil, positions


@dataclass(frozen=True)
class PhotoPlan:
    """Everything about a series that measuring its pictures needs.

    Parameters
    ----------
    patches : DataFrame
        The series' patches: patch, tile, position, overlay, before_firing.
    blank : Blank
    stencil : Stencil
    scale : PrintScale
        What the printer made of the card.
    """

    patches: pd.DataFrame
    blank: Blank
    stencil: Stencil
    scale: PrintScale = field(default_factory=PrintScale)

    @property
    def card(self) -> Card:
        return card_for(self.blank)

    def places(self) -> dict[int, Position]:
        """Planned places on the tile by position number."""
        count = int(self.patches["position"].max())
        return {p.number: p for p in positions(self.blank, self.stencil, count)}

    def on_tile(self, tile: int, firing: int) -> pd.DataFrame:
        """The patches of a tile that have been sifted by a firing, in order of position."""
        own = self.patches[self.patches["tile"] == tile]
        return own[own["before_firing"] <= firing].sort_values("position")
