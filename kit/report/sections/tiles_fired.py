"""What is planned and what was fired, when, and why so few."""

import pandas as pd

from kit.design import saving
from kit.drawing import Drawing, TileShown, Trip, firing_timeline, tiles_as_graded, tiles_as_planned
from kit.errors import Misuse
from kit.record import loss_balance
from kit.report.analysis import Analysis
from kit.report.findings.tile_outcomes import score_outcome
from kit.report.page.document import Block, Paragraph, Section, TableBlock, table_of
from kit.series import (
    UNITS,
    Scale,
    Series,
    Settings,
    last_grades,
    losses,
    over_another,
    patches_in_full,
    stencil_on,
    stripe_counts,
)
from kit.wording import FACTOR_NAMES, counted, listed, mm_and_inches, percent

_MOST_ON_A_PICTURE = 48


def fired(analysis: Analysis) -> Section:
    """Say what was fired, why not every pair, and what was lost."""
    series = analysis.series
    blocks: list[Block] = [
        Paragraph(_sizes(analysis)),
        Paragraph(_why_so_few(analysis)),
        *_saved(analysis),
        _settings_table(analysis),
        *((Paragraph(loss_balance(series).sentence()),) if len(series.firings) else ()),
    ]
    if len(analysis.observations) and len(series.tiles) <= _MOST_ON_A_PICTURE:
        blocks += [_tiles(analysis, scale) for scale in analysis.scales]
    title = "What we fired" if len(series.firings) else "What is planned"
    return Section("fired", f"{title}, and why so few", tuple(blocks))


def _tiles(analysis: Analysis, scale: Scale) -> Drawing:
    """Draw every tile after its last firing, by one scale."""
    series = analysis.series
    last = last_grades(analysis.observations, scale.name)
    lost = set(losses(series)["patch"])
    by_tile = dict(iter(last.groupby("tile")))
    stripes = stripe_counts(series)
    shown = []
    for tile, base in zip(series.tiles["tile"], series.tiles["base"], strict=True):
        here = by_tile.get(tile, last.iloc[:0])
        grades = dict(zip(here["position"], here["grade"], strict=True))
        gone = frozenset(here.loc[here["patch"].isin(lost), "position"])
        shown.append(TileShown(f"{tile} {base}", grades, gone, stripes=int(stripes[tile])))
    title, alt = score_outcome(scale, last[~last["patch"].isin(lost)])
    name = f"tiles-{scale.name.replace('_', '-')}"
    return tiles_as_graded(series.settings, shown, scale, name, title, alt)


def _sizes(analysis: Analysis) -> str:
    series, seen = analysis.series, analysis.observations
    size = mm_and_inches(series.settings.blank.width_mm)
    graders = sorted(set(seen["grader"]))
    took = "took" if len(seen) else "shall take"
    made = (
        f"{counted(len(series.tiles), 'copper tile')}, {size} wide, {took} "
        f"{counted(len(series.patches), 'stencilled patch', 'stencilled patches')}: "
        f"{_by_size(series)}."
    )
    if not len(seen):
        return f"{made} Nothing has been graded yet."
    return (
        f"{made} They were fired up to {counted(int(seen['firings'].max()), 'time')} and graded by "
        f"{listed(graders)}: {counted(len(seen), 'grading')} in all."
    )


def _by_size(series: Series) -> str:
    """'8 of 14 mm (0.55 in) and 36 of 10 mm (0.39 in)', the largest first."""
    stripes = series.patches["tile"].map(stripe_counts(series))
    sizes = stripes.map(lambda count: stencil_on(series.settings, int(count)).size_mm)
    numbers = sizes.value_counts().sort_index(ascending=False)
    if len(numbers) < 2:
        return f"all of {mm_and_inches(next(iter(numbers.index), series.settings.stencil.size_mm))}"
    return listed([f"{count} of {mm_and_inches(size)}" for size, count in numbers.items()])


def _why_so_few(analysis: Analysis) -> str:
    series = analysis.series
    used = series.stock
    by_family = used["family"].value_counts()
    stock = listed([f"{count} {family}" for family, count in by_family.items()])
    pairs = len(used) * (len(used) - 1)
    fired = len(over_another(patches_in_full(analysis.series))[["base", "overlay"]].value_counts())
    return (
        f"{counted(len(used), 'colour')} ({stock}) can be laid over one another in {pairs} ways, "
        "counting which one is below, before sifter, coat or firings are varied. Firing every one "
        f"would take {pairs} patches. This series fires {fired} of the {pairs}, chosen so that "
        "each colour is seen over and under several others; what a colour does in fired pairs "
        "tells what to expect of it in those that were not."
    )


def _saved(analysis: Analysis) -> tuple[Paragraph, ...]:
    try:
        told = saving(analysis.series)
    except Misuse:
        return ()
    fired, every = int(told.table.at["this plan", "patches"]), told.pairs
    less = f"{percent(1 - fired / every)} fewer" if fired < every else "no fewer"
    once = (
        f"Against one patch for every pair, at one setting only, the saving is smaller: {fired} "
        f"patches instead of {every}, {less}."
    )
    return (Paragraph(" ".join([*told.sentences(), once])),)


def _settings_table(analysis: Analysis) -> TableBlock:
    rows = []
    for name, levels in analysis.series.settings.factors.items():
        unit = f" {UNITS[name]}" if name in UNITS else ""
        words = [f"{level:g}" if isinstance(level, int | float) else level for level in levels]
        rows.append((FACTOR_NAMES[name].heading, listed(words) + unit))
    frame = pd.DataFrame(rows, columns=["What", "Levels"])
    return table_of("What was varied, and what was kept the same", frame)


def recorded(series: Series) -> Section:
    """Say what has been fired, graded and lost so far."""
    firings = series.firings[series.firings["firing"] > 0]
    graded = series.grades.groupby(["grader", "firing"]).size()
    frame = pd.DataFrame(
        {
            "After firing": [str(number) for number in sorted(set(firings["firing"]))],
            "Tiles fired": [int(n) for n in firings.groupby("firing").size()],
        }
    )
    for grader in sorted(set(series.grades["grader"])):
        counts = [int(graded.get((grader, int(n)), 0)) for n in frame["After firing"]]
        frame[f"Graded by {grader}"] = counts
    patches = counted(len(patches_in_full(series)), "patch", "patches")
    told = f"{patches} are planned on {counted(len(series.tiles), 'tile')}."
    return Section(
        "recorded",
        "Recorded so far",
        (
            Paragraph(told),
            *((table_of("Tiles fired and patches graded", frame),) if len(frame) else ()),
            Paragraph(loss_balance(series).sentence()),
        ),
    )


def planned_tiles(settings: Settings, tiles: pd.DataFrame, patches: pd.DataFrame) -> Drawing:
    """Draw a plan as tiles: the base above each, its overlays by position beside it.

    Parameters
    ----------
    settings : Settings
    tiles, patches : DataFrame
        Columns as in tiles.csv and patches.csv.
    """
    by_tile = dict(iter(patches.groupby("tile")))
    shown = [
        TileShown(
            f"Tile {row.tile}: {row.base}",
            overlays=dict(
                zip(
                    by_tile[row.tile]["position"].astype(int),
                    by_tile[row.tile]["overlay"],
                    strict=True,
                )
            )
            if row.tile in by_tile
            else {},
        )
        for row in tiles.itertuples()
    ]
    title = (
        f"The plan: {counted(len(tiles), 'tile')} of {counted(tiles['base'].nunique(), 'base')} "
        f"carry {counted(len(patches), 'patch', 'patches')}"
    )
    alt = "; ".join(
        f"{tile.heading}, with {', '.join(tile.overlays.values()) or 'no patch'}" for tile in shown
    )
    return tiles_as_planned(settings, shown, "plan", title, f"{alt}.", across=2)


def timeline(series: Series) -> Drawing | None:
    """Draw when each tile went through the heat; None when nothing was fired."""
    if series.firings.empty:
        return None
    bases = series.tiles.set_index("tile")["base"]
    trips = [
        Trip(
            f"{row.tile} {bases.get(row.tile, '')}", int(row.session), int(row.firing), row.accident
        )
        for row in series.firings.sort_values(["tile", "firing"]).itertuples()
    ]
    return firing_timeline(trips)
