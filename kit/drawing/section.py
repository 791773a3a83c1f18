"""A section through a piece: what lies on what, and how often each layer will have been fired."""

from collections.abc import Sequence
from dataclasses import dataclass

from kit.drawing.svg import (
    COPPER,
    HAIR,
    INK,
    PAPER,
    QUIET,
    Drawing,
    element,
    fitted_text,
    text_width,
    words,
)
from kit.wording import counted, listed, times

_ROW, _COLUMN, _LETTERS, _COPPER, _GAP = 34.0, 118.0, 11.0, 14.0, 6.0
_TONES = ("#dfe7ea", "#f1e3c6", "#ead9e0", "#dde7d6", "#e4def0")
"""Grounds that keep the colours of neighbours apart; the glass itself is named, not shown."""


@dataclass(frozen=True)
class LayerShown:
    """A layer of the section.

    Parameters
    ----------
    name, colour : str
    on : tuple of str
        Names of the layers below; empty where it lies on the base alone.
    on_base : bool
        Whether it touches the base too.
    firings : int
    """

    name: str
    colour: str
    on: tuple[str, ...]
    on_base: bool
    firings: int


def piece_section(
    title: str, base: str, layers: Sequence[LayerShown], name: str = "section"
) -> Drawing:
    """Draw a section, the copper at the foot, the last layer at the top.

    Parameters
    ----------
    title : str
        What the piece is called.
    base : str
        The base's colour.
    layers : sequence of LayerShown
        In the order that they are put on.
    """
    column = {layer.name: n for n, layer in enumerate(layers)}
    level: dict[str, int] = {}
    for layer in layers:
        span = _span(layer, column)
        met = [level[o.name] for o in layers[: column[layer.name]] if _meet(span, _span(o, column))]
        level[layer.name] = 1 + max(met, default=0)
    height = _ROW * (max(level.values()) + 1) + _COPPER
    widest = max(
        text_width(text, _LETTERS) for layer in layers for text in (layer.name, _fired(layer))
    )
    wide = min(max(_COLUMN, widest + 2 * _GAP + 12), 2 * _COLUMN)
    width = wide * len(layers)
    ground = height - _COPPER
    marks = [
        element("rect", x=0, y=ground, width=width, height=_COPPER, fill=COPPER),
        words(width / 2, ground + 11, "copper", 9, "middle", PAPER, theme=None),
        element(
            "rect", x=0, y=ground - _ROW, width=width, height=_ROW, fill="#eef0f2", stroke=HAIR
        ),
        words(8, ground - _ROW / 2 + 4, f"base: {base}", _LETTERS, theme=None),
    ]
    for layer in layers:
        marks += _layer(layer, column, level, wide, ground)
    most = max(layers, key=lambda layer: layer.firings)
    least = [layer.name for layer in layers if layer.firings == min(o.firings for o in layers)]
    told = (
        f"{title}: {most.name} goes through the heat {times(most.firings)}, "
        f"{listed(least)} {times(min(layer.firings for layer in layers))}"
    )
    alt = " ".join(
        f"{layer.name}, {layer.colour}, lies on "
        f"{listed([*(['the base'] if layer.on_base else []), *layer.on])} and is fired "
        f"{times(layer.firings)}."
        for layer in layers
    )
    note = "Not to scale. Columns stand in the order in which the layers are put on."
    return Drawing(name, told, alt, width, height, "".join(marks), note)


def _layer(
    layer: LayerShown,
    column: dict[str, int],
    level: dict[str, int],
    wide: float,
    ground: float,
) -> list[str]:
    own = column[layer.name]
    left, right = (wide * edge for edge in _span(layer, column))
    top = ground - _ROW * (level[layer.name] + 1)
    tone = _TONES[own % len(_TONES)]
    marks = []
    if layer.on_base and level[layer.name] > 1:
        foot = ground - _ROW
        marks.append(
            element(
                "rect", x=own * wide + _GAP, y=top + _ROW - 1, width=wide - 2 * _GAP,
                height=foot - top - _ROW + 1, fill=tone, stroke=QUIET,
            )
        )  # fmt: skip
    marks.append(
        element(
            "rect", x=left + _GAP, y=top + 2, width=right - left - 2 * _GAP, height=_ROW - 2,
            fill=tone, stroke=QUIET,
        )
    )  # fmt: skip
    room = right - left - 2 * _GAP - 10
    for y, text, weight in ((top + 14, layer.name, "700"), (top + 28, _fired(layer), None)):
        shown = fitted_text(text, room, _LETTERS)
        marks.append(words(left + _GAP + 5, y, shown, _LETTERS, None, INK, weight, theme=None))
    return marks


def _fired(layer: LayerShown) -> str:
    return f"{layer.colour}, {counted(layer.firings, 'firing')}"


def _span(layer: LayerShown, column: dict[str, int]) -> tuple[int, int]:
    """Columns that a layer reaches over: from what it lies on to its own."""
    own = column[layer.name]
    return min([own, *(column[under] for under in layer.on)]), own + 1


def _meet(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return one[0] < other[1] and other[0] < one[1]
