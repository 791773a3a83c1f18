"""A series in memory and on disk: words, tables, checks, import and export."""

from kit.series.blank import Blank, Position, Stencil, positions
from kit.series.cautions import CAUTIONS, DEFERENCE, BenchStep, Caution, cautions_for
from kit.series.cells import convert_cell, empty_frame, nearest, plain_rows, typed_frame
from kit.series.csv_text import guarded, heading_of, read_records
from kit.series.disk import leftovers, locked, replace_files, write_whole, writing
from kit.series.mesh import OPENING_UM
from kit.series.middle_grades import last_grades, middle_grades
from kit.series.new_folder import start_series
from kit.series.observations import (
    colours_in_stock,
    last_firings,
    losses,
    observations,
    patches_in_full,
    tiles_lost,
    with_recipes,
)
from kit.series.paths import checked_name, inside, report_folder, series_folder, studio_folder
from kit.series.scales import PULL_THROUGH, SPREAD, Scale
from kit.series.series import Series, counts_in_words, examine, new_series, read_series
from kit.series.settings import DEFAULT_FACTORS, FACTORS, UNITS, Settings, Verdict, Wish
from kit.series.stripes import (
    bases_by_stripe,
    patches_per_stripe,
    places_on_tile,
    stencil_on,
    stripe_counts,
    stripe_edges,
)
from kit.series.tables import (
    CORRECTIONS,
    FIRINGS,
    MEASUREMENTS,
    PATCHES,
    STRIPES,
    Column,
    Table,
    grades_table,
    patch_name,
    series_tables,
)
from kit.series.vocabulary import ACCIDENTS, ASKS, FAMILIES, FAMILY_PAIRS, OPACITIES, family_pair

__all__ = [
    "ACCIDENTS",
    "ASKS",
    "CAUTIONS",
    "CORRECTIONS",
    "DEFAULT_FACTORS",
    "DEFERENCE",
    "FACTORS",
    "FAMILIES",
    "FAMILY_PAIRS",
    "FIRINGS",
    "MEASUREMENTS",
    "OPACITIES",
    "OPENING_UM",
    "PATCHES",
    "PULL_THROUGH",
    "SPREAD",
    "STRIPES",
    "UNITS",
    "BenchStep",
    "Blank",
    "Caution",
    "Column",
    "Position",
    "Scale",
    "Series",
    "Settings",
    "Stencil",
    "Table",
    "Verdict",
    "Wish",
    "bases_by_stripe",
    "cautions_for",
    "checked_name",
    "colours_in_stock",
    "convert_cell",
    "counts_in_words",
    "empty_frame",
    "examine",
    "family_pair",
    "grades_table",
    "guarded",
    "heading_of",
    "inside",
    "last_firings",
    "last_grades",
    "leftovers",
    "locked",
    "losses",
    "middle_grades",
    "nearest",
    "new_series",
    "observations",
    "patch_name",
    "patches_in_full",
    "patches_per_stripe",
    "places_on_tile",
    "plain_rows",
    "positions",
    "read_records",
    "read_series",
    "replace_files",
    "report_folder",
    "series_folder",
    "series_tables",
    "start_series",
    "stencil_on",
    "stripe_counts",
    "stripe_edges",
    "studio_folder",
    "tiles_lost",
    "typed_frame",
    "with_recipes",
    "write_whole",
    "writing",
]
