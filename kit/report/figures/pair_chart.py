"""The pair chart: every base by every overlay, verdict and certainty in one mark."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PatchCollection
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from matplotlib.legend_handler import HandlerTuple
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.path import Path

from kit.model import BROKEN_THROUGH, FINE_EDGE, NOT_KNOWN, SOFT_EDGE
from kit.report.page.picture import Picture
from kit.report.page.style import HAIR, INK, PAPER, QUIET, WIDTH_IN, drawn_with, ink_on
from kit.report.page.verdict_looks import LOOKS, leanings
from kit.series import FAMILIES
from kit.wording import counted, listed, whole_percent

_GAP = 0.35
_KEY_IN = 0.66
_LETTER_IN = 0.085
_FAMILY_IN = 0.3
_RIM_IN = 0.05
_CORNER = Path([(0, 0), (1, 1), (0, 1), (0, 0)], closed=True)
_SMALLEST, _LARGEST = 0.3, 0.8
_LEG = 0.2
_LEAST_POINTS = 4.8
_EVEN_CHANCE = 1 / 3


@drawn_with()
def pair_chart(pairs: pd.DataFrame, colours: pd.DataFrame) -> Picture:
    """Draw the pair chart.

    Parameters
    ----------
    pairs : DataFrame
        As `kit.model.pair_table` gives it.
    colours : DataFrame
        Columns colour, family; the order of colours within a family is kept.
    """
    judged = leanings(pairs)
    names = set(judged["base"]) | set(judged["overlay"])
    used = colours[colours["colour"].isin(names)]
    groups = [list(used.loc[used["family"] == family, "colour"]) for family in FAMILIES]
    place = _places(groups)
    extent = max(place.values()) + 1
    letters_in = 0.12 + _LETTER_IN * max(map(len, place))
    before_in = letters_in + _FAMILY_IN
    cell_in = min(0.46, max(0.2, (WIDTH_IN - before_in - _RIM_IN) / extent))
    side = extent * cell_in
    width = max(WIDTH_IN, before_in + side + _RIM_IN)
    height = before_in + side + _RIM_IN + _KEY_IN
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes(
        (before_in / width, (_KEY_IN + _RIM_IN) / height, side / width, side / height)
    )
    _lay_out(axes, place, groups, extent, cell_in)
    _draw_cells(axes, judged, place, cell_in)
    _name_families(axes, groups, place, letters_in / cell_in)
    _draw_key(figure)
    return Picture(
        "pair-chart",
        _finding(judged),
        _told(judged),
        figure,
        note="Find the base at the left and the overlay at the top. The larger the square, the "
        "surer the verdict, and the number is its chance in a hundred; a pale square without a "
        "sign only leans that way. A dark corner: fired.",
    )


def _places(groups: Sequence[Sequence[str]]) -> dict[str, float]:
    place: dict[str, float] = {}
    start = 0.0
    for group in groups:
        place |= {colour: start + n for n, colour in enumerate(group)}
        start += len(group) + (_GAP if group else 0)
    return place


def _lay_out(
    axes: Axes,
    place: dict[str, float],
    groups: Sequence[Sequence[str]],
    extent: float,
    cell_in: float,
) -> None:
    axes.set_xlim(0, extent)
    axes.set_ylim(extent, 0)
    points = min(9.0, cell_in * 46)
    middles = [at + 0.5 for at in place.values()]
    axes.set_xticks(middles, list(place), rotation=90, fontsize=points)
    axes.set_yticks(middles, list(place), fontsize=points)
    axes.tick_params(length=0, pad=3, top=False, labeltop=True, bottom=False, labelbottom=False)
    axes.spines[:].set_visible(False)
    blocks = [
        Rectangle((place[across[0]], place[down[0]]), len(across), len(down))
        for down in groups
        for across in groups
        if down and across
    ]
    axes.add_collection(PatchCollection(blocks, facecolor="#f7f5f2", edgecolor=HAIR, linewidth=0.8))


def _draw_cells(axes: Axes, judged: pd.DataFrame, place: dict[str, float], cell_in: float) -> None:
    squares, fills, edges, corners = [], [], [], []
    for row in judged.itertuples():
        x, y = place[row.overlay], place[row.base]
        colour = LOOKS[row.leaning].colour
        known = row.verdict != NOT_KNOWN
        side = side_of(round(row.sureness, 4))
        squares.append(Rectangle((x + (1 - side) / 2, y + (1 - side) / 2), side, side))
        fills.append(to_rgb(colour) if known else _pale(colour))
        edges.append(to_rgb(INK) if known else to_rgb(colour))
        if row.patches > 0:
            corners.append(Polygon([(x, y), (x + _LEG, y), (x, y + _LEG)]))
    axes.add_collection(
        PatchCollection(squares, facecolors=fills, edgecolors=edges, linewidth=0.6, zorder=3)
    )
    axes.add_collection(PatchCollection(corners, facecolor=INK, linewidth=0, zorder=5))
    points = cell_in * 72 * 0.31
    if points >= _LEAST_POINTS:
        _write_chances(axes, judged, place, points)
    raised = 0.36 if points >= _LEAST_POINTS else 0.5
    for verdict, look in LOOKS.items():
        of_kind = judged[judged["verdict"] == verdict]
        if look.marker is not None and len(of_kind):
            axes.scatter(
                [place[overlay] + 0.5 for overlay in of_kind["overlay"]],
                [place[base] + raised for base in of_kind["base"]],
                marker=look.marker,
                s=(cell_in * 72 * (0.36 if raised == 0.5 else 0.25)) ** 2,
                color=PAPER if verdict != BROKEN_THROUGH else INK,
                linewidth=1.2 if verdict == SOFT_EDGE else 0,
                zorder=6,
            )


def _write_chances(
    axes: Axes, judged: pd.DataFrame, place: dict[str, float], points: float
) -> None:
    """Write the chance into each cell, under the sign where there is one."""
    for row in judged.itertuples():
        known = row.verdict != NOT_KNOWN
        axes.text(
            place[row.overlay] + 0.5, place[row.base] + (0.69 if known else 0.5),
            str(whole_percent(row.sureness)), fontsize=points, ha="center", va="center_baseline",
            color=ink_on(LOOKS[row.leaning].colour) if known else INK, zorder=6,
        )  # fmt: skip


def side_of(sureness: float) -> float:
    """Side of a square whose area grows with certainty, from an even chance of three."""
    share = np.clip((sureness - _EVEN_CHANCE) / (1 - _EVEN_CHANCE), 0, 1)
    return float(np.sqrt(_SMALLEST**2 + share * (_LARGEST**2 - _SMALLEST**2)))


def _pale(colour: str) -> tuple[float, float, float]:
    red, green, blue = (0.72 + 0.28 * channel for channel in to_rgb(colour))
    return red, green, blue


def _name_families(
    axes: Axes, groups: Sequence[Sequence[str]], place: dict[str, float], beyond: float
) -> None:
    style: dict[str, Any] = {"fontsize": 9, "color": QUIET}
    line: dict[str, Any] = {"color": QUIET, "linewidth": 1, "clip_on": False}
    for group, family in zip(groups, FAMILIES, strict=True):
        if not group:
            continue
        start, end = place[group[0]] + 0.1, place[group[-1]] + 0.9
        middle, off = (start + end) / 2, beyond * 1.04
        axes.text(middle, -off, f"{family} overlay", va="bottom", ha="center", **style)
        axes.text(-off, middle, f"{family} base", va="center", ha="right", rotation=90, **style)
        axes.plot([start, end], [-beyond] * 2, **line)
        axes.plot([-beyond] * 2, [start, end], **line)


def _draw_key(figure: Figure) -> None:
    square: dict[str, Any] = {"linestyle": "none", "marker": "s", "markersize": 11, "color": INK}
    entries: list[Any] = []
    for verdict in (FINE_EDGE, BROKEN_THROUGH, SOFT_EDGE):
        look = LOOKS[verdict]
        ink = INK if verdict == BROKEN_THROUGH else PAPER
        mark: dict[str, Any] = {
            "linestyle": "none",
            "marker": look.marker,
            "markersize": 6,
            "color": ink,
        }
        entries.append(
            (Line2D([], [], markerfacecolor=look.colour, **square), Line2D([], [], **mark))
        )
    small: dict[str, Any] = {"linestyle": "none", "marker": "s", "markersize": 6}
    unsure: Any = tuple(
        Line2D(
            [], [], color=LOOKS[v].colour, markerfacecolor=to_hex(_pale(LOOKS[v].colour)), **small
        )
        for v in (FINE_EDGE, BROKEN_THROUGH, SOFT_EDGE)
    )
    handlers: dict[Any, Any] = {tuple: HandlerTuple(ndivide=1), unsure: HandlerTuple(ndivide=3)}
    fired = Line2D([], [], linestyle="none", marker=_CORNER, markersize=7, color=INK)
    figure.legend(
        [*entries, fired, unsure],
        [FINE_EDGE, BROKEN_THROUGH, SOFT_EDGE, "has been fired", f"{NOT_KNOWN}: leans so"],
        loc="lower left",
        ncols=2,
        bbox_to_anchor=(0, 0),
        handler_map=handlers,
        handlelength=1.1,
        borderaxespad=0,
    )


def _finding(judged: pd.DataFrame) -> str:
    counts = judged["verdict"].value_counts()
    known = {v: int(counts.get(v, 0)) for v in LOOKS}
    total = counted(len(judged), "pair")
    if known[NOT_KNOWN] == len(judged):
        return f"None of the {total} can be judged yet"
    parts = [counted(known[v], *words) for v, words in _SAID.items() if known[v]]
    return f"Of {total}, {listed(parts[:-1])}; {parts[-1]}" if known[NOT_KNOWN] else (
        f"Of {total}, {listed(parts)}"
    )  # fmt: skip


_SAID = {
    FINE_EDGE: ("holds a fine edge", "hold a fine edge"),
    BROKEN_THROUGH: ("suits broken effects only", "suit broken effects only"),
    SOFT_EDGE: ("is better avoided", "are better avoided"),
    NOT_KNOWN: ("is not known yet", "are not known yet"),
}


def _told(judged: pd.DataFrame) -> str:
    parts = []
    for verdict in LOOKS:
        of_kind = judged[judged["verdict"] == verdict]
        by_family = (of_kind["overlay_family"] + " over " + of_kind["base_family"]).value_counts()
        within = listed([f"{count} {families}" for families, count in by_family.items()])
        if len(of_kind):
            parts.append(f"{verdict}: {len(of_kind)} ({within})")
    fired = int((judged["patches"] > 0).sum())
    return f"Chart of bases by overlays. {'; '.join(parts)}. Fired: {counted(fired, 'pair')}."
