"""A new series on disk: a series.toml with a word about every setting, and empty tables."""

import datetime as dt
from pathlib import Path

import tomlkit

from kit.errors import Misuse
from kit.series import settings_file
from kit.series.cells import empty_frame
from kit.series.disk import is_begun, replace_files
from kit.series.grade_scales import DEFAULT_SCALES, Scale
from kit.series.series import new_series
from kit.series.tables import COLOURS

_SERIES_TOML = """\
# What this series is about. Change what stands after an = sign; lines with # are notes.

format = {format}

title = "{title}"
question = "Which of my colours can I stencil over which?"

# What do you need to know? One of:
#   "which things matter"   families, sifter, coat weight, firings: what changes the result
#   "which pairs work"      as many pairs of colours as possible, foretold from few samples
#   "is this pair safe"     the pairs under [[wish]] below, fired again and again
ask = "which pairs work"

# The day it was begun, and the series that it goes on from, such as ["spring-stencils"].
started = {started}
follows = []

# Earlier series of yours, such as ["spring-stencils"], that this one starts from: what they showed
# of families, of the steps of the scales and of how much colours, tiles and graders vary is taken
# for known beforehand, in the plan and in the report. None of their grades counts twice.
# Left empty, this series starts afresh.
learns_from = []

# Random choices follow from this number: the same number gives the same plan.
seed = {seed}

# List your jars in colours.csv. These columns of it take set words:
{words}

# Colours in colours.csv that this series does not use.
leave_out = []

# Colours whose jar is empty: what was fired of them counts, and no more is planned.
used_up = []

[blank]
shape = "square"          # square, round or strip
width_mm = 50             # 50 mm is about 2 in
height_mm = 50
thickness_mm = 1.2        # 1.2 mm is about 0.047 in
clearance_mm = 4          # least distance between patches, and to the rim

[stencil]
shape = "disc"            # disc, square or bar
size_mm = 14

[budget]
tiles = 24
patches_per_tile = 4
tiles_per_session = 8     # as many as you can make and fire in one sitting
stripes = 1               # 2 or 3: that many bases on one tile, side by side, for less heat
small_stencil_mm = 10     # patches on such tiles

# What is varied. One level keeps a thing as it is; two or three levels compare.
[factors]
base_family = ["leaded", "unleaded"]
overlay_family = ["leaded", "unleaded"]
base_coats = [2]
base_mesh = [80]
base_coat_weight = [60]   # dry enamel a coat, mg on each cm²
mesh = [100]              # sifter for the stencilled overlay
coat_weight = [40]
firings = [1, 2, 3]       # grade after each of these
# These change from one session to the next, and need two sessions for each level. Take the # away
# for what you want to know about.
# minutes = [1.5, 2.5]    # time in the heat, of every firing of a session
# heat = ["torch", "kiln"]

[grading]
graders = []              # names or initials, such as ["AB", "CD"]
blind = true              # hide the recipe while grading

# The rule that a pair is judged by.
[verdict]
fine_edge_at_most = 1     # a fine edge: spread and pull-through both at or below this step
breaks_through_from = 2   # broken through: pull-through at or above this step
fine_edge_mm = 0.5        # for photographs: spread at most this, 0.5 mm is about 0.02 in
fine_edge_share = 0.1     # for photographs: the base shows in at most this share of the patch
photographs = true        # they count beside the grades; false for the grades alone
confidence = 0.8          # how likely a thing must be before the kit says it
mesh = 100
base_mesh = 80
coat_weight = 40
base_coat_weight = 60
firings = 3

[bench]
sifting_loss = 0.3        # share of the powder that misses the tile
minutes_per_firing = 1.5

# What things cost you, if a plan shall be costed in money. Take the # away and put in yours.
# [prices]
# currency = "EUR"        # any name; only written behind the amount
# copper_per_kg = 20
# enamel_per_100_g = 10
# heat_per_trip = 0.1     # gas or current for one tile once through the heat
# heat_per_hour = 0       # or for an hour at the heat

# If you photograph the tiles: two lengths on the printed photo card, measured with a rule
# between the outer edges of its corner marks. Take the # away and put in yours.
# [photo]
# card_across_mm = 100
# card_down_mm = 100

# Pairs you want to know about above others. Take the # away and copy as often as you like.
# [[wish]]
# base = "name of the colour below"
# overlay = "name of the stencilled colour"

# What is graded, in your own words: five steps each, from none to total.
{scales}"""


def start_series(folder: Path, seed: int) -> Path:
    """Make the folder of a new series, ready for the person to fill in.

    Raises
    ------
    Misuse
        When the folder exists already.
    """
    if is_begun(folder):
        raise Misuse(f"{folder} exists already. Choose another name; nothing was changed.")
    title = folder.name.replace("-", " ").capitalize()
    content = series_toml(title, seed, dt.date.today())
    settings, problems = settings_file.parse_settings(content)
    assert settings is not None, problems
    series = new_series(folder.name, settings, empty_frame(COLOURS))
    replace_files(folder, series.files() | {settings_file.FILE: content}, seen={})
    return folder


def series_toml(title: str, seed: int, started: dt.date) -> bytes:
    """Fill in the series.toml that a new series starts with."""
    filled = {
        "format": settings_file.FORMAT,
        "title": title,
        "seed": seed,
        "started": started.isoformat(),
        "words": "\n".join(f"#   {line}" for line in colour_words()),
        "scales": "\n".join(map(_scale_toml, DEFAULT_SCALES)),
    }
    text = _SERIES_TOML
    for name, value in filled.items():
        text = text.replace(f"{{{name}}}", str(value))
    return text.encode("utf-8")


def colour_words() -> list[str]:
    """Say for each column of colours.csv that takes set words which: 'grain: fine or coarse'."""
    return [
        f"{column.name}: {', '.join(map(str, column.allowed[:-1]))} or {column.allowed[-1]}"
        f"{' (may stay blank)' if not column.required else ''}"
        for column in COLOURS.columns
        if column.allowed
    ]


def _scale_toml(scale: Scale) -> str:
    told = [f"{name} = {_quoted(getattr(scale, name))}" for name in ("name", "title", "question")]
    steps = [f"    {_quoted(step)}," for step in scale.steps]
    return "\n".join(["[[scale]]", *told, "steps = [", *steps, "]\n"])


def _quoted(text: str) -> str:
    return tomlkit.string(text).as_string()
