"""From a question to tiles, patches and the order of work."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from kit.design.is_pair_safe import draft_check
from kit.design.layout import (
    Draft,
    check_session_levels,
    deal_session_levels,
    known_between_sessions,
    laid_out,
    order_of_work,
)
from kit.design.plan_costs import COUNTER_ENAMEL, Limits
from kit.design.surveys import learned_scores
from kit.design.which_pairs import Aim, draft_next_pairs, draft_pairs, pair_targets
from kit.design.which_things import Firings, draft_things
from kit.design.within_limits import best_within
from kit.errors import Misuse
from kit.model import LEARNED
from kit.series import Series, Settings, check_colour_names, places_on_tile
from kit.wording import counted, escape, listed

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
    def to_make(self) -> Series:
        """The planned series with only those tiles that its order of work makes."""
        return only_tiles(self.series, self.order["tile"].unique())

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
    leave_out: Sequence[str] = (),
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
        numbered on from theirs, and a series without colours, graders, prices or wishes of its own
        takes theirs: colours of all, the rest of the last of them.
    leave_out : sequence of str
        Colours that the series shall not use, besides those of its settings.
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
        series = with_used_up(
            replace(series, colours=_colours_of(after)), after[-1].settings.used_up
        )
    if series.colours.empty:
        raise Misuse(f"{series.name} has no colours yet. List your jars in colours.csv first.")
    check_colours_named(series, (*leave_out, *palette), limits)
    series, along = _taken_along(series, after)
    settings = replace(
        series.settings,
        leave_out=tuple(dict.fromkeys((*series.settings.leave_out, *leave_out))),
        ask=ask or series.settings.ask,
        tiles=tiles or (NEXT_TILES if after else series.settings.tiles),
        graders=series.settings.graders or (after[-1].settings.graders if after else ()),
        follows=tuple(one.name for one in after) or series.settings.follows,
    )
    series = replace(series, settings=settings)
    if series.to_fire.empty:
        raise Misuse(f"Every colour of {series.name} is left out or used up: nothing can be fired.")
    learned = learned_scores((*after, series))
    heard = (LEARNED, *(own.sentence for own in learned.values())) if learned else ()

    def drawn_up(within: Settings, not_bases: Collection[str] = ()) -> Plan:
        for stripes in {1, within.stripes}:
            places_on_tile(within, stripes)
        check_session_levels(within)
        asked = replace(series, settings=within)
        stock = asked.to_fire
        if within.ask == "which pairs work":
            targets = pair_targets(within, stock, palette, wishes_alone)
            aim = Aim(targets, wrong_costs, not_bases)
            if after:
                draft = draft_next_pairs(within, stock, after, aim, progress)
            else:
                draft = draft_pairs(within, stock, aim, progress, learned)
        else:
            draft = _drafted(asked, firings, controls, progress)
        last_tile = max((int(one.tiles["tile"].max()) for one in after), default=0)
        planned = deal_session_levels(laid_out(draft, asked, last_tile))
        order, untold = order_of_work(planned), (*draft.limits, *known_between_sessions(planned))
        return Plan(planned, order, draft.kind, draft.why, untold, learned=(*along, *heard))

    if limits is None:
        return drawn_up(settings)
    return best_within(drawn_up, series, limits)


def _drafted(
    series: Series,
    firings: Firings,
    controls: int,
    progress: Callable[[str], None] | None,
) -> Draft:
    settings, stock = series.settings, series.to_fire
    if settings.ask == "which things matter":
        return draft_things(settings, stock, firings, controls, progress)
    if settings.ask == "is this pair safe":
        return draft_check(settings, stock)
    raise Misuse(
        f"'{settings.ask}' is not a question the kit plans for. Ask 'which things matter', "
        "'which pairs work' or 'is this pair safe'."
    )


def only_tiles(series: Series, numbers: Collection[int]) -> Series:
    """The series with some of its tiles; what was recorded stays."""
    of = {
        name: frame[frame["tile"].isin(numbers)].reset_index(drop=True)
        for name in ("tiles", "patches", "stripes")
        for frame in (getattr(series, name),)
    }
    sessions = series.sessions[series.sessions["session"].isin(of["tiles"]["session"])]
    return replace(series, **of, sessions=sessions.reset_index(drop=True))


def check_colours_named(series: Series, names: Sequence[str], limits: Limits | None) -> None:
    """Refuse names, and jars that something is left in, that are no colours of the series.

    Raises
    ------
    Misuse
    """
    jars = set(limits.enamel_g) - {COUNTER_ENAMEL} if limits else ()
    check_colour_names(series.colours, [*names, *sorted(jars)])


def with_used_up(series: Series, colours: Sequence[str]) -> Series:
    """The series, whose settings say that no more of these colours is fired."""
    used_up = tuple(dict.fromkeys((*series.settings.used_up, *colours)))
    return replace(series, settings=replace(series.settings, used_up=used_up))


def _taken_along(series: Series, after: Sequence[Series]) -> tuple[Series, tuple[str, ...]]:
    """Take along the prices and wishes of the series that one goes on from; say which.

    What the series has of its own stays, and a wish for a colour that it does not have is left.
    """
    if not after:
        return series, ()
    own, last = series.settings, after[-1]
    named = set(series.colours["colour"])
    wishes = own.wishes or tuple(w for w in last.settings.wishes if {w.base, w.overlay} <= named)
    prices = own.prices or last.settings.prices
    taken = []
    if prices and not own.prices:
        taken.append("the prices")
    if wishes and not own.wishes:
        pairs = listed([f"{wish.overlay} over {wish.base}" for wish in wishes])
        taken.append(f"{counted(len(wishes), 'wish', 'wishes')} ({pairs})")
    settings = replace(own, prices=prices, wishes=wishes)
    said = f"Taken along from {last.name} into series.toml: {' and '.join(taken)}."
    return replace(series, settings=settings), (said,) if taken else ()


def _colours_of(several: Sequence[Series]) -> pd.DataFrame:
    every = pd.concat([series.colours for series in several])
    return every.drop_duplicates("colour", keep="last").reset_index(drop=True)
