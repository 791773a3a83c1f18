"""A series in memory and on disk: words, tables, checks, import and export."""

from kit.series.blank import Blank, Position, Stencil, positions
from kit.series.disk import locked, replace_files, write_whole
from kit.series.mesh import OPENING_UM
from kit.series.names import checked_name, patch_name
from kit.series.observations import losses, observations, patches_in_full
from kit.series.places import report_folder, series_folder, studio_folder
from kit.series.scales import PULL_THROUGH, SPREAD, Scale
from kit.series.series import Series, examine, new_series, read_series
from kit.series.settings import DEFAULT_FACTORS, FACTORS, UNITS, Settings, Verdict, Wish
from kit.series.start import start_series
from kit.series.tables import Column, Table, series_tables
from kit.series.words import ACCIDENTS, ASKS, FAMILIES, FAMILY_PAIRS, OPACITIES, family_pair

__all__ = [
    "ACCIDENTS",
    "ASKS",
    "DEFAULT_FACTORS",
    "FACTORS",
    "FAMILIES",
    "FAMILY_PAIRS",
    "OPACITIES",
    "OPENING_UM",
    "PULL_THROUGH",
    "SPREAD",
    "UNITS",
    "Blank",
    "Column",
    "Position",
    "Scale",
    "Series",
    "Settings",
    "Stencil",
    "Table",
    "Verdict",
    "Wish",
    "checked_name",
    "examine",
    "family_pair",
    "locked",
    "losses",
    "new_series",
    "observations",
    "patch_name",
    "patches_in_full",
    "positions",
    "read_series",
    "replace_files",
    "report_folder",
    "series_folder",
    "series_tables",
    "start_series",
    "studio_folder",
    "write_whole",
]
