"""From a question to tiles, patches and the order of work."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.design.draft import Draft, usual_recipe
from kit.design.is_pair_safe import draft_check
from kit.design.layout import laid_out, order_of_work
from kit.design.plan_costs import Costs, Limits, costs
from kit.design.surveys import learned_scores
from kit.design.verdict_forecast import verdict_curve
from kit.design.which_pairs import (
    draft_more_pairs,
    draft_next_pairs,
    draft_pairs,
    pair_targets,
    tile_format,
)
from kit.design.which_things import Firings, draft_things
from kit.errors import Misuse
from kit.model import LEARNED, LearnedPrior
from kit.series import Series, Settings, patches_in_full, places_on_tile
from kit.wording import counted, escape

ORDER_RULE = (
    "In each session all base coats come first. Tiles are taken in random order at every step, "
    "and all meet the same heat; only the sifters are taken one after the other, to save changes."
)
NEXT_TILES = 3
"""Tiles in a next round, unless the person says otherwise."""


@dataclass(frozen=True, eq=False, repr=False)
class Plan:
    """What to fire, and in which order.

    Parameters
    ----------
    series : Series
        With the plan's tiles and patches, and with what was chosen in its settings.
    order : pandas.DataFrame
        Steps of the work, as from `order_of_work`.
    kind : str
        'fraction', 'optimal split plot', 'optimal plan in blocks', 'pair survey', 'next
        round' or 'pair check'.
    why : str
        Which kind was picked, and why.
    limits : tuple of str
        What the plan cannot tell, a sentence each.
    learned : tuple of str
        What was taken over from earlier series, a sentence each.
    """

    series: Series
    order: pd.DataFrame
    kind: str
    why: str
    limits: tuple[str, ...]
    order_rule: str = ORDER_RULE
    learned: tuple[str, ...] = ()

    @property
    def tiles(self) -> pd.DataFrame:
        """The tiles of the planned series."""
        return self.series.tiles

    @property
    def patches(self) -> pd.DataFrame:
        """The patches of the planned series."""
        return self.series.patches

    def describe(self) -> str:
        """Say in words what was picked and what it cannot tell."""
        return "\n".join([self.why, *self.learned, *self.limits, self.order_rule])

    def __repr__(self) -> str:
        size = (
            f"{counted(len(self.tiles), 'tile')}, {counted(len(self.patches), 'patch', 'patches')}"
        )
        return f"<Plan of {self.series.name}: {self.kind}, {size}>"

    def _repr_html_(self) -> str:
        said = "".join(f"<p>{escape(line)}</p>" for line in self.describe().splitlines())
        wide = self.patches.set_index(["tile", "position"])["overlay"].unstack(fill_value="")  # noqa: PD010
        wide.insert(0, "base", self.tiles.set_index("tile")["base"])
        return f"<h3>{escape(repr(self)[1:-1])}</h3>{said}{wide.to_html()}"


def plan(
    series: Series,
    *,
    ask: str | None = None,
    tiles: int | None = None,
    firings: Firings = "every",
    controls: int = 0,
    after: Sequence[Series] = (),
    palette: Sequence[str] = (),
    wishes_alone: bool = False,
    wrong_costs: float = 0.0,
    limits: Limits | None = None,
    progress: Callable[[str], None] | None = None,
) -> Plan:
    """Choose what to fire for the question that a series asks.

    Parameters
    ----------
    series : Series
        With colours and no tiles yet.
    ask : str, optional
        What the person needs to know, one of `kit.series.ASKS`; as in the settings by default.
        'which things matter' gets an optimal split plot, or a regular fraction where one is as
        good; 'which pairs work' a pair survey; 'is this pair safe' a pair check.
    tiles : int, optional
        How many tiles may be made; by default as in the settings, and `NEXT_TILES` in a round that
        goes on from another.
    firings : {'every', 'staggered', 'separate'}
        For 'which things matter' with several firing counts: grade the same patch after every
        firing; put patches on before different firings; or fire a separate tile for each count.
    controls : int
        For 'which things matter': patches with a colour on itself. A pair check always has them.
    after : sequence of Series
        For 'which pairs work': graded series, on whose open pairs the plan goes on. Tiles are
        numbered on from theirs, and a series without colours or graders of its own takes those of
        the last of them.
    palette : sequence of str
        For 'which pairs work': the colours that alone matter, over each other; all when empty.
    wishes_alone : bool
        For 'which pairs work': whether only the pairs wished for count; else they count three times
        as much as the rest.
    wrong_costs : float
        For 'which pairs work': what a wrong 'fine edge' costs, in right verdicts missed.
    limits : Limits, optional
        The most it may take in trips through the heat, minutes, grams, money and so on: the best
        plan within them is found, and `tiles` is then the most tiles.
    progress : callable, optional

    Returns
    -------
    Plan

    Raises
    ------
    Misuse
        When the series is planned already, has no colours, or the request cannot be met; the
        message says what could.
    """
    if len(series.tiles):
        raise Misuse(
            f"{series.name} is planned already ({len(series.tiles)} tiles), and tiles may carry "
            "its numbers. Start another series for another plan: kit new NAME"
        )
    if series.colours.empty and after:
        series = replace(series, colours=_colours_of(after))
    if series.stock.empty:
        raise Misuse(f"{series.name} has no colours yet. List your jars in colours.csv first.")
    settings = replace(
        series.settings,
        ask=ask or series.settings.ask,
        tiles=tiles or (NEXT_TILES if after else series.settings.tiles),
        graders=series.settings.graders or (after[-1].settings.graders if after else ()),
        follows=tuple(one.name for one in after) or series.settings.follows,
    )
    series = replace(series, settings=settings)
    learned = learned_scores((*after, series))
    taken_over = (LEARNED, *(own.sentence for own in learned.values())) if learned else ()

    def drawn_up(within: Settings) -> Plan:
        for stripes in {1, within.stripes}:
            places_on_tile(within, stripes)
        asked = replace(series, settings=within)
        if within.ask == "which pairs work":
            targets = pair_targets(within, series.stock, palette, wishes_alone)
            draft = _drafted_pairs(asked, after, targets, wrong_costs, progress, learned)
        else:
            draft = _drafted(asked, firings, controls, progress)
        last_tile = max((int(one.tiles["tile"].max()) for one in after), default=0)
        planned = laid_out(draft, asked, last_tile)
        order = order_of_work(planned)
        return Plan(planned, order, draft.kind, draft.why, draft.limits, learned=taken_over)

    if limits is None:
        return drawn_up(settings)
    return within_limits(drawn_up, series, limits)


def within_limits(drawn_up: Callable[[Settings], Plan], series: Series, limits: Limits) -> Plan:
    """The largest plan that the limits allow, with or without stripes, whichever is better.

    Raises
    ------
    Misuse
        When not even one tile fits the limits; the message says which.
    """
    options = []
    for stripes in sorted({1, series.settings.stripes}):
        settings = replace(series.settings, stripes=stripes)
        tiles = _most_tiles(replace(series, settings=settings), limits)
        if tiles:
            options.append(replace(settings, tiles=tiles))
    if not options:
        one = replace(series.settings, tiles=1, stripes=1)
        limits.refuse(_costs_of_size(replace(series, settings=one)))
    if len(options) > 1 and series.settings.ask == "which pairs work":

        def right(settings: Settings) -> float:
            curve = verdict_curve(replace(series, settings=settings), [settings.tiles])
            return float(curve["right"].iloc[0])

        options.sort(key=right)
    settings = options[-1]
    while True:
        plan = drawn_up(settings)
        taken = costs(plan.series)
        if not limits.exceeded(taken):
            return plan
        if settings.tiles == 1:
            limits.refuse(taken)
        settings = replace(settings, tiles=settings.tiles - 1)


def _most_tiles(series: Series, limits: Limits) -> int:
    """Most tiles by the limits that do not depend on which colours go where."""
    fixed = replace(limits, money=None, enamel_g={})
    most = limits.tiles or series.settings.tiles
    for tiles in range(most, 0, -1):
        sized = replace(series, settings=replace(series.settings, tiles=tiles))
        if not fixed.exceeded(_costs_of_size(sized)):
            return tiles
    return 0


def _costs_of_size(series: Series) -> Costs:
    """What a plan of the settings' size takes, whatever its colours."""
    settings = series.settings
    places = tile_format(settings).places(settings.tiles)
    name = series.stock["colour"].iloc[0]
    stripe = pd.Series(places.tile_of).groupby(places.tile_of).cumcount() + 1
    several = np.bincount(places.tile_of) > 1
    recipe = usual_recipe(settings)
    tiles = pd.DataFrame({"tile": np.arange(settings.tiles) + 1, "base": name}).assign(
        coats=recipe["base_coats"],
        mesh=recipe["base_mesh"],
        coat_weight=recipe["base_coat_weight"],
        session=1,
        firings=pd.array([pd.NA] * settings.tiles, dtype="Int64"),
    )
    striped = pd.DataFrame({"tile": places.tile_of + 1, "stripe": stripe, "base": name})
    patches = pd.DataFrame({"tile": places.tile + 1, "overlay": name}).assign(
        mesh=recipe["mesh"], coat_weight=recipe["coat_weight"], before_firing=1
    )
    striped = striped[several[places.tile_of]]
    return costs(replace(series, tiles=tiles, patches=patches, stripes=striped))


def replan(
    series: Series,
    *,
    tiles: int | None = None,
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
    leave_out : sequence of str
        Colours of which there is no powder left: not fired any more.
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
    fired = series.tiles["tile"].isin(series.firings["tile"])
    left = tiles if tiles is not None else int((~fired).sum())
    kept = _only_tiles(series, series.tiles.loc[fired, "tile"])
    if left < 1:
        raise Misuse(f"Every tile of {series.name} is fired: say how many more you can make.")
    bare = _only_tiles(series, series.tiles["tile"].iloc[:0])
    bare = replace(bare, firings=series.firings.iloc[:0], grades=series.grades.iloc[:0])
    settings = replace(
        series.settings, tiles=left, leave_out=(*series.settings.leave_out, *leave_out)
    )
    if not fired.any():
        return plan(
            replace(bare, settings=settings),
            palette=palette,
            wishes_alone=wishes_alone,
            wrong_costs=wrong_costs,
            limits=limits,
            progress=progress,
        )

    def drawn_up(within: Settings) -> Plan:
        asked = replace(bare, settings=within)
        stock = asked.stock.reset_index(drop=True)
        if within.ask == "which pairs work":
            targets = pair_targets(within, stock, palette, wishes_alone)
            draft = draft_more_pairs(within, stock, kept, targets, wrong_costs, progress)
        elif within.ask == "which things matter":
            draft = draft_things(within, stock, progress=progress, fired=patches_in_full(kept))
        else:
            draft = draft_check(within, stock)
        more = laid_out(
            draft, asked, int(kept.tiles["tile"].max()), int(kept.tiles["session"].max())
        )
        whole = {
            name: pd.concat([getattr(kept, name), getattr(more, name)], ignore_index=True)
            for name in ("tiles", "patches", "stripes")
        }
        planned = replace(series, settings=replace(series.settings, tiles=len(whole["tiles"])))
        return Plan(
            replace(planned, **whole), order_of_work(more), draft.kind, draft.why, draft.limits
        )

    if limits is None:
        return drawn_up(settings)
    return within_limits(drawn_up, replace(bare, settings=settings), limits)


def _only_tiles(series: Series, numbers: pd.Series) -> Series:
    """The series with some of its tiles; what was recorded stays."""
    of = {
        name: frame[frame["tile"].isin(numbers)].reset_index(drop=True)
        for name in ("tiles", "patches", "stripes")
        for frame in (getattr(series, name),)
    }
    return replace(series, **of)


def _drafted_pairs(
    series: Series,
    after: Sequence[Series],
    targets: pd.DataFrame,
    wrong_costs: float,
    progress: Callable[[str], None] | None,
    learned: Mapping[str, LearnedPrior],
) -> Draft:
    settings, stock = series.settings, series.stock.reset_index(drop=True)
    if after:
        return draft_next_pairs(settings, stock, after, targets, wrong_costs, progress)
    return draft_pairs(settings, stock, targets, wrong_costs, progress, learned)


def _drafted(
    series: Series,
    firings: Firings,
    controls: int,
    progress: Callable[[str], None] | None,
) -> Draft:
    settings, stock = series.settings, series.stock.reset_index(drop=True)
    if settings.ask == "which things matter":
        return draft_things(settings, stock, firings, controls, progress)
    if settings.ask == "is this pair safe":
        return draft_check(settings, stock)
    raise Misuse(
        f"'{settings.ask}' is not a question the kit plans for. Ask 'which things matter', "
        "'which pairs work' or 'is this pair safe'."
    )


def _colours_of(several: Sequence[Series]) -> pd.DataFrame:
    every = pd.concat([series.colours for series in several])
    return every.drop_duplicates("colour", keep="last").reset_index(drop=True)
