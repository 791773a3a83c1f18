"""Tiles that carry several bases in stripes: which base lies where, and where patches go."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import pandas as pd

from kit.errors import Misuse
from kit.series.blank import Blank, Position, Stencil, positions

if TYPE_CHECKING:
    from kit.series.series import Series
    from kit.series.settings import Settings

NARROWEST_MM = 12.0
"""A narrower stripe cannot be sifted with a clean edge: common practice, no source."""

EDGE_CLEARANCE_MM = 2.0
"""Where two stripes meet, powder of both lies within so much: common practice, no source."""

MOST_PER_STRIPE = 3


def striped_positions(
    blank: Blank, stencil: Stencil, stripes: int, per_stripe: int
) -> tuple[Position, ...]:
    """Lay patches out on a tile whose stripes run from top to bottom, side by side.

    They are numbered as one reads, so that patch n lies on stripe (n - 1) % stripes + 1.

    Raises
    ------
    Misuse
        When the stripes would be too narrow to sift, or patches too near the edge of a stripe.
    """
    if blank.shape == "round":
        raise Misuse(
            "A round blank cannot be divided into even stripes. Use a square blank or a strip, or "
            "set stripes = 1 in series.toml."
        )
    across, down = stripes * stencil.size_mm, per_stripe * stencil.height_mm
    gap_x = (blank.width_mm - across) / (stripes + 1)
    gap_y = (blank.height_mm - down) / (per_stripe + 1)
    told = (
        f"{stripes} stripes with {per_stripe} patches of {stencil.size_mm:g} mm each on a "
        f"{blank.width_mm:g} x {blank.height_mm:g} mm blank"
    )
    narrowest = stencil.size_mm + gap_x
    if narrowest < NARROWEST_MM:
        raise Misuse(
            f"{told} would be {narrowest:.1f} mm wide, narrower than can be sifted with a clean "
            f"edge ({NARROWEST_MM:g} mm). Use fewer stripes or a larger blank."
        )
    least = max(blank.clearance_mm, 2 * EDGE_CLEARANCE_MM)
    if gap_x < least or gap_y < blank.clearance_mm:
        raise Misuse(
            f"{told} leave {min(gap_x, gap_y):.1f} mm between patches. {least:g} mm are needed, so "
            "that the edges of the stripes stay clear of the patches. Use a smaller "
            "small_stencil_mm, fewer stripes or a larger blank."
        )
    return tuple(
        Position(
            row * stripes + column + 1,
            gap_x + column * (stencil.size_mm + gap_x) + stencil.size_mm / 2,
            gap_y + row * (stencil.height_mm + gap_y) + stencil.height_mm / 2,
        )
        for row in range(per_stripe)
        for column in range(stripes)
    )


def stripe_edges(blank: Blank, stencil: Stencil, stripes: int) -> tuple[float, ...]:
    """Where stripes meet, in mm from the left: midway between their patches."""
    gap = (blank.width_mm - stripes * stencil.size_mm) / (stripes + 1)
    return tuple(n * (stencil.size_mm + gap) + gap / 2 for n in range(1, stripes))


def stripe_shares(settings: Settings, stripes: int) -> tuple[float, ...]:
    """Share of the tile that each stripe covers, and of its powder that each takes."""
    width = settings.blank.width_mm
    ends = (0.0, *stripe_edges(settings.blank, stencil_on(settings, stripes), stripes), width)
    return tuple((end - start) / width for start, end in pairwise(ends))


def stencil_on(settings: Settings, stripes: int) -> Stencil:
    """The stencil for tiles of so many stripes: a smaller one where there are several."""
    if stripes == 1:
        return settings.stencil
    return replace(settings.stencil, size_mm=settings.small_stencil_mm)


def patches_per_stripe(settings: Settings, stripes: int) -> int:
    """How many small patches each of several stripes takes, at most 3.

    Raises
    ------
    Misuse
        When not even one fits.
    """
    stencil = stencil_on(settings, stripes)
    for count in range(MOST_PER_STRIPE, 1, -1):
        try:
            striped_positions(settings.blank, stencil, stripes, count)
        except Misuse:
            continue
        return count
    striped_positions(settings.blank, stencil, stripes, 1)
    return 1


def places_on_tile(settings: Settings, stripes: int) -> tuple[Position, ...]:
    """The numbered places of a tile with so many stripes."""
    if stripes == 1:
        return positions(settings.blank, settings.stencil, settings.patches_per_tile)
    each = patches_per_stripe(settings, stripes)
    return striped_positions(settings.blank, stencil_on(settings, stripes), stripes, each)


def stripe_counts(series: Series) -> pd.Series:
    """How many stripes each tile carries, by tile number; 1 for a single base."""
    counted = series.stripes.groupby("tile")["stripe"].max()
    return counted.reindex(series.tiles["tile"]).fillna(1).astype("int64")


def bases_by_stripe(series: Series) -> pd.DataFrame:
    """Every base on every tile: tile, stripe (from 1), base and share (of the tile it covers)."""
    single = series.tiles[~series.tiles["tile"].isin(series.stripes["tile"])]
    bases = pd.concat(
        [single[["tile", "base"]].assign(stripe=1), series.stripes[["tile", "stripe", "base"]]]
    )
    number = bases["tile"].map(stripe_counts(series))
    shares = [
        stripe_shares(series.settings, int(count))[int(stripe) - 1]
        for count, stripe in zip(number, bases["stripe"], strict=True)
    ]
    bases = bases[["tile", "stripe", "base"]].assign(share=shares)
    return bases.sort_values(["tile", "stripe"], ignore_index=True)
