"""From a question to tiles, patches and the order of work."""

import html
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.design.draft import Draft
from kit.design.is_pair_safe import draft_check
from kit.design.layout import (
    balanced_positions,
    deal_sessions,
    number_tiles,
    order_of_work,
)
from kit.design.which_pairs import draft_next_pairs, draft_pairs, pair_targets
from kit.design.which_things import Firings, draft_things
from kit.errors import Misuse
from kit.series import Series, Settings, patch_name, places_on_tile
from kit.wording import counted

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
    """

    series: Series
    order: pd.DataFrame
    kind: str
    why: str
    limits: tuple[str, ...]
    order_rule: str = ORDER_RULE

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
        return "\n".join([self.why, *self.limits, self.order_rule])

    def __repr__(self) -> str:
        size = (
            f"{counted(len(self.tiles), 'tile')}, {counted(len(self.patches), 'patch', 'patches')}"
        )
        return f"<Plan of {self.series.name}: {self.kind}, {size}>"

    def _repr_html_(self) -> str:
        said = "".join(f"<p>{html.escape(line)}</p>" for line in self.describe().splitlines())
        wide = self.patches.set_index(["tile", "position"])["overlay"].unstack(fill_value="")  # noqa: PD010
        wide.insert(0, "base", self.tiles.set_index("tile")["base"])
        return f"<h3>{html.escape(repr(self)[1:-1])}</h3>{said}{wide.to_html()}"


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
    for stripes in {1, settings.stripes}:
        places_on_tile(settings, stripes)
    if settings.ask == "which pairs work":
        targets = pair_targets(settings, series.stock, palette, wishes_alone)
        draft = _drafted_pairs(series, after, targets, wrong_costs, progress)
    else:
        draft = _drafted(series, firings, controls, progress)
    last_tile = max((int(one.tiles["tile"].max()) for one in after), default=0)
    return _laid_out(draft, series, last_tile)


def _drafted_pairs(
    series: Series,
    after: Sequence[Series],
    targets: pd.DataFrame,
    wrong_costs: float,
    progress: Callable[[str], None] | None,
) -> Draft:
    settings, stock = series.settings, series.stock.reset_index(drop=True)
    if after:
        return draft_next_pairs(settings, stock, after, targets, wrong_costs, progress)
    return draft_pairs(settings, stock, targets, wrong_costs, progress)


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


def _laid_out(draft: Draft, series: Series, last_tile: int) -> Plan:
    settings, colours = series.settings, series.colours
    rng = np.random.default_rng(settings.seed)
    patches = _numbered(draft.patches, settings, rng)
    patches["tile"] += last_tile
    patches["overlay_family"] = patches["overlay"].map(colours.set_index("colour")["family"])
    attributes = ["overlay", "overlay_family", "mesh", "coat_weight", "before_firing"]
    if "stripe" not in patches:
        patches = patches.assign(stripe=1)
    stripes = patches.groupby("tile")["stripe"].transform("max")
    # On each stripe patches lie below one another; places are numbered as one reads.
    line = balanced_positions(
        patches.assign(tile=patches["tile"] * 10 + patches["stripe"]), attributes, rng
    )
    patches["position"] = (line - 1) * stripes + patches["stripe"]
    patches = patches.sort_values(["tile", "position"], ignore_index=True)
    by_tile = patches.groupby("tile", as_index=False).first()
    bases = patches.drop_duplicates(["tile", "stripe"]).sort_values(["tile", "stripe"])
    bases = bases[bases.groupby("tile")["stripe"].transform("max") > 1]
    tiles = pd.DataFrame(
        {
            "tile": by_tile["tile"],
            "base": by_tile["base"],
            "coats": by_tile["base_coats"],
            "mesh": by_tile["base_mesh"],
            "coat_weight": by_tile["base_coat_weight"],
            "session": by_tile["session"],
            "firings": by_tile["last_firing"].astype("Int64"),
        }
    ).astype({"base": "str", "coat_weight": float})
    usual = tiles["firings"] == settings.last_firing
    tiles["firings"] = tiles["firings"].mask(usual)
    laid = pd.DataFrame(
        {
            "patch": [
                patch_name(tile, position)
                for tile, position in zip(patches["tile"], patches["position"], strict=True)
            ],
            **patches[["tile", "position", "overlay", "mesh", "coat_weight", "before_firing"]],
            "accident": "",
        }
    ).astype({"patch": "str", "overlay": "str", "coat_weight": float, "accident": "str"})
    planned = replace(
        series,
        tiles=tiles,
        patches=laid,
        stripes=bases[["tile", "stripe", "base"]]
        .astype({"base": "str", "stripe": "int64"})
        .reset_index(drop=True),
    )
    return Plan(planned, order_of_work(planned), draft.kind, draft.why, draft.limits)


def _numbered(patches: pd.DataFrame, settings: Settings, rng: np.random.Generator) -> pd.DataFrame:
    bases = patches.groupby("tile")["base"].first()
    if "session" in patches:
        sessions = patches.groupby("tile")["session"].first()
    else:
        sessions = deal_sessions(bases, settings.tiles_per_session, rng)
    numbers = number_tiles(bases.index.to_series(), sessions, rng)
    return patches.assign(
        session=patches["tile"].map(sessions), tile=patches["tile"].map(numbers).astype(int)
    )
