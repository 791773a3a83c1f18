"""What each table of a series holds: columns, types, limits, keys and references.

One definition serves the checks, the typed data frames, the files the kit writes and
datapackage.json.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from kit.series.grade_scales import Scale
from kit.series.vocabulary import FAMILIES, FUSINGS, GRAINS, HEATS, OPACITIES, OPENING_UM

Kind = Literal["text", "whole", "number"]


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    name : str
    kind : {'text', 'whole', 'number'}
    meaning : str
        One sentence for the person who fills it in.
    unit : str
    required : bool
        Whether a cell may be left blank.
    allowed : tuple
        The only values a cell may take; any when empty.
    minimum, maximum : float or None
    """

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    required: bool = True
    allowed: tuple[str, ...] | tuple[int, ...] = ()
    minimum: float | None = None
    maximum: float | None = None

    @property
    def dtype(self) -> str:
        if self.kind == "text":
            return "str"
        if self.kind == "number":
            return "float64"
        return "int64" if self.required else "Int64"


@dataclass(frozen=True)
class Table:
    """One CSV file of a series.

    Parameters
    ----------
    name : str
        File name without '.csv'.
    key : tuple of str
        Columns that together name a row.
    columns : tuple of Column
    refers : dict
        Column name to the (table, column) whose values it must be among.
    optional : bool
        Whether the file may be absent.
    """

    name: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    refers: dict[str, tuple[str, str]] = field(default_factory=dict)
    optional: bool = False

    @property
    def file(self) -> str:
        return f"{self.name}.csv"

    def __getitem__(self, column: str) -> Column:
        return next(c for c in self.columns if c.name == column)


def patch_name(tile: int, position: int) -> str:
    """Name a patch by its tile and position: 'T7-3'.

    The letter keeps spreadsheets from reading it as a date.
    """
    return f"T{tile}-{position}"


MESHES = tuple(OPENING_UM)


def _mesh(of: str) -> Column:
    return Column("mesh", "whole", f"Sifter used for the {of}, by mesh number.", allowed=MESHES)


def _coat_weight(of: str) -> Column:
    meaning = f"Dry enamel sifted per area for each coat of the {of}."
    return Column("coat_weight", "number", meaning, unit="mg/cm²", minimum=1, maximum=500)


COLOURS = Table(
    "colours",
    ("colour",),
    (
        Column("colour", "text", "Name on the jar."),
        Column("family", "text", "Lead-bearing or lead-free.", allowed=FAMILIES),
        Column("opacity", "text", "How it looks when fired.", required=False, allowed=OPACITIES),
        Column("grain", "text", "How it feels in the jar.", required=False, allowed=GRAINS),
        Column(
            "fusing",
            "text",
            "How soon it flows in the heat: soft early, hard late.",
            required=False,
            allowed=FUSINGS,
        ),
        Column(
            "like",
            "text",
            "The colour of the other family that looks most like it.",
            required=False,
        ),
        Column("notes", "text", "Anything worth keeping.", required=False),
    ),
    {"like": ("colours", "colour")},
)

TILES = Table(
    "tiles",
    ("tile",),
    (
        Column("tile", "whole", "Number on the back of the tile.", minimum=1, maximum=9999),
        Column("base", "text", "Colour that covers the tile."),
        Column("coats", "whole", "Number of base coats.", minimum=1, maximum=9),
        _mesh("base"),
        _coat_weight("base"),
        Column("session", "whole", "Sitting at the heat it is made in.", minimum=1),
        Column(
            "firings",
            "whole",
            "How often it is to be fired; blank for as often as the series asks.",
            required=False,
            minimum=1,
            maximum=20,
        ),
    ),
    {"base": ("colours", "colour")},
)

PATCHES = Table(
    "patches",
    ("patch",),
    (
        Column("patch", "text", "Tile and position, such as T7-3."),
        Column("tile", "whole", "Tile it is sifted on.", minimum=1, maximum=9999),
        Column("position", "whole", "Numbered place on the tile.", minimum=1, maximum=99),
        Column("overlay", "text", "Colour that is stencilled."),
        _mesh("overlay"),
        _coat_weight("overlay"),
        Column("before_firing", "whole", "Firing it goes on before.", minimum=1, maximum=20),
        Column("accident", "text", "Why the patch is lost; blank if it is not.", required=False),
        Column(
            "lost_at",
            "whole",
            "Firing of the tile at which it was lost: what was seen before counts. Blank if it was "
            "never right.",
            required=False,
            minimum=0,
            maximum=20,
        ),
    ),
    {"tile": ("tiles", "tile"), "overlay": ("colours", "colour")},
)

STRIPES = Table(
    "stripes",
    ("tile", "stripe"),
    (
        Column("tile", "whole", "Tile that carries the stripe.", minimum=1, maximum=9999),
        Column("stripe", "whole", "Its number, from 1 at the left.", minimum=1, maximum=3),
        Column("base", "text", "Colour of the stripe; the first is the tile's base."),
    ),
    {"tile": ("tiles", "tile"), "base": ("colours", "colour")},
    optional=True,
)
"""Bases of tiles that carry several. The file is there once a tile does."""

SESSIONS = Table(
    "sessions",
    ("session",),
    (
        Column("session", "whole", "Sitting at the heat.", minimum=1),
        Column(
            "minutes",
            "number",
            "Time in the heat that is planned for each of its firings.",
            unit="min",
            required=False,
            minimum=0.1,
            maximum=60,
        ),
        Column("heat", "text", "What it is to be fired with.", required=False, allowed=HEATS),
    ),
    optional=True,
)
"""What changes from session to session. The file is there once a plan compares that."""

FIRINGS = Table(
    "firings",
    ("tile", "firing"),
    (
        Column("tile", "whole", "Tile that was fired.", minimum=1, maximum=9999),
        Column(
            "firing",
            "whole",
            "Firing number of the tile, from 1 for the first with a stencil on it; "
            "0 stands for the firing of the base coats.",
            minimum=0,
            maximum=20,
        ),
        Column("session", "whole", "Sitting at the heat.", minimum=1),
        Column(
            "minutes",
            "number",
            "Time in the heat.",
            unit="min",
            required=False,
            minimum=0.1,
            maximum=60,
        ),
        Column("heat", "text", "Torch or kiln, and how hot.", required=False),
        Column("accident", "text", "What spoiled the tile; blank if nothing did.", required=False),
        Column("note", "text", "Anything seen.", required=False),
    ),
    {"tile": ("tiles", "tile")},
)


def grades_table(scales: Iterable[Scale]) -> Table:
    """Build the table of grades for the scales of a series."""
    scored = tuple(
        Column(scale.name, "whole", scale.question, required=False, allowed=tuple(scale.grades))
        for scale in scales
    )
    return Table(
        "grades",
        ("patch", "firing", "grader"),
        (
            Column("patch", "text", "Patch that was graded."),
            Column("firing", "whole", "Firing of the tile it was graded after.", minimum=1),
            Column("grader", "text", "Who graded."),
            *scored,
            Column("note", "text", "Anything seen.", required=False),
        ),
        {"patch": ("patches", "patch")},
    )


CORRECTIONS = Table(
    "corrections",
    ("change",),
    (
        Column("change", "whole", "Number of the correction, from 1.", minimum=1),
        Column("table", "text", "Table that was corrected."),
        Column("tile", "whole", "Tile that was corrected.", minimum=1, maximum=9999),
        Column("patch", "text", "Patch that was corrected; blank for a tile.", required=False),
        Column("firing", "whole", "Firing of the tile.", required=False, minimum=0, maximum=20),
        Column("grader", "text", "Whose grade it was.", required=False),
        Column("column", "text", "Column that was corrected."),
        Column("was", "text", "What stood there.", required=False),
        Column("now", "text", "What stands there since.", required=False),
        Column("by", "text", "Who corrected it."),
        Column("at", "text", "When, with the distance from universal time."),
        Column("source", "text", "File it came from, in received/, or the form."),
    ),
    {"tile": ("tiles", "tile")},
    optional=True,
)
"""What was corrected, beside what it was before. The file is there once there is a correction."""


def _measure(name: str, meaning: str, unit: str = "") -> tuple[Column, Column]:
    error = f"Standard error of {name}: how far it may typically be off."
    return (
        Column(name, "number", meaning, unit=unit, required=False),
        Column(f"{name}_se", "number", error, unit=unit, required=False),
    )


def _lab(name: str, of: str) -> tuple[Column, ...]:
    return tuple(
        Column(f"{name}_{axis}", "number", f"CIELAB {axis}* of the {of}.", required=False)
        for axis in "lab"
    )


MEASUREMENTS = Table(
    "measurements",
    ("patch", "firing", "picture"),
    (
        Column("patch", "text", "Patch that was measured."),
        Column("firing", "whole", "Firing of the tile it was photographed after.", minimum=1),
        Column("picture", "text", "File in photos/."),
        Column("picture_sha256", "text", "Fingerprint of that file's content."),
        *_measure("spread_mm", "Mean distance of the edge beyond the stencil's line.", "mm"),
        *_measure("spread_p95_mm", "Distance that 95 in 100 of the edge stay within.", "mm"),
        *_measure("edge_width_mm", "Width over which the edge fades, from 10 to 90 %.", "mm"),
        Column(
            "edge_width_floor_mm",
            "number",
            "Narrowest edge that the picture can tell; a width below it means 'or less'.",
            unit="mm",
            required=False,
        ),
        *_measure("pull_through_share", "Share of the core in which the base shows, 0 to 1."),
        *_measure("mottle_fine", "Fine unevenness of lightness inside the core (CIELAB L*)."),
        *_measure("mottle_coarse", "Coarse unevenness of lightness inside the core (CIELAB L*)."),
        *_measure("colour_shift", "Change of colour since the earliest picture (CIEDE2000)."),
        *_lab("base", "base beside the patch"),
        *_lab("overlay", "patch"),
        Column(
            "quality",
            "text",
            "How far the measurement can be trusted.",
            allowed=("good", "fair", "poor", "not measured"),
        ),
        Column("remark", "text", "Why it is not better.", required=False),
        Column(
            "accepted",
            "text",
            "Your own word: 'no' strikes it out, 'yes' keeps it.",
            required=False,
            allowed=("yes", "no"),
        ),
    ),
    {"patch": ("patches", "patch")},
    optional=True,
)
"""What the photographs gave. The file is there once a picture has been measured."""


def series_tables(scales: Iterable[Scale]) -> dict[str, Table]:
    """All tables of a series by name, in the order they are written."""
    graded = grades_table(scales)
    tables = (
        *(COLOURS, TILES, STRIPES, SESSIONS, PATCHES),
        *(FIRINGS, graded, CORRECTIONS, MEASUREMENTS),
    )
    return {table.name: table for table in tables}
