"""How much enamel and copper a series needs."""

import math
from dataclasses import dataclass
from typing import TypeVar

import pandas as pd

from kit.series import Series, Settings, bases_by_stripe, stencil_on, stripe_counts

_Grams = TypeVar("_Grams", float, pd.Series)

_COPPER_G_PER_CM3 = 8.96
"""Density of copper at 20 °C (CRC Handbook of Chemistry and Physics)."""

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


def weighed(landed_g: _Grams, loss: float) -> _Grams:
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
        base_g=weighed(series.colours["colour"].map(bases).fillna(0.0), loss),
        overlay_g=weighed(series.colours["colour"].map(overlays).fillna(0.0), loss),
    )
    needed["total_g"] = needed["base_g"] + needed["overlay_g"]
    used = needed[needed["total_g"] > 0]
    return used.sort_values(["family", "colour"], ignore_index=True)


def counter_enamel_g(series: Series) -> float:
    """Counter-enamel to weigh out, in g: as heavy on each back as the base coats on its front.

    Common practice, no source: equal coats on both sides keep the tile flat and whole.
    """
    landed = float((coat_grams(series) * series.tiles["coats"]).sum())
    whole: float = weighed(landed, series.settings.sifting_loss)
    return whole


def copper_needed(series: Series) -> Copper:
    """Blanks to cut, some to spare, and what they weigh."""
    tiles = len(series.tiles)
    spare = math.ceil(tiles * _SPARE_SHARE)
    area = (tiles + spare) * series.settings.blank.area_cm2
    return Copper(tiles, spare, area, (tiles + spare) * blank_g(series.settings))


def blank_g(settings: Settings) -> float:
    """Copper of one blank, in g."""
    weight: float = settings.blank.area_cm2 * settings.blank.thickness_mm / 10 * _COPPER_G_PER_CM3
    return weight
