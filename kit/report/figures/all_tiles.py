"""Every tile after its last firing, to scale, on one picture."""

import math
from collections.abc import Collection

import pandas as pd
from matplotlib.figure import Figure

from kit.report.figures.tile_drawing import (
    PlacedTile,
    draw_tiles,
    grade_key,
    sheet,
    short_steps,
)
from kit.report.page.picture import Picture
from kit.report.page.style import WIDTH_IN, drawn_with
from kit.series import Scale, Settings
from kit.wording import counted, listed, mm_and_inches

_FEW = 24
_KEY_IN = 0.5
_PITCH = 1.08
_LABEL_IN = 0.27


@drawn_with()
def all_tiles(
    settings: Settings,
    scale: Scale,
    bases: pd.Series,
    last: pd.DataFrame,
    lost: Collection[str] = (),
) -> Picture:
    """Draw the tiles with each patch in the colour of its last grade.

    Parameters
    ----------
    settings : Settings
    scale : Scale
    bases : Series
        Base colour by tile number.
    last : DataFrame
        As `last_grades` gives it, for this scale.
    lost : collection of str
        Patches that were lost, whatever grades they got before.
    """
    columns = 4 if len(bases) <= _FEW else 6
    rows = math.ceil(len(bases) / columns)
    across = settings.blank.width_mm * _PITCH
    mm_in = WIDTH_IN / (across * columns)
    down = settings.blank.height_mm + _LABEL_IN / mm_in
    figure = Figure(figsize=(WIDTH_IN, rows * down * mm_in + _KEY_IN))
    axes = sheet(figure, across * columns, rows * down + 1)
    by_tile = dict(iter(last.groupby("tile")))
    tiles = []
    for n, (tile, base) in enumerate(bases.items()):
        x, y = across * (n % columns + (1 - 1 / _PITCH) / 2), down * (n // columns + 1)
        here = by_tile.get(tile, last.iloc[:0])
        grades = dict(zip(here["position"], here["grade"], strict=True))
        gone = frozenset(here.loc[here["patch"].isin(lost), "position"])
        tiles.append(PlacedTile(x, y - settings.blank.height_mm, grades, gone))
        label = _label(tile, str(base), columns)
        above = y - settings.blank.height_mm - 0.05 / mm_in
        axes.text(x, above, label, va="bottom", fontsize=8 if columns == 4 else 7)
    draw_tiles(axes, settings, tiles, figures_in_points=7.5 * across * mm_in)
    figure.legend(
        handles=grade_key(short_steps(scale.steps)),
        ncols=3,
        loc="lower left",
        bbox_to_anchor=(0, 0),
        borderaxespad=0,
        handlelength=1.2,
        columnspacing=1.2,
    )
    sound = last[~last["patch"].isin(lost)]
    return Picture(
        f"tiles-{scale.name.replace('_', '-')}",
        _finding(scale, sound),
        _told(scale, sound),
        figure,
        note=f"{scale.title} after the last firing; the number is the middle grade of all graders. "
        "Dashed: lost (the number is its last grade before) or never graded. Drawn to scale: each "
        f"blank is {mm_and_inches(settings.blank.width_mm)} wide.",
    )


def _label(tile: int, base: str, columns: int) -> str:
    room = 15 if columns == 4 else 9
    return f"{tile} {base if len(base) <= room else base[: room - 1] + '…'}"


def _finding(scale: Scale, last: pd.DataFrame) -> str:
    if last.empty:
        return f"{scale.title}: no patch came through to its last grade"
    calm = int((last["grade"] <= 1).sum())
    wild = int((last["grade"] >= 3).sum())
    return (
        f"{scale.title}: of {counted(len(last), 'patch', 'patches')}, {calm} ended at grade 0 or 1 "
        f"and {wild} at 3 or 4"
    )


def _told(scale: Scale, last: pd.DataFrame) -> str:
    if last.empty:
        return "No patch that came through has been graded."
    steps = last["grade"].round().value_counts().sort_index()
    parts = [f"{count} at grade {grade:.0f}" for grade, count in steps.items()]
    return f"{scale.title} of every patch after its last firing: {listed(parts)}."
