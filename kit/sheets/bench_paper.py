"""The paper of a series: its sheets as PDF files in a folder, the photo card, the wall chart."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from kit.drawing import pair_charts
from kit.errors import Misuse
from kit.photo import (
    SLIP_MM,
    Mark,
    card_drawing,
    card_for,
    firing_slip_drawing,
    tile_slip_drawing,
)
from kit.series import DEFERENCE, Series, cautions_for, write_whole, writing
from kit.sheets import bench_cards
from kit.sheets.grading_sheets import grading_data, grading_layout
from kit.sheets.labels import Stickers, label_data, labels_on
from kit.sheets.paper import (
    MARGIN_MM,
    MM_PER_INCH,
    Paper,
    checked_paper,
    drawing_data,
    scale_key,
    typeset,
)
from kit.sheets.shopping_list import Weighing, shopping_data
from kit.sheets.work_order import work_order_data
from kit.wording import listed

Progress = Callable[[str], None]
_FOR_ALL = ("shopping", "grade-card")
_EDGE_MM = 6.0


def write_sheets(
    series: Series,
    folder: Path | str,
    paper: str = "a4",
    progress: Progress | None = None,
    session: int | None = None,
    weighing: Weighing = "once",
    stickers: Stickers | None = None,
) -> list[Path]:
    """Write the bench paper of a series.

    Parameters
    ----------
    series : Series
        Needs tiles and patches.
    folder : Path
        Made when it is not there. Sheets of the same name are replaced.
    paper : {'a4', 'us-letter'}
    progress : callable, optional
        Told what is being written.
    session : int, optional
        Only the cards, grading sheets and labels of the tiles made in this session, and its order
        of work. Shopping list and grade card are always for the whole series.

    weighing : {'once', 'each'}
        Whether patches are dosed by a measure that is weighed once for each colour, or each patch
        has its exact weight.
    stickers : Stickers, optional
        Sheets that the labels are printed on; the usual ones for the paper when left out.

    Returns
    -------
    list of Path
        shopping.pdf, order-of-work.pdf, bench-cards.pdf, grading.pdf, grade-card.pdf and
        labels.pdf. Those of one session are named for it, such as bench-cards-session-1.pdf.

    Raises
    ------
    Misuse
        When the series has no tiles, or the session or paper is unknown.
    """
    on = checked_paper(paper)
    tiles = _tiles(series, session)
    stuck = stickers or labels_on(paper)
    if stuck.sheet.paper != paper:
        raise Misuse(f"The label sheet '{stuck.name}' is not {on.title}.")
    makers: Mapping[str, Callable[[], bytes]] = {
        "shopping": lambda: _sheet(series, "shopping", shopping_data(series, on, weighing), on),
        "order-of-work": lambda: _sheet(
            series, "work_order", work_order_data(series, session, weighing), on
        ),
        "bench-cards": lambda: _sheet(
            series,
            "bench_cards",
            bench_cards.bench_card_data(series, on, tiles, weighing),
            on,
            bench_cards.lies_on_its_side(series, on),
        ),
        "grading": lambda: _sheet(
            series,
            "grading_sheets",
            grading_data(series, on, tiles),
            on,
            grading_layout(series.settings, on).landscape,
        ),
        "grade-card": lambda: _sheet(series, "grade_card", grade_card_data(series, on), on),
        "labels": lambda: _sheet(series, "labels", label_data(series, stuck, tiles), on),
    }
    return [
        _write(Path(folder), _named(name, session), make, progress) for name, make in makers.items()
    ]


def write_photo_card(series: Series, folder: Path | str, paper: str = "a4") -> Path:
    """Write photo-card.pdf: the card that tiles are photographed on, and its slips.

    Raises
    ------
    Misuse
        When the blank is too large for a printed card, or the series has no tiles.
    """
    on = checked_paper(paper)
    data = photo_card_data(series, _tiles(series, None))
    return _write(
        Path(folder),
        "photo-card",
        lambda: _sheet(series, "photo_card", data, on),
        None,
    )


def _sheet(
    series: Series, template: str, data: Mapping[str, Any], paper: Paper, landscape: bool = False
) -> bytes:
    named = {
        "series": series.name,
        "series-title": series.settings.title,
        "question": series.settings.question,
        "deference": DEFERENCE,
    }
    return typeset(template, {**named, **data}, paper, landscape)


def _write(folder: Path, name: str, make: Callable[[], bytes], progress: Progress | None) -> Path:
    path = folder / f"{name}.pdf"
    if progress:
        progress(f"Setting {path.name}")
    content = make()
    with writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(path, content)
    return path


def _named(name: str, session: int | None) -> str:
    """Keep the sheets of one session from taking the place of the whole series'."""
    return name if session is None or name in _FOR_ALL else f"{name}-session-{session}"


def _tiles(series: Series, session: int | None) -> list[int]:
    if series.tiles.empty:
        raise Misuse(f"{series.name} has no tiles yet. Plan it first: kit plan {series.name}")
    tiles = series.tiles
    if session is not None:
        tiles = tiles[tiles["session"] == session]
    if tiles.empty:
        known = [str(number) for number in sorted(set(series.tiles["session"]))]
        which = f"session {known[0]}" if len(known) == 1 else f"sessions {listed(known)}"
        raise Misuse(f"No tile is made in session {session}. Tiles are made in {which}.")
    return [int(tile) for tile in tiles["tile"]]


def grade_card_data(series: Series, paper: Paper) -> dict[str, Any]:
    """Gather what the card says; it is printed as often as it fits on a page."""
    settings = series.settings
    scales = [scale_key(scale, settings) for scale in settings.scales]
    widest = max((p.width_in * MM_PER_INCH for s in scales for p in s["pictures"]), default=0.0)
    room = paper.width_mm - 2 * (MARGIN_MM + _EDGE_MM)
    return {"scales": scales, "shrink": min(1.0, room / widest) if widest else 1.0}


_UPRIGHT_MM = (180.0, 115.0)
"""A card up to this size shares an upright sheet with what is written about it, on A4 as on US
Letter; a larger one has a sheet on its side to itself, 7 mm left at each rim."""


def photo_card_data(series: Series, tiles: Iterable[int]) -> dict[str, Any]:
    """Gather the card for the blanks of a series and the slips for its tiles and firings.

    Raises
    ------
    Misuse
        When the blank is too large for a printed card.
    """
    card = card_for(series.settings.blank)
    firings = range(series.settings.last_firing + 1)
    slips = [*_tile_slips(tiles), *(firing_slip_drawing(firing) for firing in firings)]
    return {
        "card": {
            "width": card.width_mm,
            "height": card.height_mm,
            "across": f"{card.across_mm:g}",
            "down": f"{card.down_mm:g}",
            "own-page": card.width_mm > _UPRIGHT_MM[0] or card.height_mm > _UPRIGHT_MM[1],
            "marks": drawing_data(card_drawing(card)),
        },
        "slips": [drawing_data(slip) for slip in slips],
        "slip-mm": SLIP_MM,
        "cautions": [vars(c) for c in cautions_for("photograph")],
    }


def _tile_slips(tiles: Iterable[int]) -> Iterator[list[Mark]]:
    for tile in sorted(tiles):
        try:
            yield tile_slip_drawing(tile)
        except Misuse:  # tiles beyond the last that has a mark are photographed without one
            return


_LARGEST = 1.6
"""How far a small chart is blown up, so that its lettering still looks like lettering."""


def wall_chart(
    pairs: pd.DataFrame, colours: pd.DataFrame, title: str, paper: str = "a4", rule: str = ""
) -> bytes:
    """Set the pair chart as PDF for the wall: a page, or several when it does not fit on one.

    Parameters
    ----------
    pairs : DataFrame
        As `kit.model.pair_table` gives it.
    colours : DataFrame
        Columns colour, family.
    title : str
    paper : {'a4', 'us-letter'}
    rule : str
        What the verdicts hold for, in words: sifter, coat, firings and confidence.

    Raises
    ------
    Misuse
        When there are no pairs.
    """
    if pairs.empty:
        raise Misuse("The wall chart needs pairs, and none has been judged yet.")
    data = {
        "series": title,
        "series-title": title,
        "rule": rule,
        "deference": DEFERENCE,
        "largest": _LARGEST,
        "charts": [
            {"finding": chart.title, "note": chart.note, "drawing": chart}
            for chart in pair_charts(pairs, colours)
        ],
        "cautions": [vars(caution) for caution in cautions_for("use")],
    }
    return typeset("wall_chart", data, checked_paper(paper))
