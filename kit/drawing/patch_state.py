"""A patch drawn in the state that its grades say: how far its edge crept, how much base shows.

One drawing for the grading form, the grading sheets, the card to hold beside a tile, and the look
of an ending in the report. Patch and base have the colours of no jar: dark on light, which keeps
apart in grey and on a dark page.
"""

import math

from kit.drawing.svg import Drawing, element, group, number
from kit.series import Scale

BASE, OVERLAY = "#dcb98a", "#2f4a66"
_FRAME = "#5b6673"
_SIDE = 1.9
_HALF = 0.5
_CREPT = (0.0, 0.035, 0.10, 0.17, 0.24)
_WAVE = (0.0, 0.012, 0.035, 0.065, 0.10)
_SPECKS = ((0, 0.0), (7, 0.022), (9, 0.07), (20, 0.095), (0, 0.0))
"""By pull-through 0 to 4: spots of the base and their radius, in widths of the stencil."""
_ISLANDS = (7, 0.05)
_POINTS = 96
_GOLDEN = (0.7548776662466927, 0.5698402909980532)
"""Roberts' sequence, which fills a square evenly and looks the same every time."""


def patch_state(
    spread: int, pull_through: int, stencil_mm: float = 14.0, name: str = ""
) -> Drawing:
    """Draw a patch at given steps of spread and pull-through.

    Parameters
    ----------
    spread, pull_through : int
        Steps 0 to 4.
    stencil_mm : float
        Width of the stencil; the drawing is life size at its own width and height.
    name : str
        Of the drawing; made from the steps when blank.

    Returns
    -------
    Drawing
        A square of 1.9 widths of the stencil.
    """
    scale = stencil_mm / 25.4 * 96
    side = _SIDE * scale
    return Drawing(
        name or f"patch-{spread}-{pull_through}",
        f"A patch at spread {spread} and pull-through {pull_through}",
        f"{_EDGES[spread]}; {_COVERS[pull_through]}.",
        side,
        side,
        group(
            [_ground(), *_overlay(spread), *_base_within(pull_through), _stencil_line()],
            transform=f"translate({number(side / 2)} {number(side / 2)}) scale({number(scale)})",
        ),
    )


def step_pictures(scale: Scale, stencil_mm: float = 14.0) -> tuple[Drawing, ...]:
    """Draw the steps of spread or of pull-through, 0 to 4; no picture for any other scale."""
    drawn = []
    for step, said in enumerate(scale.steps):
        if scale.name == "spread":
            picture = patch_state(step, 0, stencil_mm, f"spread-{step}")
        elif scale.name == "pull_through":
            picture = patch_state(0, step, stencil_mm, f"pull-through-{step}")
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


def _ground() -> str:
    half = _SIDE / 2
    return _box(half, BASE, rx=0.06, stroke=_FRAME, stroke_width=0.02)


def _overlay(spread: int) -> list[str]:
    """Draw the overlay as far as it crept; where no edge is left it fades outwards."""
    if spread < len(_CREPT) - 1:
        return [element("path", d=_outline(_CREPT[spread], _WAVE[spread]), fill=OVERLAY)]
    fading = ((0.30, 0.25), (0.22, 0.3), (0.12, 0.4), (0.0, 0.55), (-0.12, 1))
    return [
        element("path", d=_outline(far, 0.11), fill=OVERLAY, fill_opacity=share)
        for far, share in fading
    ]


def _base_within(pull_through: int) -> list[str]:
    if pull_through == len(_SPECKS) - 1:
        count, radius = _ISLANDS
        ground = element("path", d=_outline(-0.06, 0.05), fill=BASE)
        return [ground, *_spots(count, radius, OVERLAY)]
    return _spots(*_SPECKS[pull_through], BASE)


def _spots(count: int, radius: float, colour: str) -> list[str]:
    room = 2 * (_HALF - 1.15 * radius)
    return [
        element(
            "ellipse",
            cx=three((_GOLDEN[0] * n % 1 - 0.5) * room),
            cy=three((_GOLDEN[1] * n % 1 - 0.5) * room),
            rx=three(radius * (0.85 + 0.3 * (n % 3) / 2)),
            ry=three(radius * (1.15 - 0.3 * (n % 3) / 2)),
            fill=colour,
        )
        for n in range(1, count + 1)
    ]


def _stencil_line() -> str:
    return _box(_HALF, "none", stroke="#ffffff", stroke_width=0.022, stroke_dasharray="0.06 0.05")


def _box(half: float, fill: str, **look: object) -> str:
    return (
        f'<rect x="{-half:.3f}" y="{-half:.3f}" width="{2 * half:.3f}" height="{2 * half:.3f}" '
        f'fill="{fill}"'
        + "".join(f' {name.replace("_", "-")}="{value}"' for name, value in look.items())
        + "/>"
    )


def three(value: float) -> str:
    """Write a length in widths of the stencil: three decimals, since a width is drawn large."""
    return f"{value:.3f}"


def _outline(crept: float, wave: float) -> str:
    """Outline of a square patch whose edge lies `crept` beyond the stencil's, in waves."""
    points = []
    for n in range(_POINTS):
        turn = 2 * math.pi * n / _POINTS
        ray = math.cos(turn), math.sin(turn)
        reach = _HALF / max(map(abs, ray))
        waves = math.sin(5 * turn + 0.4) + 0.7 * math.sin(9 * turn + 2) + 0.5 * math.sin(14 * turn)
        length = reach + crept * (1 + 0.25 * math.cos(4 * turn)) + wave * waves / 2.2
        points.append(f"{ray[0] * length:.3f} {ray[1] * length:.3f}")
    return f"M{'L'.join(points)}Z"
