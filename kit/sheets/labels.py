"""Labels for the finished samples, one for each tile."""

from collections.abc import Collection
from typing import Any

from kit.series import Series
from kit.sheets.label_sheets import LabelSheet


def label_data(series: Series, sheet: LabelSheet, tiles: Collection[int]) -> dict[str, Any]:
    """Gather what the labels of some tiles say."""
    family = series.colours.set_index("colour")["family"]
    labels = []
    for row in series.tiles[series.tiles["tile"].isin(tiles)].itertuples():
        own = series.patches[series.patches["tile"] == row.tile].sort_values("position")
        leaded = "leaded" in {family[row.base], *own["overlay"].map(family)}
        labels.append(
            {
                "name": f"T{row.tile}",
                "series": series.name,
                "base": row.base,
                "patches": [
                    {"place": int(p.position), "overlay": p.overlay} for p in own.itertuples()
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
