"""A piece as it is to be made: a base, layers in their order, and what is wanted of each.

A layer counts its firings from the one that first melts it. Layers that share a firing make a
group; each group is fired, once as a rule, before the next one goes on, so that at the end

    firings(layer) = firings from its own group's to the last group's + closing firings.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from kit.model import BROKEN_THROUGH, ENDINGS, FINE_EDGE

BASE = "base"
"""What a layer lies on when it lies on the base coat; no layer may have this name."""

NOT_BROKEN = "not broken through"
WISHES = (*ENDINGS, NOT_BROKEN)
"""What may be wanted of a layer's edge: one of the endings, or anything but broken through."""


@dataclass(frozen=True)
class BaseCoat:
    """The coat that covers the copper.

    Parameters
    ----------
    colour : str
    coats : int
    mesh : int
    coat_weight : float
        mg/cm² a coat.
    """

    colour: str
    coats: int = 2
    mesh: int = 80
    coat_weight: float = 60.0


@dataclass(frozen=True)
class Layer:
    """One stencilled colour.

    Parameters
    ----------
    name : str
        What the person calls it: 'leaves'.
    overlay : str
        Its colour.
    on : tuple of str
        What it lies on: `BASE`, names of earlier layers, or several where it crosses them.
    mesh : int
    coat_weight : float
        mg/cm².
    stencils : int
        How many such stencils the piece has on each of what it lies on.
    wanted : str
        One of `WISHES`.
    firings : int
        How often it is fired before the next layer goes on. Of layers that share their firing, the
        one that asks for most decides.
    fires_with : str or None
        The layer directly before it whose firing it shares.
    """

    name: str
    overlay: str
    on: tuple[str, ...] = (BASE,)
    mesh: int = 100
    coat_weight: float = 40.0
    stencils: int = 1
    wanted: str = FINE_EDGE
    firings: int = 1
    fires_with: str | None = None


@dataclass(frozen=True)
class Contact:
    """One colour lying on another somewhere in the piece.

    Parameters
    ----------
    layer : str
    under : str
        `BASE` or the name of the layer below.
    """

    layer: str
    under: str


@dataclass(frozen=True)
class Piece:
    """A piece, from the copper up.

    Parameters
    ----------
    name : str
        File name without its ending.
    title : str
    base : BaseCoat
    layers : tuple of Layer
        In the order that they are put on.
    closing_firings : int
        Firings after the last layer's own.
    series : tuple of str
        Names of the series whose grades speak; all of them when empty.
    """

    name: str
    title: str
    base: BaseCoat
    layers: tuple[Layer, ...]
    closing_firings: int = 0
    series: tuple[str, ...] = field(default=())

    def layer(self, name: str) -> Layer:
        """Return the layer called `name`."""
        return next(layer for layer in self.layers if layer.name == name)

    @property
    def contacts(self) -> tuple[Contact, ...]:
        """Every contact, layer by layer."""
        return tuple(Contact(layer.name, under) for layer in self.layers for under in layer.on)

    @property
    def colours(self) -> tuple[str, ...]:
        """Every colour that the piece uses, the base first, each once."""
        used = (self.base.colour, *(layer.overlay for layer in self.layers))
        return tuple(dict.fromkeys(used))

    def firings(self) -> dict[str, int]:
        """How often each layer will have been fired at the end."""
        return firing_counts(self.layers, self.closing_firings)

    @property
    def trips(self) -> int:
        """Firings of the piece from its first stencil on."""
        return max(self.firings().values())

    def reordered(self, names: Sequence[str]) -> "Piece":
        """The same piece with its layers in another order.

        A layer that shares a firing keeps doing so only where it stays next to its companion.
        """
        layers = [self.layer(name) for name in names]
        before = [None, *names[:-1]]
        kept = [
            layer if layer.fires_with in (None, previous) else replace(layer, fires_with=None)
            for layer, previous in zip(layers, before, strict=True)
        ]
        return replace(self, layers=tuple(kept))

    def with_layer(self, name: str, **changed: object) -> "Piece":
        """The same piece with one layer changed."""
        layers = (
            replace(layer, **changed) if layer.name == name else layer  # type: ignore[arg-type]
            for layer in self.layers
        )
        return replace(self, layers=tuple(layers))


def firing_counts(layers: Sequence[Layer], closing_firings: int) -> dict[str, int]:
    """How often each of the layers will have been fired at the end, by name."""
    counts = {}
    after = closing_firings
    for group in reversed(groups(layers)):
        after += max(layer.firings for layer in group)
        counts.update({layer.name: after for layer in group})
    return {layer.name: counts[layer.name] for layer in layers}


def groups(layers: Sequence[Layer]) -> list[tuple[Layer, ...]]:
    """Layers that share a firing, in the order that they were given: what an order may move."""
    together: list[tuple[Layer, ...]] = []
    for layer in layers:
        if layer.fires_with is not None and together:
            together[-1] += (layer,)
        else:
            together.append((layer,))
    return together


def lies_on(piece: Piece) -> list[frozenset[int]]:
    """For each of the piece's groups, the groups that something in it lies on."""
    each = groups(piece.layers)
    home = {layer.name: n for n, group in enumerate(each) for layer in group}
    return [
        frozenset(
            home[under]
            for layer in group
            for under in layer.on
            if under != BASE and home[under] != n
        )
        for n, group in enumerate(each)
    ]


def as_wanted(wanted: str, ending: str) -> bool:
    """Whether an ending is what was wanted."""
    return ending != BROKEN_THROUGH if wanted == NOT_BROKEN else ending == wanted
