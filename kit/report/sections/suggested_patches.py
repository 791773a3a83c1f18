"""What to fire next."""

import pandas as pd

from kit.design import NEXT_TILES, TileFormat, next_patches
from kit.errors import Misuse
from kit.model import PairSetting
from kit.report.analysis import Analysis
from kit.report.figures.tile_budget import rounds_picture
from kit.report.findings.headline import asked_pairs
from kit.report.findings.verdict_history import verdicts_by_round
from kit.report.page.document import (
    Block,
    Bullets,
    Fold,
    Paragraph,
    Point,
    Section,
    TableBlock,
    table_of,
)
from kit.wording import counted, listed


def next_round(analysis: Analysis) -> Section:
    """Suggest the patches that would settle most of what is not known yet."""
    name, title = "next", "What to fire next"
    if not len(analysis.observations):
        told = "The tiles of the plan: nothing has been graded yet."
        return Section(name, title, (Paragraph(told),))
    if analysis.pairs.empty:
        return Section(name, title, (Paragraph(f"First this: {analysis.judged.missing}"),))
    alone = analysis.series.settings.ask == "is this pair safe"
    asked = asked_pairs(analysis) if alone else list(analysis.pairs_found)
    open_pairs = sum(pair.can_be_settled for pair in asked)
    if not open_pairs:
        which = "pair that was asked about" if alone else "pair"
        told = (
            f"More samples would settle no {which}: each has a verdict at every firing count, or "
            "varies from patch to patch by its nature. Fire again only what you are about to rely "
            "on."
        )
        return Section(name, title, (Paragraph(told),))
    try:
        suggested = suggest(analysis, NEXT_TILES)
    except Misuse as reason:
        return Section(name, title, (Paragraph(str(reason)),))
    patches = counted(len(suggested), "patch", "patches")
    blocks: tuple[Block, ...] = (
        Paragraph(
            f"{_open(open_pairs, len(asked), alone)} can still be settled at one firing "
            "count or more. "
            f"These {patches} on {counted(NEXT_TILES, 'tile')} would do most to settle "
            f"{'it' if open_pairs == 1 else 'them'}, as each tells of other pairs of its two "
            "colours too."
        ),
        _by_tile(suggested),
        Fold("What each of these patches would tell", (suggestion_table(suggested),), False),
        *(() if alone else _so_far(analysis)),
    )
    return Section(name, title, blocks)


def _open(open_pairs: int, every: int, alone: bool) -> str:
    if alone and every == 1:
        return "The pair asked about"
    return f"{counted(open_pairs, 'pair')} of {f'the {every} asked about' if alone else every}"


def _by_tile(suggested: pd.DataFrame) -> Bullets:
    """Name the overlays of each tile, which gets its number when it is planned."""
    tiles = suggested.groupby(["tile", "base"], sort=False)["overlay"]
    return Bullets(
        tuple(
            Point(f"{listed(list(overlays))}.", f"A tile with {base} under")
            for (_, base), overlays in tiles
        )
    )


def command(analysis: Analysis) -> str:
    """Say what to type for a plan that goes on from this series."""
    return (
        f"kit new NAME, then kit plan NAME --after {analysis.series.name} --tiles {NEXT_TILES} "
        "(NAME is yours to choose; the colours, prices and wishes come along)."
    )


def _so_far(analysis: Analysis) -> tuple[Block, ...]:
    rounds = verdicts_by_round(analysis)
    return (rounds_picture(rounds),) if len(rounds) > 1 else ()


def suggest(analysis: Analysis, tiles: int) -> pd.DataFrame:
    """Choose patches for some more tiles, as `kit.design.next_patches` does.

    Raises
    ------
    Misuse
        When no such plan exists, or a score has no fit.
    """
    settings = analysis.series.settings
    if analysis.pairs.empty:
        raise Misuse(analysis.judged.missing)
    wishes = pd.DataFrame(
        [(w.base, w.overlay) for w in settings.wishes], columns=["base", "overlay"]
    )
    only = wishes if settings.ask == "is this pair safe" and len(wishes) else None
    stock = analysis.series.stock
    left = len(analysis.series.to_fire)
    divided = TileFormat(settings.patches_per_tile).fitted(left, left)
    return next_patches(
        analysis.fits.by_scale,
        tiles * divided.patches,
        colours=stock,
        setting=PairSetting.of(settings.verdict),
        tile_format=divided,
        targets=only,
        leave_out=[colour for colour in settings.used_up if colour in set(stock["colour"])],
        seed=settings.seed,
    )


def suggestion_table(suggested: pd.DataFrame) -> TableBlock:
    """Set suggested patches as a table."""
    frame = pd.DataFrame(
        {
            "Base": suggested["base"],
            "Overlay": suggested["overlay"],
            "Why": suggested["reason"],
        }
    )
    return table_of("Patches to fire next", frame)
