"""The shopping and cutting list."""

from typing import Any, Literal

from kit.design import copper_needed, counter_enamel_g, enamel_needed
from kit.series import (
    OPENING_UM,
    Series,
    Settings,
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

Weighing = Literal["once", "each"]
"""Whether patches are dosed by a measure that is weighed once, or each is weighed by itself."""

CALIBRATED_BY = 10
"""Spoons, or passes of the sifter, that are weighed together: a scale that shows 0.01 g then tells
a dose of 0.09 g to about one part in a hundred. Common practice, no source."""

CALIBRATION_CARD_CM2 = 100
"""Card that passes of the sifter are weighed on, 10 × 10 cm."""

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
