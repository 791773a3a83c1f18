"""Each tile with its recipes and the photographs of its patches, one of each on the page."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from typing import Any

import pandas as pd

from kit.drawing import Drawing, TileShown, tile_through_firings
from kit.model import VerdictRule
from kit.photo import PatchPicture
from kit.report.analysis import Analysis
from kit.report.findings.tile_outcomes import tile_outcome
from kit.report.page.document import Paragraph, Photo, PhotoStrip, Section, TableBlock, table_of
from kit.series import grade, losses, patches_in_full, stripe_counts
from kit.wording import coat_weight, counted, listed


def samples(analysis: Analysis) -> Section:
    """Show every tile through its firings, with the recipe of each patch."""
    series = analysis.series
    photographs = on_the_page(analysis.pictures)
    patches = patches_in_full(series).sort_values(["tile", "position"])
    reasons = losses(series).set_index("patch")["reason"]
    planned = series.tiles.assign(stripes=series.tiles["tile"].map(stripe_counts(series)))
    tiles = tuple(
        _tile(analysis, tile, patches[patches["tile"] == tile.tile], reasons, photographs)
        for tile in planned.itertuples()
    )
    intro = Paragraph(
        "One picture a tile, with a row for each thing graded and a column for each firing. The "
        "number on a patch is the middle grade of all who graded it. A fine edge is judged by "
        f"spread and pull-through alone. {left_out(analysis)}".rstrip()
    )
    return Section("samples", "The samples, tile by tile", (intro, *tiles))


def _tile(
    analysis: Analysis,
    tile: Any,
    patches: pd.DataFrame,
    reasons: pd.Series,
    photographs: Sequence[PatchPicture],
) -> Section:
    grades = analysis.grades[analysis.grades["tile"] == tile.tile]
    about = Paragraph(
        f"{counted(int(tile.coats), 'coat')} of {_bases(patches)}, "
        f"{coat_weight(tile.coat_weight)} each, through the {tile.mesh} mesh sifter."
        if len(patches)
        else f"{tile.base}. No patch is planned on it."
    )
    lost = [patch for patch in patches["patch"] if patch in reasons]
    picture = () if grades.empty else (_picture(analysis, tile, grades, lost, reasons),)
    table = () if patches.empty else (_table(analysis, int(tile.tile), patches, grades, reasons),)
    title = f"Tile {tile.tile}: {tile.base}"
    photos = strip(photographs, patches)
    return Section(f"tile-{tile.tile}", title, (about, *picture, *photos, *table))


def _bases(patches: pd.DataFrame) -> str:
    """The base of a tile with its family, or those of its stripes from left to right."""
    each = patches.sort_values("stripe").drop_duplicates("base")
    named = [f"{row.base} ({row.base_family})" for row in each.itertuples()]
    return f"{listed(named)}{' in stripes' if len(named) > 1 else ''}"


def _picture(
    analysis: Analysis, tile: Any, grades: pd.DataFrame, lost: list[str], reasons: pd.Series
) -> Drawing:
    settings = analysis.series.settings
    why = listed(sorted({str(reasons[patch]) for patch in lost} - {""}))
    outcome = tile_outcome(int(tile.tile), grades, VerdictRule.of(settings.verdict), lost, why)
    columns: dict[str, dict[str, TileShown]] = {}
    told = []
    for scale in analysis.scales:
        of_scale = grades[grades["scale"] == scale.name]
        for firing, here in of_scale.groupby("firing"):
            shown = TileShown(
                "",
                dict(zip(here["position"], here["grade"], strict=True)),
                stripes=int(tile.stripes),
            )
            columns.setdefault(f"firing {firing}", {})[scale.title] = shown
        patches = [
            f"{here['overlay'].iloc[0]} {', '.join(grade(g) for g in here['grade'])}"
            for _, here in of_scale.groupby("position")
        ]
        told += [f"{scale.title} after each firing: {listed(patches)}."] if patches else []
    in_order = dict(sorted(columns.items(), key=lambda column: int(column[0].split()[1])))
    name, alt = f"tile-{tile.tile}-grades", " ".join(told)
    return tile_through_firings(settings, in_order, name, outcome.title, alt)


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
        said = of_scale.groupby("patch")["grade"].agg(lambda g: ", ".join(map(grade, g)))
        frame[scale.title] = [str(said.get(patch, "")) for patch in patches["patch"]]
    lost = [str(reasons.get(patch, "")) for patch in patches["patch"]]
    if any(lost):
        frame["Lost"] = lost
    return table_of(f"Tile {tile}: recipe, and grades after each firing in turn", frame)


MOST = 300
MOST_BYTES = 1_000_000
"""All photographs of a page together; written into it they take a third more."""


def on_the_page(pictures: Collection[PatchPicture]) -> list[PatchPicture]:
    """Those that fit: of every patch its last firing, then the one before it, and so on."""
    turn: dict[str, int] = defaultdict(int)
    ranked: list[tuple[int, PatchPicture]] = []
    for picture in sorted(pictures, key=lambda p: (p.patch, -p.firing)):
        ranked.append((turn[picture.patch], picture))
        turn[picture.patch] += 1
    kept: list[PatchPicture] = []
    size = 0
    for _, picture in sorted(ranked, key=lambda place: place[0]):
        size += len(picture.jpeg)
        if len(kept) == MOST or size > MOST_BYTES:
            break
        kept.append(picture)
    return sorted(kept, key=lambda p: (p.patch, p.firing))


def left_out(analysis: Analysis) -> str:
    """Say what is seen in the photographs, and how many of them the page leaves out."""
    every = analysis.pictures
    if not every:
        return ""
    more = len(every) - len(on_the_page(every))
    rest = (
        f" To keep this page light {counted(more, 'photograph of', 'photographs of')} earlier "
        "firings and further patches are left out; the folder of photographs has them."
        if more
        else ""
    )
    return (
        "On a photograph the dashed line is the stencil's, the full line the edge that was found."
        f"{rest}"
    )


def strip(pictures: Sequence[PatchPicture], patches: pd.DataFrame) -> tuple[PhotoStrip, ...]:
    """Put the photographs of some patches in a row; nothing when there are none.

    Parameters
    ----------
    pictures : sequence of PatchPicture
        As `on_the_page` gives them.
    patches : DataFrame
        As `patches_in_full` gives them.
    """
    named = {row.patch: f"{row.overlay} over {row.base}" for row in patches.itertuples()}
    photos = tuple(
        Photo(
            photo_name(picture),
            f"{picture.patch}, firing {picture.firing}",
            f"{named[picture.patch]}, patch {picture.patch} after firing {picture.firing}",
            picture.jpeg,
        )
        for picture in pictures
        if picture.patch in named
    )
    return (PhotoStrip(photos),) if photos else ()


def photographs_of_pairs(analysis: Analysis) -> Mapping[tuple[str, str], list[str]]:
    """Names of the photographs of each pair (base, overlay)."""
    patches = patches_in_full(analysis.series).set_index("patch")
    found: dict[tuple[str, str], list[str]] = {}
    for picture in on_the_page(analysis.pictures):
        pair = (patches.at[picture.patch, "base"], patches.at[picture.patch, "overlay"])
        found.setdefault(pair, []).append(photo_name(picture))
    return found


def photo_name(picture: PatchPicture) -> str:
    """Name a photograph within its page."""
    return f"photo-{picture.patch}-{picture.firing}"
