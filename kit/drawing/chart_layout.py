"""Where the cells of a pair chart lie: one chart when the colours fit, several when they do not."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from kit.drawing.svg import (
    HAIR,
    PAPER,
    QUIET,
    element,
    fitted_names,
    number,
    text_width,
    words,
)

NAMES = 11.0
"""Size of the names, and the least size of a digit: 11 px on a phone, 9 pt on paper."""

_CELL, _LARGEST_CELL, _PHONE = 19.5, 40.0, 338.0
_LEAST_ROOM, _MOST_ROOM = 44.0, 118.0
_ROW_GAP, _COLUMN_GAP = 19.0, 5.0
_RIM = 5.0
_MOST_ACROSS, _MOST_DOWN = 24, 34
"""More colours than these are drawn in several charts, so that digits keep their size on paper."""


@dataclass(frozen=True)
class ChartLayout:
    """Places of the rows and columns of one chart.

    Parameters
    ----------
    bases, overlays : mapping of str to tuple of str
        Colours by family.
    cell : float
        Side of a cell.
    down, across : mapping of str to float
        Top of each base's row and left of each overlay's column.
    left, top : float
        Room of the names.
    """

    bases: Mapping[str, tuple[str, ...]]
    overlays: Mapping[str, tuple[str, ...]]
    cell: float
    down: Mapping[str, float]
    across: Mapping[str, float]
    left: float
    top: float

    @property
    def width(self) -> float:
        """Width that the cells and names take."""
        return max(self.across.values()) + self.cell + 2

    @property
    def height(self) -> float:
        """Height that the cells and names take."""
        return max(self.down.values()) + self.cell + 2

    def ground(self) -> str:
        """Draw the frames of the blocks of families, and the names of the overlays."""
        return "".join([*self._frames(), *self._overlay_names()])

    def base_names(self) -> str:
        """Draw the names of the bases, on a ground that cells may be moved behind."""
        return "".join(self._base_names())

    def _frames(self) -> Iterator[str]:
        for below in self.bases.values():
            for right in self.overlays.values():
                yield element(
                    "rect", x=self.across[right[0]], y=self.down[below[0]],
                    width=self.cell * len(right), height=self.cell * len(below), fill="none",
                    stroke=HAIR, class_="hair",
                )  # fmt: skip

    def _overlay_names(self) -> Iterator[str]:
        for family, names in self.overlays.items():
            start, end = self.across[names[0]], self.across[names[-1]] + self.cell
            room = end - start + _COLUMN_GAP
            for said in (f"{family} overlay", family):
                if text_width(said, NAMES) <= room:
                    yield words(start, NAMES, said, NAMES, None, QUIET, "600", theme="quiet")
                    break
            line = f"M{number(start)} 15.5H{number(end)}"
            yield element("path", d=line, stroke=QUIET, class_="line")
            for name, short in fitted_names(names, self.top - 18 - _RIM, NAMES).items():
                middle = self.across[name] + self.cell / 2 + 4
                yield words(middle, self.top - 4, short, NAMES, turn=-90)

    def _base_names(self) -> Iterator[str]:
        top, bottom = min(self.down.values()), max(self.down.values()) + self.cell
        yield element(
            "rect", x=0, y=top - 18, width=self.left - 1, height=bottom - top + 20, fill=PAPER,
            class_="paper",
        )  # fmt: skip
        for family, names in self.bases.items():
            above = self.down[names[0]] - 5
            yield words(0, above, f"{family} base", NAMES, None, QUIET, "600", theme="quiet")
            for name, short in fitted_names(names, self.left - _RIM, NAMES).items():
                middle = self.down[name] + self.cell / 2 + 4
                yield words(self.left - 5, middle, short, NAMES, "end")


def chart_layouts(families: Mapping[str, Sequence[str]]) -> list[ChartLayout]:
    """Lay the colours out: in one chart if they fit, else by family, else in runs of a family.

    Parameters
    ----------
    families : mapping of str to sequence of str
        Colours by family, in the order in which they shall stand.
    """
    present = {family: tuple(names) for family, names in families.items() if names}
    total = sum(map(len, present.values()))
    across = [present] if total <= _MOST_ACROSS else _parts(present, _MOST_ACROSS)
    down = [present] if total <= _MOST_DOWN else _parts(present, _MOST_DOWN)
    return [_layout(bases, overlays) for bases in down for overlays in across]


def _layout(
    bases: Mapping[str, tuple[str, ...]], overlays: Mapping[str, tuple[str, ...]]
) -> ChartLayout:
    most = max(sum(map(len, bases.values())), sum(map(len, overlays.values())))
    heading = max(text_width(f"{family} base", NAMES) for family in bases)
    left = max(_room(bases), heading + 2)
    room = _PHONE - left - _COLUMN_GAP * (len(overlays) - 1)
    cell = min(_LARGEST_CELL, max(_CELL, room / most))
    top = 18 + _room(overlays)
    down = _places(bases, max(top, 34), cell, _ROW_GAP)
    across = _places(overlays, left, cell, _COLUMN_GAP)
    return ChartLayout(bases, overlays, cell, down, across, left, top)


def _room(families: Mapping[str, tuple[str, ...]]) -> float:
    longest = max(text_width(name, NAMES) for names in families.values() for name in names)
    return min(_MOST_ROOM, max(_LEAST_ROOM, longest)) + _RIM + 1


def _places(
    families: Mapping[str, tuple[str, ...]], start: float, cell: float, gap: float
) -> dict[str, float]:
    places = {}
    for count, names in enumerate(families.values()):
        start += gap if count else 0
        for name in names:
            places[name] = start
            start += cell
    return places


def _parts(families: Mapping[str, tuple[str, ...]], most: int) -> list[dict[str, tuple[str, ...]]]:
    parts = []
    for family, names in families.items():
        runs = -(-len(names) // most)
        size = -(-len(names) // runs)
        parts += [{family: names[at : at + size]} for at in range(0, len(names), size)]
    return parts
