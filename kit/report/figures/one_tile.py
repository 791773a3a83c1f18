"""One tile through its firings, to scale, a row for each scale."""

import pandas as pd
from matplotlib.figure import Figure

from kit.report.figures.tile_drawing import draw_tile
from kit.report.picture import Picture
from kit.report.style import WIDTH_IN, drawn_with
from kit.report.words import counted, listed
from kit.series import Settings

_LABEL_IN = 0.95
_LARGEST_IN = 1.15


@drawn_with()
def one_tile(settings: Settings, tile: int, grades: pd.DataFrame) -> Picture:
    """Draw one tile after each firing.

    Parameters
    ----------
    settings : Settings
    tile : int
    grades : DataFrame
        Rows of `middle_grades` of this tile, of all scales, with a column scale.
    """
    firings = sorted(grades["firing"].unique())
    scales = [s for s in settings.scales if s.name in set(grades["scale"])]
    across = min(_LARGEST_IN, (WIDTH_IN - _LABEL_IN) / len(firings))
    down = across * settings.blank.height_mm / settings.blank.width_mm
    width, height = _LABEL_IN + across * len(firings), 0.28 + down * len(scales)
    figure = Figure(figsize=(width, height))
    for row, scale in enumerate(scales):
        bottom = (down * (len(scales) - 1 - row)) / height
        figure.text(0.0, bottom + down / height / 2, scale.title, va="center", fontsize=9)
        for column, firing in enumerate(firings):
            left = (_LABEL_IN + across * column) / width
            axes = figure.add_axes((left, bottom, across / width, down / height))
            here = grades[(grades["scale"] == scale.name) & (grades["firing"] == firing)]
            by_position = dict(zip(here["position"], here["grade"], strict=True))
            draw_tile(axes, settings, by_position, figures_in_points=across * 7.5)
            if row == 0:
                middle = left + across / width / 2
                figure.text(middle, 1 - 0.06 / height, f"firing {firing}", ha="center", va="top")
    return Picture(
        f"tile-{tile}", _finding(settings, tile, grades), _told(settings, grades), figure
    )


def _finding(settings: Settings, tile: int, grades: pd.DataFrame) -> str:
    last = grades[grades["firing"] == grades["firing"].max()]
    limit = settings.verdict.fine_edge_at_most
    worst = last.groupby("position")["grade"].max()
    held = int((worst <= limit).sum())
    fired = counted(int(last["firing"].max()), "firing")
    if held == len(worst):
        return f"Tile {tile}: every patch held its edge through {fired}"
    if held == 0:
        return f"Tile {tile}: no patch held its edge through {fired}"
    return f"Tile {tile}: {held} of {len(worst)} patches held their edge through {fired}"


def _told(settings: Settings, grades: pd.DataFrame) -> str:
    sentences = []
    for scale in settings.scales:
        of_scale = grades[grades["scale"] == scale.name]
        patches = [
            f"{here['overlay'].iloc[0]} {', '.join(f'{g:g}' for g in here['grade'])}"
            for _, here in of_scale.groupby("position")
        ]
        if patches:
            sentences.append(f"{scale.title} after each firing: {listed(patches)}.")
    return " ".join(sentences)
