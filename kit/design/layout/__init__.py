"""Which colour, recipe, place, session and turn each tile and patch gets, and what it all costs."""

from kit.design.layout.bench_order import order_of_work
from kit.design.layout.fraction_allocation import deal_bases, deal_overlays, deal_recipe
from kit.design.layout.plan_tables import (
    TILE_FACTORS,
    Draft,
    balanced_positions,
    deal_sessions,
    held_in_words,
    laid_out,
    number_tiles,
    usual_recipe,
)
from kit.design.layout.session_levels import (
    check_session_levels,
    deal_session_levels,
    known_between_sessions,
)

__all__ = [
    "TILE_FACTORS",
    "Draft",
    "balanced_positions",
    "check_session_levels",
    "deal_bases",
    "deal_overlays",
    "deal_recipe",
    "deal_session_levels",
    "deal_sessions",
    "held_in_words",
    "known_between_sessions",
    "laid_out",
    "number_tiles",
    "order_of_work",
    "usual_recipe",
]
