"""A patch drawn in the state that its grades say: how far its edge crept, how much base shows.

One drawing for the grading form, the grading sheets, the card to hold beside a tile, and the look
of an ending in the report. Patch and base have the colours of no jar: dark on light, which keeps
apart in grey and on a dark page.
"""

import math
from collections.abc import Iterator

from kit.drawing.svg import Drawing, element, group, number
from kit.series import Scale, Stencil

BASE, OVERLAY = "#dcb98a", "#2f4a66"
_FRAME = "#5b6673"
_RIM = 0.45
"""Ground that is shown on each side of the stencil, in widths of the stencil."""

_CREPT = (0.0, 0.035, 0.10, 0.17, 0.24)
_WAVE = (0.0, 0.012, 0.035, 0.065, 0.10)
_SPECKS = ((0, 0.0), (7, 0.022), (9, 0.07), (20, 0.095), (0, 0.0))
"""By pull-through 0 to 4: spots of the base and their radius, in widths of the stencil."""
_ISLANDS = (7, 0.05)
_POINTS = 96
_GOLDEN = (0.7548776662466927, 0.5698402909980532)
"""Roberts' sequence, which fills a square evenly and looks the same every time."""


def patch_state(
    spread: int, pull_through: int, stencil: Stencil | None = None, name: str = ""
) -> Drawing:
    """Draw a patch at given steps of spread and pull-through.

    Parameters
    ----------
    spread, pull_through : int
        Steps 0 to 4.
    stencil : Stencil, optional
        The usual one when left out. The drawing is life size at its own width and height.
    name : str
        Of the drawing; made from the steps when blank.

    Returns
    -------
    Drawing
        The stencil and nearly half its width of ground around it.
    """
    stencil = stencil or Stencil()
    mm = 96 / 25.4
    rim = 2 * _RIM * stencil.size_mm
    width, height = (stencil.size_mm + rim) * mm, (stencil.height_mm + rim) * mm
    shape = _Shape(stencil)
    middle = f"translate({number(width / 2)} {number(height / 2)})"
    return Drawing(
        name or f"patch-{spread}-{pull_through}",
        f"A patch at spread {spread} and pull-through {pull_through}",
        f"{_EDGES[spread]}; {_COVERS[pull_through]}.",
        width,
        height,
        group(
            [
                shape.ground(),
                *_overlay(shape, spread),
                *_base_within(shape, pull_through),
                shape.stencil_line(),
            ],
            transform=f"{middle} scale({number(stencil.size_mm * mm)})",
        ),
    )


def step_pictures(scale: Scale, stencil: Stencil | None = None) -> tuple[Drawing, ...]:
    """Draw the steps of spread or of pull-through, 0 to 4; no picture for any other scale."""
    drawn = []
    for step, said in enumerate(scale.steps):
        if scale.name == "spread":
            picture = patch_state(step, 0, stencil, f"spread-{step}")
        elif scale.name == "pull_through":
            picture = patch_state(0, step, stencil, f"pull-through-{step}")
        else:
            return ()
        drawn.append(
            Drawing(
                picture.name,
                f"{scale.title} {step}: {said}",
                picture.alt,
                picture.width,
                picture.height,
                picture.marks,
            )
        )
    return tuple(drawn)


_EDGES = (
    "The edge stands where it was sifted",
    "The edge crept by less than a hair",
    "The edge crept; the shape still reads",
    "The shape is going",
    "No edge is left",
)
_COVERS = (
    "the overlay covers",
    "a few dots of the base show",
    "the base shows in patches",
    "as much base shows as overlay",
    "the base has taken over",
)


class _Shape:
    """The stencil's opening, in widths of it about its middle."""

    def __init__(self, stencil: Stencil) -> None:
        self.round = stencil.shape == "disc"
        self.half_height = stencil.height_mm / stencil.size_mm / 2

    def ground(self) -> str:
        high = self.half_height + _RIM
        return _box(0.5 + _RIM, high, BASE, rx=0.06, stroke=_FRAME, stroke_width=0.02)

    def stencil_line(self) -> str:
        look: dict[str, str | float] = {
            "stroke": "#ffffff",
            "stroke_width": 0.022,
            "stroke_dasharray": "0.06 0.05",
        }
        return _box(0.5, self.half_height, "none", rx=0.5 if self.round else None, **look)

    def reach(self, turn: float) -> float:
        """Distance of the edge from the middle, in a direction."""
        if self.round:
            return 0.5
        across, down = abs(math.cos(turn)), abs(math.sin(turn))
        return min(0.5 / max(across, 1e-9), self.half_height / max(down, 1e-9))

    def outline(self, crept: float, wave: float) -> str:
        """Outline of a patch whose edge lies `crept` beyond the stencil's, in waves."""
        points = []
        for n in range(_POINTS):
            turn = 2 * math.pi * n / _POINTS
            corners = 0.0 if self.round else 0.25 * math.cos(4 * turn)
            waves = math.sin(5 * turn + 0.4) + 0.7 * math.sin(9 * turn + 2)
            waves += 0.5 * math.sin(14 * turn)
            far = self.reach(turn) + crept * (1 + corners) + wave * waves / 2.2
            points.append(f"{_three(math.cos(turn) * far)} {_three(math.sin(turn) * far)}")
        return f"M{'L'.join(points)}Z"

    def spots(self, count: int, radius: float, colour: str) -> list[str]:
        """Spots that lie evenly within the stencil's edge."""
        return [
            element(
                "ellipse",
                cx=_three(x),
                cy=_three(y),
                rx=_three(radius * (0.85 + 0.3 * (n % 3) / 2)),
                ry=_three(radius * (1.15 - 0.3 * (n % 3) / 2)),
                fill=colour,
            )
            for n, (x, y) in enumerate(self._places(count, radius), start=1)
        ]

    def _places(self, count: int, radius: float) -> Iterator[tuple[float, float]]:
        """Even places in a square, each drawn out along its ray to where it lies in the shape."""
        for n in range(1, count + 1):
            x, y = (2 * (step * n % 1) - 1 for step in _GOLDEN)
            turn = math.atan2(y, x)
            inwards = max(abs(x), abs(y)) * (self.reach(turn) - 1.15 * radius)
            yield math.cos(turn) * inwards, math.sin(turn) * inwards


def _overlay(shape: _Shape, spread: int) -> list[str]:
    """Draw the overlay as far as it crept; where no edge is left it fades outwards."""
    if spread < len(_CREPT) - 1:
        return [element("path", d=shape.outline(_CREPT[spread], _WAVE[spread]), fill=OVERLAY)]
    fading = ((0.30, 0.25), (0.22, 0.3), (0.12, 0.4), (0.0, 0.55), (-0.12, 1))
    return [
        element("path", d=shape.outline(far, 0.11), fill=OVERLAY, fill_opacity=share)
        for far, share in fading
    ]


def _base_within(shape: _Shape, pull_through: int) -> list[str]:
    if pull_through == len(_SPECKS) - 1:
        count, radius = _ISLANDS
        ground = element("path", d=shape.outline(-0.06, 0.05), fill=BASE)
        return [ground, *shape.spots(count, radius, OVERLAY)]
    return shape.spots(*_SPECKS[pull_through], BASE)


def _box(half: float, half_height: float, fill: str, **look: str | float | None) -> str:
    size = {"width": 2 * half, "height": 2 * half_height}
    place = {name: _three(v) for name, v in {"x": -half, "y": -half_height, **size}.items()}
    told = {n: _three(v) if isinstance(v, float) else v for n, v in look.items()}
    written: dict[str, str | None] = {**place, "fill": fill, **told}
    return element("rect", "", **written)


def _three(value: float) -> str:
    """Write a length in widths of the stencil: three decimals, since a width is drawn large."""
    return f"{value:.3f}"
