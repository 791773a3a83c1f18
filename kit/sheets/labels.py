"""Labels for the finished samples, one for each tile, on sheets of stickers.

Sheets are plain measures; others are added by measuring a sheet with a rule.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from kit.errors import Misuse
from kit.series import Series, bases_by_stripe
from kit.sheets.paper import checked_paper
from kit.wording import listed


@dataclass(frozen=True)
class LabelSheet:
    """Where the labels lie on a sheet.

    Parameters
    ----------
    paper : str
        'a4' or 'us-letter'.
    columns, rows : int
    width_mm, height_mm : float
        Of one label.
    left_mm, top_mm : float
        From the corner of the paper to the first label.
    across_mm, down_mm : float
        From the left edge of one label to the next one's, and from top edge to top edge.
    padding_mm : float
        Kept free inside a label, for printers that feed askew.
    """

    paper: str
    columns: int
    rows: int
    width_mm: float
    height_mm: float
    left_mm: float
    top_mm: float
    across_mm: float
    down_mm: float
    padding_mm: float = 2.5


LABEL_SHEETS: Mapping[str, LabelSheet] = {
    "a4 3 x 7": LabelSheet("a4", 3, 7, 63.5, 38.1, 7.25, 15.15, 66.0, 38.1),
    "a4 3 x 8": LabelSheet("a4", 3, 8, 70.0, 36.0, 0.0, 4.5, 70.0, 36.0, 5.0),
    "us-letter 3 x 10": LabelSheet("us-letter", 3, 10, 66.675, 25.4, 4.7625, 12.7, 69.85, 25.4),
    "us-letter 2 x 5": LabelSheet("us-letter", 2, 5, 101.6, 50.8, 3.96875, 12.7, 106.3625, 50.8),
}
"""Sizes that stationers sell; from memory, to be checked against the sheet before printing."""


@dataclass(frozen=True)
class Stickers:
    """Sheets of stickers to print labels on.

    Parameters
    ----------
    name : str
        One of `LABEL_SHEETS`.
    used : int
        Stickers gone from the first sheet; the labels start on the next one.

    Raises
    ------
    Misuse
        When the kit does not know the sheet, or it has no sticker left.
    """

    name: str
    used: int = 0

    def __post_init__(self) -> None:
        if self.name not in LABEL_SHEETS:
            known = listed([f"'{name}'" for name in LABEL_SHEETS], "or")
            raise Misuse(f"The kit knows no label sheet '{self.name}'. Choose {known}.")
        most = self.sheet.columns * self.sheet.rows
        if not 0 <= self.used < most:
            raise Misuse(f"A sheet has {most} stickers; {self.used} of them cannot be gone.")

    @property
    def sheet(self) -> LabelSheet:
        return LABEL_SHEETS[self.name]


USUAL_SHEET: Mapping[str, str] = {"a4": "a4 3 x 7", "us-letter": "us-letter 3 x 10"}


def labels_on(paper: str, name: str | None = None, used: int = 0) -> Stickers:
    """Choose sheets of stickers by name; the usual ones for the paper when none is named."""
    return Stickers(name or USUAL_SHEET[checked_paper(paper).name], used)


def label_data(series: Series, stickers: Stickers, tiles: Collection[int]) -> dict[str, Any]:
    """Gather what the labels of some tiles say."""
    sheet = stickers.sheet
    family = series.colours.set_index("colour")["family"]
    bases = bases_by_stripe(series)
    labels: list[dict[str, Any] | None] = [None] * stickers.used
    for row in series.tiles[series.tiles["tile"].isin(tiles)].itertuples():
        under = list(bases.loc[bases["tile"] == row.tile, "base"])
        own = series.patches[series.patches["tile"] == row.tile].sort_values("position")
        leaded = "leaded" in {*(family[base] for base in under), *own["overlay"].map(family)}
        labels.append(
            {
                "name": f"T{row.tile}",
                "series": series.name,
                "bases": [
                    {
                        "base": base,
                        "patches": [
                            {"place": int(p.position), "overlay": p.overlay}
                            for p in own[(own["position"] - 1) % len(under) == n].itertuples()
                        ],
                    }
                    for n, base in enumerate(under)
                ],
                "note": "Contains lead: not for food, drink or children." if leaded else "",
            }
        )
    return {
        "labels": labels,
        "sheet": {
            "columns": sheet.columns,
            "rows": sheet.rows,
            "width": sheet.width_mm,
            "height": sheet.height_mm,
            "left": sheet.left_mm,
            "top": sheet.top_mm,
            "across": sheet.across_mm,
            "down": sheet.down_mm,
            "padding": sheet.padding_mm,
        },
    }
