"""Tiles drawn to scale, as planned and as fired, and when each was fired."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from kit.drawing.svg import (
    GRADE_COLOURS,
    HAIR,
    INK,
    PAPER,
    QUIET,
    TILE_GROUND,
    Drawing,
    element,
    fitted_names,
    fitted_text,
    grade_colour,
    group,
    ink_on,
    text_width,
    words,
)
from kit.series import Scale, Settings, places_on_tile, stencil_on
from kit.series import grade as grade_said
from kit.wording import counted, escape, mm_and_inches

_LETTERS = 11.0
_HEADING = 18.0
_ACROSS = 4
_SIDE = 74.0
_SPACE = 10.0
_LIST_ROOM = 150.0
_KEY_BOX, _KEY_LINE = 12.0, 18.0


@dataclass(frozen=True)
class TileShown:
    """One tile and what is written on it.

    Parameters
    ----------
    heading : str
        Above it: '7 Custard'.
    grades : mapping of int to float
        Grade by position; a position that is not there is drawn empty.
    lost : frozenset of int
        Positions of lost patches; drawn dashed, whatever their last grade.
    overlays : mapping of int to str
        Names by position, listed beside a planned tile.
    stripes : int
        Bases that the tile carries side by side.
    """

    heading: str
    grades: Mapping[int, float] = field(default_factory=dict)
    lost: frozenset[int] = frozenset()
    overlays: Mapping[int, str] = field(default_factory=dict)
    stripes: int = 1


def tiles_as_graded(
    settings: Settings,
    tiles: Sequence[TileShown],
    scale: Scale,
    name: str,
    title: str,
    alt: str,
    across: int = _ACROSS,
) -> Drawing:
    """Draw tiles side by side with each patch in the colour of its grade, and a key.

    Parameters
    ----------
    settings : Settings
        Blank and stencil are drawn to scale.
    tiles : sequence of TileShown
    scale : Scale
        Its steps are the key.
    name, title, alt : str
        Of the drawing.
    across : int
        Tiles in a row.
    """
    places = _TilePlaces(settings, min(across, max(1, len(tiles))))
    marks = [
        _tile(settings, tile, *places.corner(count), places.mm) for count, tile in enumerate(tiles)
    ]
    width = max(places.width, 300.0)
    key, height = _grade_key(scale, places.height(len(tiles)), width)
    note = (
        "The number is the middle grade of all who graded. Dashed: lost, or not graded. Drawn to "
        f"scale: each blank is {mm_and_inches(settings.blank.width_mm)} wide."
    )
    return Drawing(name, title, alt, width, height, "".join([*marks, *key]), note)


def tile_through_firings(
    settings: Settings,
    columns: Mapping[str, Mapping[str, TileShown]],
    name: str,
    title: str,
    alt: str,
) -> Drawing:
    """Draw one tile after each firing, a row for each scale.

    Parameters
    ----------
    settings : Settings
    columns : mapping of str to mapping of str to TileShown
        By what stands above the column ('firing 1'), then by what stands before the row ('Spread').
    name, title, alt : str
        Of the drawing.
    """
    rows = list(dict.fromkeys(row for column in columns.values() for row in column))
    room = max(text_width(row, _LETTERS) for row in rows) + 8
    mm = _SIDE / settings.blank.width_mm
    high = settings.blank.height_mm * mm
    marks = []
    for across, (heading, column) in enumerate(columns.items()):
        x = room + across * (_SIDE + _SPACE)
        marks.append(words(x + _SIDE / 2, 12, heading, _LETTERS, "middle"))
        for row, tile in column.items():
            y = _HEADING + rows.index(row) * (high + _SPACE)
            marks.append(_tile(settings, tile, x, y, mm))
    for down, row in enumerate(rows):
        marks.append(words(0, _HEADING + down * (high + _SPACE) + high / 2 + 4, row, _LETTERS))
    width = room + len(columns) * (_SIDE + _SPACE)
    height = _HEADING + len(rows) * (high + _SPACE)
    return Drawing(name, title, alt, width, height, "".join(marks))


def tiles_as_planned(
    settings: Settings, tiles: Sequence[TileShown], name: str, title: str, alt: str, across: int = 3
) -> Drawing:
    """Draw tiles before anything is fired: numbered patches, their overlays listed beside them."""
    mm = _SIDE / settings.blank.width_mm
    line = 15.0
    high = max(
        settings.blank.height_mm * mm, max((len(t.overlays) for t in tiles), default=0) * line
    )
    wide = _SIDE + 8 + _LIST_ROOM + _SPACE
    marks = []
    for count, tile in enumerate(tiles):
        x, y = count % across * wide, count // across * (high + _HEADING + _SPACE)
        heading = fitted_text(tile.heading, wide - _SPACE, _LETTERS)
        marks.append(words(x, y + 12, heading, _LETTERS, weight="600"))
        marks.append(_tile(settings, tile, x, y + _HEADING, mm))
        for row, (position, overlay) in enumerate(sorted(tile.overlays.items())):
            said = fitted_text(f"{position} {overlay}", _LIST_ROOM, _LETTERS)
            marks.append(words(x + _SIDE + 8, y + _HEADING + 11 + row * line, said, _LETTERS))
    rows = -(-len(tiles) // across)
    width = wide * min(across, max(1, len(tiles)))
    return Drawing(name, title, alt, width, rows * (high + _HEADING + _SPACE), "".join(marks))


@dataclass(frozen=True)
class _TilePlaces:
    """Where the tiles of a sheet lie."""

    settings: Settings
    across: int

    @property
    def mm(self) -> float:
        return _SIDE / self.settings.blank.width_mm

    @property
    def width(self) -> float:
        return self.across * (_SIDE + _SPACE)

    @property
    def _down(self) -> float:
        return self.settings.blank.height_mm * self.mm + _HEADING + _SPACE

    def corner(self, count: int) -> tuple[float, float]:
        x, y = count % self.across, count // self.across
        return x * (_SIDE + _SPACE), y * self._down + _HEADING

    def height(self, count: int) -> float:
        return -(-count // self.across) * self._down


def _tile(settings: Settings, tile: TileShown, x: float, y: float, mm: float) -> str:
    """Draw a tile with its top left corner at (x, y), `mm` units to a mm."""
    heading = []
    if tile.heading and not tile.overlays:
        heading.append(words(x, y - 5, fitted_text(tile.heading, _SIDE, _LETTERS), _LETTERS))
    patches = [
        _patch(settings, tile, place.number, x + place.x_mm * mm, y + place.y_mm * mm, mm)
        for place in places_on_tile(settings, tile.stripes)
    ]
    shapes, numbers = zip(*patches, strict=True) if patches else ((), ())
    size = _digits(settings, tile, mm)
    return group(
        [
            *heading,
            _outline(settings, x, y, mm),
            group(shapes, stroke=INK, stroke_width=0.8),
            group(numbers, font_size=size, text_anchor="middle", fill=INK),
        ]
    )


def _digits(settings: Settings, tile: TileShown, mm: float) -> float:
    """Size of the number on a patch."""
    return min(13.0, max(9.0, 0.62 * stencil_on(settings, tile.stripes).size_mm * mm))


def _outline(settings: Settings, x: float, y: float, mm: float) -> str:
    blank = settings.blank
    wide, high = blank.width_mm * mm, blank.height_mm * mm
    look: dict[str, Any] = {"fill": TILE_GROUND, "stroke": QUIET, "stroke_width": 0.8}
    if blank.shape == "round":
        return element("circle", cx=x + wide / 2, cy=y + wide / 2, r=wide / 2, **look)
    return element("rect", x=x, y=y, width=wide, height=high, rx=2, **look)


def _patch(
    settings: Settings, tile: TileShown, position: int, x: float, y: float, mm: float
) -> tuple[str, str]:
    """Draw a patch, and the number on it; what most have is written on their groups."""
    value = tile.grades.get(position)
    fill = PAPER if value is None else grade_colour(value)
    planned = position in tile.overlays
    dashed = (value is None and not planned) or position in tile.lost
    stencil = stencil_on(settings, tile.stripes)
    wide, high = stencil.size_mm * mm, stencil.height_mm * mm
    look: dict[str, Any] = {
        "fill": fill, "stroke": QUIET if dashed else None,
        "stroke_dasharray": "2.5 2" if dashed else None,
    }  # fmt: skip
    if stencil.shape == "disc":
        shape = element("circle", cx=x, cy=y, r=wide / 2, **look)
    else:
        shape = element("rect", x=x - wide / 2, y=y - high / 2, width=wide, height=high, **look)
    said = grade_said(value) if value is not None else str(position) if planned else ""
    if not said:
        return shape, ""
    ink = ink_on(fill)
    below = y + 0.36 * _digits(settings, tile, mm)
    number = element("text", escape(said), x=x, y=below, fill=None if ink == INK else ink)
    return shape, number


def _grade_key(scale: Scale, top: float, width: float) -> tuple[list[str], float]:
    marks, x, y = [], 0.0, top
    for step, (said, colour) in enumerate(zip(short_steps(scale), GRADE_COLOURS, strict=True)):
        takes = _KEY_BOX + 4 + text_width(said, _LETTERS)
        if x and x + takes > width:
            x, y = 0.0, y + _KEY_LINE
        marks.append(
            element(
                "rect", x=x + 0.5, y=y, width=_KEY_BOX, height=_KEY_BOX, fill=colour, stroke=HAIR,
                data_step=step,
            )
        )  # fmt: skip
        marks.append(words(x + _KEY_BOX + 4, y + 10, said, _LETTERS))
        x += takes + 12
    return marks, y + _KEY_LINE


def short_steps(scale: Scale) -> list[str]:
    """Steps of a scale as '2 blurred': the number and the words up to the colon."""
    return [f"{step} {said.split(':')[0]}" for step, said in enumerate(scale.steps)]


_ROW, _COLUMN, _LETTERS, _TOP, _MOST_ROOM = 18.0, 62.0, 11.0, 22.0, 150.0


@dataclass(frozen=True)
class Trip:
    """One trip of one tile through the heat.

    Parameters
    ----------
    tile : str
        As its row is headed.
    session : int
    firing : int
        Which of its firings it was; 0 for base coats.
    accident : str
        What went wrong; blank when nothing did.
    """

    tile: str
    session: int
    firing: int
    accident: str = ""


def firing_timeline(trips: Sequence[Trip], name: str = "timeline") -> Drawing:
    """Draw the firings: a dot with the number of the firing, a cross for an accident.

    Parameters
    ----------
    trips : sequence of Trip
        At least one; rows stand in the order in which tiles first come.
    """
    tiles = list(dict.fromkeys(trip.tile for trip in trips))
    sessions = sorted({trip.session for trip in trips})
    short = fitted_names(tiles, _MOST_ROOM, _LETTERS)
    left = max(text_width(said, _LETTERS) for said in short.values()) + 10
    in_session: dict[tuple[str, int], list[Trip]] = {}
    for trip in trips:
        in_session.setdefault((trip.tile, trip.session), []).append(trip)
    most = max(map(len, in_session.values()))
    column = max(_COLUMN, most * 17 + 12.0)
    width, height = left + column * len(sessions), _TOP + _ROW * len(tiles)
    marks = [
        words(left + (n + 0.5) * column, 12, f"session {session}", _LETTERS, "middle", QUIET,
              theme="quiet")
        for n, session in enumerate(sessions)
    ]  # fmt: skip
    for row, tile in enumerate(tiles):
        y = _TOP + row * _ROW + _ROW / 2
        marks.append(words(0, y + 4, short[tile], _LETTERS))
        marks.append(
            element("path", d=f"M{left:.1f} {y:.1f}H{width:.1f}", stroke=HAIR, class_="hair")
        )
        for n, session in enumerate(sessions):
            here = in_session.get((tile, session), [])
            start = left + (n + 0.5) * column - (len(here) - 1) * 8.5
            marks += [_mark(trip, start + place * 17, y) for place, trip in enumerate(here)]
    spoiled = sum(bool(trip.accident) for trip in trips)
    gone = f"; {counted(spoiled, 'accident')}" if spoiled else "; nothing was spoiled"
    title = (
        f"{counted(len(tiles), 'tile')} went through the heat {counted(len(trips), 'time')} in "
        f"{counted(len(sessions), 'session')}{gone}"
    )
    alt = "A row for each tile, a column for each session, a numbered dot for each firing."
    note = "The number is the tile's firing; 0 is its base coats. A cross: an accident."
    return Drawing(name, title, alt, width + 4, height + 2, "".join(marks), note)


def _mark(trip: Trip, x: float, y: float) -> str:
    if trip.accident:
        ends = f"M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10"
        return element("path", d=ends, stroke="#a8433a", stroke_width=2.4, fill="none")
    dot = element("circle", cx=x, cy=y, r=7.5, fill=INK, class_="ink")
    return dot + words(x, y + 3.6, str(trip.firing), 10, "middle", "#ffffff", theme="paper")
