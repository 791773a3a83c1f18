"""One tile through its firings, to scale, a row for each scale."""

import pandas as pd
from matplotlib.figure import Figure

from kit.report.figures.tile_drawing import PlacedTile, draw_tiles, sheet
from kit.report.page.picture import Picture
from kit.report.page.style import WIDTH_IN, drawn_with
from kit.series import Settings
from kit.wording import counted, listed

_LABEL_IN = 0.95
_HEADING_IN = 0.24
_RIM_MM = 1.5
_LARGEST_IN = 0.9


@drawn_with()
def one_tile(settings: Settings, tile: int, grades: pd.DataFrame, loss: str = "") -> Picture:
    """Draw one tile after each firing.

    Parameters
    ----------
    settings : Settings
    tile : int
    grades : DataFrame
        Rows of `middle_grades` of this tile, of all scales, with a column scale.
    loss : str
        Why patches of it were lost after these grades; blank when none was.
    """
    firings = sorted(grades["firing"].unique())
    scales = [s for s in settings.scales if s.name in set(grades["scale"])]
    across_in = min(_LARGEST_IN, (WIDTH_IN - _LABEL_IN) / len(firings))
    mm_in = across_in / (settings.blank.width_mm + 2 * _RIM_MM)
    across, down = across_in / mm_in, settings.blank.height_mm + 2 * _RIM_MM
    label = _LABEL_IN / mm_in
    width, height = label + across * len(firings), down * len(scales)
    figure = Figure(figsize=(width * mm_in, _HEADING_IN + height * mm_in))
    axes = sheet(figure, width, height, top_in=_HEADING_IN)
    tiles = []
    for column, firing in enumerate(firings):
        x = label + across * column
        axes.text(x + across / 2, -1, f"firing {firing}", ha="center", va="bottom")
        for row, scale in enumerate(scales):
            here = grades[(grades["scale"] == scale.name) & (grades["firing"] == firing)]
            by_position = dict(zip(here["position"], here["grade"], strict=True))
            tiles.append(PlacedTile(x + _RIM_MM, down * row + _RIM_MM, by_position))
    for row, scale in enumerate(scales):
        axes.text(0, down * (row + 0.5), scale.title, va="center", fontsize=9)
    draw_tiles(axes, settings, tiles, figures_in_points=across_in * 7.5)
    return Picture(
        f"tile-{tile}", _finding(settings, grades, loss), _told(settings, grades), figure
    )


def _finding(settings: Settings, grades: pd.DataFrame, loss: str) -> str:
    last = grades[grades["firing"] == grades["firing"].max()]
    limit = settings.verdict.fine_edge_at_most
    worst = last.groupby("position")["grade"].max()
    held = int((worst <= limit).sum())
    fired = counted(int(last["firing"].max()), "firing")
    if loss:
        fired = f"{fired}, and then some were lost ({loss})"
    if held == len(worst):
        return f"Every patch held its edge through {fired}"
    if held == 0:
        return f"No patch held its edge through {fired}"
    return f"{held} of {len(worst)} patches held their edge through {fired}"


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
