"""Which colour, recipe, place, session and turn each tile and patch gets, and what it all costs."""

from kit.design.layout.bench_order import order_of_work
from kit.design.layout.colour_allocation import deal_bases, deal_overlays
from kit.design.layout.places_and_sessions import balanced_positions, deal_sessions, number_tiles
from kit.design.layout.plan_tables import laid_out
from kit.design.layout.recipe_allocation import deal_recipe
from kit.design.layout.session_levels import (
    check_session_levels,
    deal_session_levels,
    known_between_sessions,
)

__all__ = [
    "balanced_positions",
    "check_session_levels",
    "deal_bases",
    "deal_overlays",
    "deal_recipe",
    "deal_session_levels",
    "deal_sessions",
    "known_between_sessions",
    "laid_out",
    "number_tiles",
    "order_of_work",
]
