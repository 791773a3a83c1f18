"""The pair chart: every base by every overlay, and how many firings each keeps a fine edge through.

A cell says one thing in the middle, in lettering that can be read: the number of firings, or the
sign of what comes instead. The strip at its foot has a field for each firing count. The chart of
one firing count has the sign of each verdict over its chance.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pandas as pd

from kit.drawing.chart_layout import NAMES, ChartLayout, chart_layouts
from kit.drawing.svg import (
    HAIR,
    INK,
    PAPER,
    Drawing,
    element,
    group,
    ink_on,
    mixed,
    number,
    text_width,
    words,
)
from kit.model import LEANINGS, LOOKS, NOT_KNOWN, Look, look, shown_chance, through
from kit.series import FAMILIES
from kit.wording import counted, listed, whole_percent

_GROUND, _STRIP, _FRAME = range(3)
_PALE = 0.30
_FAINTEST = 0.55
_KEY_LINE, _KEY_SIGN, _KEY_GAP, _KEY_WIDTH = 19.0, 13.0, 14.0, 320.0


def pair_charts(
    pairs: pd.DataFrame, colours: pd.DataFrame, name: str = "pair-chart"
) -> tuple[Drawing, ...]:
    """Draw through how many firings each pair keeps a fine edge, or what comes instead.

    Parameters
    ----------
    pairs : DataFrame
        As `kit.model.pair_table` gives it: a row for each pair and firing count.
    colours : DataFrame
        Columns colour, family; the order of colours within a family is kept.
    name : str
        Of the drawing; of its further parts with a number.

    Returns
    -------
    tuple of Drawing
        One; several when the colours do not fit on one at a size that can be read.
    """
    told = through(pairs)
    kept = dict(zip(zip(told["base"], told["overlay"], strict=True), told["through"], strict=True))
    return tuple(
        _through_chart(here, layout, _numbered(name, part), kept)
        for part, (here, layout) in enumerate(_divided(pairs, colours), start=1)
    )


def chance_charts(pairs: pd.DataFrame, colours: pd.DataFrame, firings: int) -> tuple[Drawing, ...]:
    """Draw the verdicts at one firing count, each sign over its chance in a hundred."""
    at_count = pairs[pairs["firings"] == firings]
    at_count = at_count.assign(chance=shown_chance(at_count))
    return tuple(
        _chance_chart(here, layout, _numbered(f"chances-{firings}", part), firings)
        for part, (here, layout) in enumerate(_divided(at_count, colours), start=1)
    )


def layouts_of(pairs: pd.DataFrame, colours: pd.DataFrame) -> list[ChartLayout]:
    """Lay out the charts of a pair table, in the order in which they are drawn."""
    named = set(pairs["base"]) | set(pairs["overlay"])
    used = colours[colours["colour"].isin(named)]
    return chart_layouts({f: list(used.loc[used["family"] == f, "colour"]) for f in FAMILIES})


def _divided(
    pairs: pd.DataFrame, colours: pd.DataFrame
) -> Iterator[tuple[pd.DataFrame, ChartLayout]]:
    ordered = pairs.sort_values("firings", kind="stable")
    for layout in layouts_of(pairs, colours):
        inside = ordered["base"].isin(layout.down) & ordered["overlay"].isin(layout.across)
        if inside.any():
            yield ordered[inside], layout


def _numbered(name: str, part: int) -> str:
    return name if part == 1 else f"{name}-{part}"


class _Cells:
    """Marks of many cells, gathered by how they look: one element for each look."""

    def __init__(self, name: str, cell: float) -> None:
        self.name, self.cell = name, cell
        self.boxes: dict[tuple[int, tuple[tuple[str, str], ...]], list[str]] = defaultdict(list)
        self.letters: dict[tuple[str, float], list[str]] = defaultdict(list)
        self.signs: dict[Look, list[tuple[float, float]]] = defaultdict(list)

    def box(
        self, layer: int, x: float, y: float, wide: float, high: float, **attributes: str
    ) -> None:
        """Add a box, given by its top left corner; those of a higher layer lie above."""
        path = f"M{number(x)} {number(y)}h{number(wide)}v{number(high)}h-{number(wide)}z"
        self.boxes[layer, tuple(sorted(attributes.items()))].append(path)

    def digits(self, x: float, y: float, text: object, size: float, ink: str) -> None:
        """Add digits about x, with their baseline at y."""
        self.letters[ink, size].append(f'<text x="{number(x)}" y="{number(y)}">{text}</text>')

    def sign(self, x: float, y: float, row: Any) -> None:
        """Add the sign of a verdict, or of the ending that a pair leans to, about (x, y)."""
        self.signs[look(row.verdict, row.leans_to)].append((x, y))

    def marks(self, sign_size: float) -> Iterator[str]:
        """Write everything: boxes layer by layer, then the rest."""
        for (_, attributes), paths in sorted(self.boxes.items()):
            yield element("path", d="".join(paths), **dict(attributes))
        for shown, places in self.signs.items():
            mark = f"{self.name}-{shown.sign.replace(' ', '-')}"
            yield element("defs", element("g", sign(shown, 0, 0, sign_size), id=mark))
            yield group(
                f'<use href="#{mark}" x="{number(x - sign_size / 2)}" '
                f'y="{number(y - sign_size / 2)}"/>'
                for x, y in places
            )
        for (ink, size), texts in self.letters.items():
            yield group(texts, font_size=size, fill=ink, text_anchor="middle", font_weight=700)


def sign(shown: Look, x: float, y: float, size: float) -> str:
    """Draw a verdict's sign with its top left corner at (x, y).

    That of a verdict has the ink that shows on its colour; that of a leaning its colour.
    """
    known = shown in LOOKS.values()
    return element(
        "path", d=shown.path,
        transform=f"translate({number(x)} {number(y)})scale({number(size)})",
        fill=ink_on(shown.colour) if known else shown.colour, fill_rule="evenodd",
    )  # fmt: skip


def sign_symbols() -> str:
    """Define the sign of every verdict and leaning once for a page, in its own colour."""
    symbols = "".join(
        element(
            "symbol",
            element("path", d=shown.path, fill=shown.colour, fill_rule="evenodd"),
            id=f"sign-{shown.sign.replace(' ', '-')}",
            viewBox="0 0 1 1",
        )
        for shown in (*LOOKS.values(), *LEANINGS.values())
    )
    return f'<svg hidden="hidden" width="0" height="0">{symbols}</svg>'


def sign_element(shown: Look) -> str:
    """Give a verdict's sign as an element of a line of text; `sign_symbols` defines it."""
    return f'<svg class="sign"><use href="#sign-{shown.sign.replace(" ", "-")}"/></svg>'


def _through_chart(
    pairs: pd.DataFrame, layout: ChartLayout, name: str, kept: Mapping[tuple[str, str], int]
) -> Drawing:
    cells, most = _Cells(name, layout.cell), int(pairs["firings"].max())
    for (base, overlay), rows in _by_pair(pairs):
        place = layout.across[overlay], layout.down[base]
        _through_cell(cells, *place, rows, kept[base, overlay] / most, kept[base, overlay])
    return _finished(
        layout, cells, 0.43, Drawing(name, chart_finding(pairs, kept), _told(pairs), 0, 0, ""),
        _through_note(pairs),
    )  # fmt: skip


def _through_cell(
    cells: _Cells, x: float, y: float, rows: Sequence[Any], share: float, reached: int
) -> None:
    side, strip = layout_side(cells.cell), cells.cell * 0.22
    first = rows[0]
    strip = strip if len(rows) > 1 else 0
    colour = LOOKS[first.verdict].colour
    if reached:
        colour = mixed(colour, PAPER, _FAINTEST + (1 - _FAINTEST) * share)
    _ground(cells, x, y, first, colour)
    middle = x + cells.cell / 2, y + (cells.cell - strip) / 2
    if reached:
        size = cells.cell * 0.58
        cells.digits(middle[0], middle[1] + size * 0.37, reached, size, ink_on(colour))
    else:
        cells.sign(*middle, first)
    for count, row in enumerate(rows if strip else ()):
        wide = side / len(rows)
        left, top = x + 1.5 + count * wide, y + cells.cell - 1.5 - strip
        cells.box(
            _STRIP, left, top, wide, strip, fill=_field(row), stroke=PAPER, stroke_width="0.8"
        )
    _frame(cells, x, y, any(row.patches > 0 for row in rows))


def _chance_chart(pairs: pd.DataFrame, layout: ChartLayout, name: str, firings: int) -> Drawing:
    cells = _Cells(name, layout.cell)
    size = max(NAMES, layout.cell * 0.42)
    for (base, overlay), (row,) in _by_pair(pairs):
        x, y = layout.across[overlay], layout.down[base]
        colour = LOOKS[row.verdict].colour
        _ground(cells, x, y, row, colour)
        middle = x + layout.cell / 2
        cells.sign(middle, y + layout.cell * 0.27, row)
        ink = ink_on(colour) if row.verdict != NOT_KNOWN else INK
        cells.digits(middle, y + layout.cell - 2.6, whole_percent(row.chance), size, ink)
        _frame(cells, x, y, row.patches > 0)
    after = counted(firings, "firing")
    blank = Drawing(name, verdict_finding(pairs, after), _told(pairs), 0, 0, "")
    note = (
        f"After {after}. The number is the chance, in a hundred, of the verdict whose sign stands "
        "above it; a sign in outline: not known yet, and it leans that way."
    )
    return _finished(layout, cells, 0.30, blank, note)


def _by_pair(pairs: pd.DataFrame) -> Iterator[tuple[tuple[str, str], list[Any]]]:
    found: dict[tuple[str, str], list[Any]] = defaultdict(list)
    for row in pairs.itertuples():
        found[row.base, row.overlay].append(row)
    yield from found.items()


def layout_side(cell: float) -> float:
    """Side of the square within a cell."""
    return cell - 3


def _ground(cells: _Cells, x: float, y: float, row: Any, colour: str) -> None:
    side = layout_side(cells.cell)
    if row.verdict == NOT_KNOWN:
        cells.box(_GROUND, x + 1.5, y + 1.5, side, side, fill=PAPER, class_="paper")
    else:
        cells.box(_GROUND, x + 1.5, y + 1.5, side, side, fill=colour)


def _frame(cells: _Cells, x: float, y: float, fired: bool) -> None:
    side = layout_side(cells.cell)
    edge = {"stroke": INK, "stroke_width": "1.6", "class_": "line"} if fired else {
        "stroke": HAIR, "stroke_width": "0.6", "class_": "hair"
    }  # fmt: skip
    cells.box(_FRAME, x + 1.5, y + 1.5, side, side, fill="none", **edge)


def _field(row: Any) -> str:
    shown = look(row.verdict, row.leans_to)
    known = row.verdict != NOT_KNOWN
    return shown.colour if known else mixed(shown.colour, PAPER, _PALE)


def _finished(
    layout: ChartLayout, cells: _Cells, sign_share: float, blank: Drawing, note: str

) -> Drawing:  # fmt: skip
    width = max(layout.width, _KEY_WIDTH)
    key, high = _key(layout.height + 8, width)
    marks = [
        layout.ground(),
        group(cells.marks(cells.cell * sign_share), class_="cells"),
        group([layout.base_names()], class_="names"),
        group(key, class_="key"),
    ]
    return Drawing(blank.name, blank.title, blank.alt, width, high, "".join(marks), note)


def _key(top: float, width: float) -> tuple[list[str], float]:
    """Draw the key, line by line: a square for each verdict, three for what leans."""
    marks: list[str] = []
    x, y = 0.0, top
    entries: list[tuple[str, tuple[Look, ...]]]
    entries = [(one.label, (one,)) for verdict, one in LOOKS.items() if verdict != NOT_KNOWN]
    entries.append((f"{NOT_KNOWN}: leans so", tuple(LEANINGS.values())))
    for said, signs in entries:
        squares = len(signs) * (_KEY_SIGN + 2)
        takes = squares + 3 + text_width(said, NAMES)
        if x and x + takes > width:
            x, y = 0.0, y + _KEY_LINE
        for count, shown in enumerate(signs):
            marks += _key_square(shown, x + count * (_KEY_SIGN + 2) + 0.5, y)
        marks.append(words(x + squares + 3, y + 11, said, NAMES))
        x += takes + _KEY_GAP
    return marks, y + _KEY_LINE


def _key_square(shown: Look, x: float, y: float) -> Iterator[str]:
    known = shown in LOOKS.values()
    fill, edge, theme = (shown.colour, shown.colour, None) if known else (PAPER, HAIR, "paper")
    yield element(
        "rect", x=x, y=y, width=_KEY_SIGN, height=_KEY_SIGN, fill=fill, stroke=edge, class_=theme
    )
    yield sign(shown, x + 2.5, y + 2.5, _KEY_SIGN - 5)


def chart_finding(pairs: pd.DataFrame, kept: Mapping[tuple[str, str], int]) -> str:
    """Say what a chart shows: how many pairs keep a fine edge, and through how many firings."""
    shown = pairs[["base", "overlay"]].drop_duplicates()
    reached = pd.Series([kept[pair] for pair in shown.itertuples(index=False, name=None)])
    total = counted(len(reached), "pair")
    held = reached[reached > 0]
    if held.empty:
        return f"None of the {total} is sure to keep a fine edge, even through one firing"
    counts = held.value_counts().sort_index(ascending=False)
    parts = [f"{n} through {counted(int(firings), 'firing')}" for firings, n in counts.items()]
    keep = "keeps" if len(held) == 1 else "keep"
    return f"Of {total}, {len(held)} {keep} a fine edge: {listed(parts)}"


def verdict_finding(pairs: pd.DataFrame, after: str) -> str:
    """Say how many pairs have each verdict at one firing count."""
    counts = pairs["verdict"].value_counts()
    parts = [f"{LOOKS[v].label} {counts[v]}" for v in LOOKS if v in counts]
    return f"After {after}, of {counted(len(pairs), 'pair')}: {listed(parts)}"


def _told(pairs: pd.DataFrame) -> str:
    sentences = [
        f"{verdict_finding(of_count, counted(int(firings), 'firing'))}."
        for firings, of_count in pairs.groupby("firings")
    ]
    fired = pairs.loc[pairs["patches"] > 0, ["base", "overlay"]].drop_duplicates()
    opening = "Chart of bases, one a row, by overlays, one a column."
    return f"{opening} {' '.join(sentences)} Fired: {counted(len(fired), 'pair')}."


def _through_note(pairs: pd.DataFrame) -> str:
    counts = sorted({int(count) for count in pairs["firings"]})
    strip = (
        f" The strip at its foot has a field for each firing count, {counts[0]} to {counts[-1]}."
        if len(counts) > 1
        else ""
    )
    return (
        "Find the base at the left and the overlay at the top. A number: a fine edge through so "
        f"many firings. A sign: what comes instead.{strip} Bold frame: fired and graded. Thin "
        "frame: expected, from what its two colours did in other pairs."
    )
