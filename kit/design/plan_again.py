"""Planning again from what is left, and adding tiles to a plan."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

import pandas as pd

from kit.design.is_pair_safe import draft_check
from kit.design.layout import (
    check_session_levels,
    deal_session_levels,
    known_between_sessions,
    laid_out,
    order_of_work,
)
from kit.design.plan_costs import Limits
from kit.design.plan_series import (
    Plan,
    check_colours_named,
    only_tiles,
    plan,
    with_used_up,
)
from kit.design.which_pairs import Aim, draft_more_pairs, pair_targets
from kit.design.which_things import draft_things
from kit.design.within_limits import best_within
from kit.errors import Misuse
from kit.series import Series, Settings, patches_in_full
from kit.wording import counted


def tiles_made(series: Series) -> pd.Series:
    """Whether each tile was fired, graded or measured: one row a tile, in order."""
    seen = pd.concat([series.grades["patch"], series.measurements["patch"]])
    graded = series.patches.loc[series.patches["patch"].isin(seen), "tile"]
    return series.tiles["tile"].isin({*series.firings["tile"], *graded})


def replan(
    series: Series,
    *,
    tiles: int | None = None,
    first_tile: int = 1,
    after: Sequence[Series] = (),
    leave_out: Sequence[str] = (),
    palette: Sequence[str] = (),
    wishes_alone: bool = False,
    wrong_costs: float = 0.0,
    limits: Limits | None = None,
    progress: Callable[[str], None] | None = None,
) -> Plan:
    """Plan again from what is left: after losses, a new colour, a jar run low, a session cancelled.

    Tiles that were fired are kept with everything recorded of them; those that were not are planned
    anew, with what the fired ones told or will tell taken into account. Until anything is fired the
    whole plan is replaced.

    Parameters
    ----------
    series : Series
        Planned.
    tiles : int, optional
        How many more tiles can be made; by default as many as were planned and not fired.
    first_tile : int
        The least number of a new tile; numbers go on from those of the fired ones anyhow.
    after : sequence of Series
        Graded series that this one goes on from.
    leave_out : sequence of str
        Colours of which there is no powder left: not fired any more, and kept as used up.
    palette, wishes_alone, wrong_costs, limits, progress
        As for `plan`; the limits hold for the new tiles alone.

    Returns
    -------
    Plan
        Its order of work is that of the new tiles.

    Raises
    ------
    Misuse
        When nothing is left to plan, or the request cannot be met.
    """
    made = tiles_made(series)
    left = tiles if tiles is not None else int((~made).sum())
    if left < 1:
        raise Misuse(
            f"Every tile of {series.name} is fired: say how many more you can make, "
            f"such as kit plan {series.name} --more 3"
        )
    series = _less(series, leave_out, palette, limits)
    settings = replace(series.settings, tiles=left)
    if not made.any():
        return plan(
            _bare(series, settings),
            palette=palette,
            wishes_alone=wishes_alone,
            wrong_costs=wrong_costs,
            limits=limits,
            progress=progress,
        )
    kept = only_tiles(series, series.tiles.loc[made, "tile"])
    wish = (palette, wishes_alone, wrong_costs)
    return _beside(series, kept, settings, first_tile, after, wish, limits, progress)


def plan_more(
    series: Series,
    tiles: int,
    *,
    first_tile: int = 1,
    after: Sequence[Series] = (),
    leave_out: Sequence[str] = (),
    palette: Sequence[str] = (),
    wishes_alone: bool = False,
    wrong_costs: float = 0.0,
    limits: Limits | None = None,
    progress: Callable[[str], None] | None = None,
) -> Plan:
    """Add so many tiles to a plan, for what it leaves open; those that it has stay.

    Parameters
    ----------
    series : Series
        Planned; what is graded of it counts.
    tiles : int
    first_tile, after, leave_out, palette, wishes_alone, wrong_costs, limits, progress
        As for `replan`.

    Returns
    -------
    Plan
        Its order of work is that of the new tiles.
    """
    series = _less(series, leave_out, palette, limits)
    settings = replace(series.settings, tiles=tiles)
    wish = (palette, wishes_alone, wrong_costs)
    return _beside(series, series, settings, first_tile, after, wish, limits, progress)


def _less(
    series: Series, gone: Sequence[str], palette: Sequence[str], limits: Limits | None
) -> Series:
    """The series without what is used up, when every colour named is one of its own."""
    check_colours_named(series, (*gone, *palette), limits)
    return with_used_up(series, gone)


def _bare(series: Series, settings: Settings) -> Series:
    none = {n: getattr(series, n).iloc[:0] for n in ("firings", "grades", "measurements")}
    return replace(only_tiles(series, ()), settings=settings, **none)


def _beside(
    series: Series,
    kept: Series,
    settings: Settings,
    first_tile: int,
    after: Sequence[Series],
    wish: tuple[Sequence[str], bool, float],
    limits: Limits | None,
    progress: Callable[[str], None] | None,
) -> Plan:
    palette, wishes_alone, wrong_costs = wish
    bare = _bare(series, settings)
    last = max(first_tile - 1, int(kept.tiles["tile"].max()))

    def drawn_up(within: Settings, not_bases: Collection[str] = ()) -> Plan:
        check_session_levels(within, kept.sessions)
        asked = replace(bare, settings=within)
        stock = asked.to_fire
        if within.ask == "which pairs work":
            aim = Aim(pair_targets(within, stock, palette, wishes_alone), wrong_costs, not_bases)
            draft = draft_more_pairs(within, stock, kept, aim, progress, after)
        elif within.ask == "which things matter":
            draft = draft_things(within, stock, progress=progress, fired=patches_in_full(kept))
        else:
            draft = draft_check(within, stock)
        more = laid_out(draft, asked, last, int(kept.tiles["session"].max()))
        whole = {
            name: pd.concat([getattr(kept, name), getattr(more, name)], ignore_index=True)
            for name in ("tiles", "patches", "stripes")
        }
        own = replace(within, tiles=len(whole["tiles"]), leave_out=series.settings.leave_out)
        planned = deal_session_levels(
            replace(series, settings=own, sessions=kept.sessions, **whole)
        )
        numbers = more.tiles["tile"]
        stays = "stays as it is" if len(kept.tiles) == 1 else "stay as they are"
        why = (
            f"{counted(len(kept.tiles), 'tile')} {stays}, with all that is on record; the new ones "
            f"are numbered {numbers.min()} to {numbers.max()}. {draft.why}"
        )
        untold = (*draft.limits, *known_between_sessions(planned))
        return Plan(planned, order_of_work(more), draft.kind, why, untold)

    if limits is None:
        return drawn_up(settings)
    return best_within(drawn_up, bare, limits)
