"""When each tile was fired: a row for each tile, a column for each session at the heat."""

from collections.abc import Sequence
from dataclasses import dataclass

from kit.drawing.svg import HAIR, INK, QUIET, Drawing, element, fitted_names, text_width, words
from kit.wording import counted

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
