"""The samples, tile by tile."""

from typing import Any

import pandas as pd

from kit.report.analysis import Analysis
from kit.report.figures.one_tile import one_tile
from kit.report.page.document import Paragraph, Section, TableBlock, table_of
from kit.series import losses, patches_in_full
from kit.wording import counted, listed


def samples(analysis: Analysis) -> Section:
    """Show every tile through its firings, with the recipe of each patch."""
    series = analysis.series
    patches = patches_in_full(series).sort_values(["tile", "position"])
    reasons = losses(series).set_index("patch")["reason"]
    tiles = tuple(
        _tile(analysis, tile, patches[patches["tile"] == tile.tile], reasons)
        for tile in series.tiles.itertuples()
    )
    intro = Paragraph(
        "One picture a tile, drawn to scale, with a row for each thing graded and a column for "
        "each firing. The number on a patch is the middle grade of all who graded it."
    )
    return Section("samples", "The samples, tile by tile", (intro, *tiles))


def _tile(analysis: Analysis, tile: Any, patches: pd.DataFrame, reasons: pd.Series) -> Section:
    grades = analysis.grades[analysis.grades["tile"] == tile.tile]
    about = Paragraph(
        f"{counted(int(tile.coats), 'coat')} of {tile.base} ({patches['base_family'].iloc[0]}), "
        f"{tile.coat_weight:g} mg/cm² each, through the {tile.mesh} mesh sifter."
        if len(patches)
        else f"{tile.base}. No patch is planned on it."
    )
    why = listed(sorted({str(reasons[p]) for p in patches["patch"] if p in reasons}))
    settings = analysis.series.settings
    picture = () if grades.empty else (one_tile(settings, int(tile.tile), grades, why),)
    table = () if patches.empty else (_table(analysis, int(tile.tile), patches, grades, reasons),)
    title = f"Tile {tile.tile}: {tile.base}"
    return Section(f"tile-{tile.tile}", title, (about, *picture, *table))


def _table(
    analysis: Analysis, tile: int, patches: pd.DataFrame, grades: pd.DataFrame, reasons: pd.Series
) -> TableBlock:
    frame = pd.DataFrame(
        {
            "Patch": patches["patch"],
            "Overlay": patches["overlay"] + " (" + patches["overlay_family"] + ")",
            "Mesh": patches["mesh"],
            "Coat mg/cm²": patches["coat_weight"],
        }
    )
    for scale in analysis.scales:
        of_scale = grades[grades["scale"] == scale.name]
        said = of_scale.groupby("patch")["grade"].agg(lambda g: ", ".join(f"{v:g}" for v in g))
        frame[scale.title] = [str(said.get(patch, "")) for patch in patches["patch"]]
    lost = [str(reasons.get(patch, "")) for patch in patches["patch"]]
    if any(lost):
        frame["Lost"] = lost
    return table_of(f"Tile {tile}: recipe, and grades after each firing in turn", frame)
