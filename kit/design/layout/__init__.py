"""Which colour, recipe, place, session and turn each tile and patch gets, and what it all costs."""

from kit.design.layout.bench_order import order_of_work
from kit.design.layout.colour_allocation import deal_bases, deal_overlays
from kit.design.layout.places_and_sessions import balanced_positions, deal_sessions, number_tiles
from kit.design.layout.plan_tables import laid_out
from kit.design.layout.recipe_allocation import deal_recipe

__all__ = [
    "balanced_positions",
    "deal_bases",
    "deal_overlays",
    "deal_recipe",
    "deal_sessions",
    "laid_out",
    "number_tiles",
    "order_of_work",
]
