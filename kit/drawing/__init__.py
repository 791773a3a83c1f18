"""Pictures in plain SVG that page, paper and forms share: charts, tiles, patches, endings."""

from kit.drawing.chart_layout import ChartLayout
from kit.drawing.pair_chart import (
    chance_charts,
    layouts_of,
    pair_charts,
    sign_element,
    sign_symbols,
)
from kit.drawing.patch_drawing import patch_state, step_pictures
from kit.drawing.section import LayerShown, piece_section
from kit.drawing.stacked_bar import ending_bar
from kit.drawing.svg import (
    COPPER,
    GRADE_COLOURS,
    HAIR,
    INK,
    PAPER,
    QUIET,
    Drawing,
    contrast,
    grade_colour,
    ink_on,
    text_width,
)
from kit.drawing.tiles import (
    TileShown,
    Trip,
    firing_timeline,
    short_steps,
    tile_through_firings,
    tiles_as_graded,
    tiles_as_planned,
)

__all__ = [
    "COPPER",
    "GRADE_COLOURS",
    "HAIR",
    "INK",
    "PAPER",
    "QUIET",
    "ChartLayout",
    "Drawing",
    "LayerShown",
    "TileShown",
    "Trip",
    "chance_charts",
    "contrast",
    "ending_bar",
    "firing_timeline",
    "grade_colour",
    "ink_on",
    "layouts_of",
    "pair_charts",
    "patch_state",
    "piece_section",
    "short_steps",
    "sign_element",
    "sign_symbols",
    "step_pictures",
    "text_width",
    "tile_through_firings",
    "tiles_as_graded",
    "tiles_as_planned",
]
