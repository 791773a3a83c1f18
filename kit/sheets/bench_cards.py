"""The bench cards, one for each tile, and on their first page how a patch gets its dose."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from kit.design import doses, patch_grams, stripe_grams, weighed
from kit.errors import Misuse
from kit.photo import tile_marker
from kit.series import CAUTIONS, OPENING_UM, Series, heat_of_session, stripe_counts
from kit.sheets.paper import MARGIN_MM, Paper, mark_data, shrink_to, tile_map
from kit.sheets.shopping_list import CALIBRATED_BY, CALIBRATION_CARD_CM2, Weighing
from kit.wording import (
    amount,
    coat_weight,
    counted,
    fine_grams,
    grams,
    listed,
    mm_and_inches,
    sifter,
)

_MARK_MM = 13.0
_WIDEST_BESIDE_MM = 72.0
"""Blanks up to this width are drawn beside the table, wider ones above it."""
_TALLEST_MAP_MM = 120.0
_FRAME_MM = 6.0
_ON = {True: " on one base", False: " on a stripe"}
_MOST_LINES = 9
"""Lines to write on beside a colour; with more coats and sifters patches are dosed by spoon."""


def bench_card_data(
    series: Series, paper: Paper, tiles: Sequence[int], weighing: Weighing
) -> dict[str, Any]:
    """Gather what the cards of some tiles say."""
    settings = series.settings
    beside = settings.blank.width_mm <= _WIDEST_BESIDE_MM
    page_mm = paper.height_mm if lies_on_its_side(series, paper) else paper.width_mm
    room = _WIDEST_BESIDE_MM if beside else page_mm - 2 * MARGIN_MM - _FRAME_MM
    family = series.colours.set_index("colour")["family"]
    coats, stripes = stripe_grams(series), stripe_counts(series)
    patches = series.patches.assign(
        landed=patch_grams(series), family=series.patches["overlay"].map(family)
    )
    cards = []
    for row in series.tiles.itertuples():
        if row.tile not in set(tiles):
            continue
        own = patches[patches["tile"] == row.tile].sort_values("position")
        own = own.assign(on=(own["position"] - 1) % stripes[row.tile] + 1)
        cards.append(
            {
                "tile": int(row.tile),
                "mark": _mark(int(row.tile)),
                "map": tile_map(settings, int(stripes[row.tile])),
                "bases": [
                    {
                        "stripe": int(base.stripe),
                        "width": mm_and_inches(round(base.share * settings.blank.width_mm, 1)),
                        "places": _places(own.loc[own["on"] == base.stripe, "position"]),
                        "colour": base.base,
                        "family": family[base.base],
                        "landed": grams(base.landed),
                        "weigh": grams(base.weigh),
                    }
                    for base in coats[coats["tile"] == row.tile].itertuples()
                ],
                "coats": counted(int(row.coats), "coat"),
                "mesh": sifter(int(row.mesh), OPENING_UM[row.mesh]),
                "session": int(row.session),
                "heat": heat_of_session(series, int(row.session)),
                "patches": [_patch(patch, settings.sifting_loss) for patch in own.itertuples()],
                "later": [int(p) for p in own.loc[own["before_firing"] > 1, "position"]],
            }
        )
    return {
        "cards": cards,
        "beside": beside,
        "shrink": shrink_to(settings, room, _TALLEST_MAP_MM),
        "weighing": weighing,
        "doses": _doses(series, set(tiles)) if weighing == "once" else None,
        "cautions": [vars(c) for c in CAUTIONS],
    }


def _doses(series: Series, tiles: set[int]) -> dict[str, Any]:
    """Say what to weigh once for each overlay of some tiles, and what to divide by it."""
    own = series.patches[series.patches["tile"].isin(tiles)]
    needed = doses(replace(series, patches=own))
    kinds = ["coat_weight", "opening_cm2"]
    coats = needed.drop_duplicates(kinds).sort_values(kinds)
    several = len(set(coats["opening_cm2"])) > 1
    usual = series.settings.stencil.area_cm2
    passes = coats["coat_weight"].drop_duplicates()
    meshes = sorted({int(mesh) for mesh in own["mesh"]})
    fits = 1 + len(coats) + (1 + len(passes)) * len(meshes) <= _MOST_LINES
    return {
        "count": CALIBRATED_BY,
        "loss": amount(series.settings.sifting_loss, "loss_share"),
        "colours": list(needed["colour"].drop_duplicates()),
        "meshes": meshes if fits else [],
        "spoons": [
            {
                "coat": coat_weight(row.coat_weight)
                + (_ON[row.opening_cm2 == usual] if several else ""),
                "weigh": grams(CALIBRATED_BY * row.dose_g),
            }
            for row in coats.itertuples()
        ],
        "passes": [
            {
                "coat": coat_weight(weight),
                "weigh": grams(CALIBRATED_BY * weight * CALIBRATION_CARD_CM2 / 1000),
            }
            for weight in passes
        ],
    }


def _places(positions: pd.Series) -> str:
    named = listed([str(place) for place in positions])
    return f"{'place' if len(positions) == 1 else 'places'} {named}"


def lies_on_its_side(series: Series, paper: Paper) -> bool:
    """Whether the blank is so wide that its map needs the long side of the paper."""
    upright_mm = paper.width_mm - 2 * MARGIN_MM - _FRAME_MM
    return series.settings.blank.width_mm > upright_mm


def _patch(patch: Any, loss: float) -> dict[str, Any]:
    return {
        "place": int(patch.position),
        "overlay": patch.overlay,
        "family": patch.family,
        "mesh": int(patch.mesh),
        "before": int(patch.before_firing),
        "coat": coat_weight(patch.coat_weight),
        "landed": fine_grams(patch.landed),
        "weigh": fine_grams(weighed(patch.landed, loss)),
    }


def _mark(tile: int) -> list[dict[str, Any]] | None:
    """The mark that the camera reads, or None for a tile beyond the last that has one."""
    try:
        return mark_data(tile_marker(tile), _MARK_MM)
    except Misuse:
        return None
