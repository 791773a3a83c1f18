"""How much enamel and copper a series needs, and the shopping and cutting list."""

import math
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from kit.series import (
    OPENING_UM,
    Series,
    Settings,
    bases_by_stripe,
    cautions_for,
    places_on_tile,
    stencil_on,
    stripe_counts,
)
from kit.sheets.paper import MARGIN_MM, Paper, shrink_to, tile_map
from kit.wording import (
    amount,
    area_and_inches,
    counted,
    gauge_in_words,
    grams,
    mm_and_inches,
    opening,
    size_and_inches,
)

_COPPER_G_PER_CM3 = 8.96
"""Density of copper at room temperature (CRC Handbook of Chemistry and Physics)."""

Weighing = Literal["once", "each"]
"""Whether patches are dosed by a measure that is weighed once, or each is weighed by itself."""

CALIBRATED_BY = 10
"""Spoons, or passes of the sifter, that are weighed together: a scale that shows 0.01 g then tells
a dose of 0.09 g to about one part in a hundred. Common practice, no source."""

CALIBRATION_CARD_CM2 = 100
"""Card that passes of the sifter are weighed on, 10 × 10 cm."""

_SPARE_SHARE = 0.1
"""One blank in ten to spare. Common practice, no source."""


@dataclass(frozen=True)
class Copper:
    """Blanks to cut.

    Parameters
    ----------
    blanks, spare : int
    area_cm2 : float
        Of all blanks and spares, offcuts not counted.
    weight_g : float
    """

    blanks: int
    spare: int
    area_cm2: float
    weight_g: float


def patch_grams(series: Series) -> pd.Series:
    """Enamel that must lie inside the stencil, in g, for each row of patches.csv.

    coat weight (mg/cm²) × area of the opening (cm²) / 1000.
    """
    return series.patches["coat_weight"] * _openings_cm2(series) / 1000


def coat_grams(series: Series) -> pd.Series:
    """Enamel of one base coat, in g, for each row of tiles.csv.

    coat weight (mg/cm²) × area of the blank (cm²) / 1000.
    """
    return series.tiles["coat_weight"] * series.settings.blank.area_cm2 / 1000


def _openings_cm2(series: Series) -> pd.Series:
    """Area of the stencil for each row of patches.csv; it is smaller on tiles with stripes."""
    counts = stripe_counts(series)
    areas = {n: stencil_on(series.settings, n).area_cm2 for n in {1, *map(int, counts)}}
    return series.patches["tile"].map(counts.map(areas))


def stripe_grams(series: Series) -> pd.DataFrame:
    """Enamel of one coat of every base on every tile.

    Returns
    -------
    DataFrame
        Columns tile, stripe, base, share (of the tile), coats, landed (g), weigh (g, with the loss
        allowed for).
    """
    of_tile = series.tiles[["tile", "coats"]].assign(whole=coat_grams(series))
    told = bases_by_stripe(series).merge(of_tile, on="tile", validate="many_to_one")
    told["landed"] = told["whole"] * told["share"]
    told["weigh"] = told["landed"].map(lambda g: weighed(g, series.settings.sifting_loss))
    return told[["tile", "stripe", "base", "share", "coats", "landed", "weigh"]]


def weighed(landed_g: float, loss: float) -> float:
    """Enamel to weigh out so that `landed_g` lands, when a share `loss` of it misses."""
    return landed_g / (1 - loss)


def doses(series: Series) -> pd.DataFrame:
    """List what a patch of each overlay takes, with the loss allowed for.

    Returns
    -------
    DataFrame
        Columns colour, family, coat_weight, opening_cm2, dose_g; by family, colour, coat weight and
        opening.
    """
    landed = series.patches[["overlay", "coat_weight"]].assign(
        opening_cm2=_openings_cm2(series), landed=patch_grams(series)
    )
    kinds = ["overlay", "coat_weight", "opening_cm2"]
    each = landed.drop_duplicates(kinds).rename(columns={"overlay": "colour"})
    told = each.merge(series.colours[["colour", "family"]], on="colour")
    told["dose_g"] = told["landed"].map(lambda g: weighed(g, series.settings.sifting_loss))
    by = ["family", "colour", "coat_weight", "opening_cm2"]
    ordered = told.sort_values(by, ignore_index=True)
    return ordered[["colour", "family", "coat_weight", "opening_cm2", "dose_g"]]


def enamel_needed(series: Series) -> pd.DataFrame:
    """Grams of every colour that is used, to weigh out, with the loss allowed for.

    Returns
    -------
    DataFrame
        Columns colour, family, base_g, overlay_g, total_g; by family and colour.
    """
    loss = series.settings.sifting_loss
    coats = stripe_grams(series)
    bases = (coats["landed"] * coats["coats"]).groupby(coats["base"]).sum()
    overlays = patch_grams(series).groupby(series.patches["overlay"]).sum()
    needed = series.colours[["colour", "family"]].assign(
        base_g=series.colours["colour"].map(bases).fillna(0.0) / (1 - loss),
        overlay_g=series.colours["colour"].map(overlays).fillna(0.0) / (1 - loss),
    )
    needed["total_g"] = needed["base_g"] + needed["overlay_g"]
    used = needed[needed["total_g"] > 0]
    return used.sort_values(["family", "colour"], ignore_index=True)


def counter_enamel_g(series: Series) -> float:
    """Counter-enamel to weigh out, in g: as heavy on each back as the base coats on its front.

    Common practice, no source: equal coats on both sides keep the tile flat and whole.
    """
    landed = float((coat_grams(series) * series.tiles["coats"]).sum())
    return weighed(landed, series.settings.sifting_loss)


def copper_needed(series: Series) -> Copper:
    """Blanks to cut, some to spare, and what they weigh."""
    blank, tiles = series.settings.blank, len(series.tiles)
    spare = math.ceil(tiles * _SPARE_SHARE)
    area = (tiles + spare) * blank.area_cm2
    weight = area * blank.thickness_mm / 10 * _COPPER_G_PER_CM3
    return Copper(tiles, spare, area, weight)


_SCALES: dict[Weighing, tuple[str, ...]] = {
    "once": ("scale that shows 0.01 g", "small spoon that can be struck level", "card, 10 × 10 cm"),
    "each": ("scale that shows 0.001 g (0.01 g will do for base coats)",),
}
_AT_HAND = (
    "scriber or underglaze pencil",
    "trivets and firing rack",
    "damp cloths",
    "fitted respirator",
    "eye protection and gloves",
    "file",
    "ruler",
)

_WIDEST_BESIDE_MM = 72.0
"""Patterns up to this width are drawn beside the list of sifters, wider ones below it."""


def shopping_data(series: Series, paper: Paper, weighing: Weighing) -> dict[str, Any]:
    """Gather what the shopping and cutting list says."""
    settings = series.settings
    blank = settings.blank
    beside = blank.width_mm <= _WIDEST_BESIDE_MM
    room = _WIDEST_BESIDE_MM if beside else paper.width_mm - 2 * MARGIN_MM
    counts = sorted(set(map(int, stripe_counts(series))))
    copper = copper_needed(series)
    size = (
        f"{mm_and_inches(blank.width_mm)} across, round"
        if blank.shape == "round"
        else f"{size_and_inches(blank.width_mm, blank.height_mm)}, {blank.shape}"
    )
    return {
        "blank": {
            "size": size,
            "thickness": mm_and_inches(blank.thickness_mm),
            "gauge": f"{gauge_in_words(blank.thickness_mm)} by ASTM B258",
            "count": copper.blanks,
            "spare": copper.spare,
            "copper": f"Together {area_and_inches(copper.area_cm2)} of copper, about "
            f"{grams(copper.weight_g)}, offcuts not counted.",
        },
        "loss": f"The weights allow for {amount(settings.sifting_loss, 'loss_share')} of the "
        "powder missing its mark, as series.toml says (sifting_loss).",
        "colours": [
            {
                "colour": row.colour,
                "family": row.family,
                "base": grams(row.base_g) if row.base_g else "",
                "overlay": grams(row.overlay_g) if row.overlay_g else "",
                "total": grams(row.total_g),
            }
            for row in enamel_needed(series).itertuples()
        ],
        "counter": grams(counter_enamel_g(series)),
        "sifters": _sifters(series),
        "stencils": [_stencil(settings, number) for number in counts],
        "map": tile_map(settings, counts[0]),
        "beside": beside,
        "shrink": shrink_to(settings, room, paper.height_mm - 80),
        "at-hand": [*_SCALES[weighing], *_AT_HAND],
        "cautions": [vars(c) for c in cautions_for("cut", "pickle", "use")],
    }


def _stencil(settings: Settings, stripes: int) -> str:
    stencil, places = stencil_on(settings, stripes), len(places_on_tile(settings, stripes))
    said = f"{stencil.shape}, {size_and_inches(stencil.size_mm, stencil.height_mm)}, "
    said += f"{counted(places, 'opening')} or one that is moved"
    return said if stripes == 1 else f"{said}, for tiles with {stripes} stripes"


def _sifters(series: Series) -> list[dict[str, Any]]:
    bases, overlays = set(series.tiles["mesh"]), set(series.patches["mesh"])
    used = {True: "base coats", False: ""}
    return [
        {
            "mesh": int(mesh),
            "opening": opening(OPENING_UM[mesh]),
            "use": " and ".join(
                filter(None, (used[mesh in bases], "overlays" if mesh in overlays else ""))
            ),
        }
        for mesh in sorted(bases | overlays)
    ]
