"""From a question to tiles, patches and the order of work."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.design.draft import Draft
from kit.design.layout_balance import balanced_positions
from kit.design.matter import Firings, draft_things
from kit.design.order import order_of_work
from kit.design.pair_check import draft_check
from kit.design.pairs import draft_next_pairs, draft_pairs
from kit.design.sessions import deal_sessions, number_tiles
from kit.errors import Misuse
from kit.series import Series, Settings, colours_in_stock, patch_name, positions

ORDER_RULE = (
    "In each session all base coats come first. Tiles are taken in random order at every step, "
    "and all meet the same heat; only the sifters are taken one after the other, to save changes."
)


@dataclass(frozen=True, eq=False)
class Plan:
    """What to fire, and in which order.

    Parameters
    ----------
    tiles, patches : pandas.DataFrame
        As in a series.
    order : pandas.DataFrame
        Steps of the work: session, step, action, tile, patch, position, colour, mesh,
        coat_weight, coat, firing.
    kind : str
        'fraction', 'optimal split plot', 'optimal plan in blocks', 'pair survey', 'next
        round' or 'pair check'.
    why : str
        Which kind was picked, and why.
    costs : tuple of str
        What the plan cannot tell, a sentence each.
    """

    tiles: pd.DataFrame
    patches: pd.DataFrame
    order: pd.DataFrame
    kind: str
    why: str
    costs: tuple[str, ...]
    order_rule: str = ORDER_RULE

    def describe(self) -> str:
        """Say in words what was picked and what it costs."""
        return "\n".join([self.why, *self.costs, self.order_rule])


def plan(
    settings: Settings,
    colours: pd.DataFrame,
    *,
    firings: Firings = "every",
    controls: int = 0,
    after: Sequence[Series] = (),
    progress: Callable[[str], None] | None = None,
) -> Plan:
    """Choose what to fire for the question that a series asks.

    Parameters
    ----------
    settings : Settings
        Its `ask` decides: 'which things matter' gets an optimal split plot, or a regular fraction
        where one is as good; 'which pairs work' a pair survey; 'is this pair safe' a pair check.
    colours : pandas.DataFrame
        Columns colour and family.
    firings : {'every', 'staggered', 'separate'}
        For 'which things matter' with several firing counts: grade the same patch after every
        firing; put patches on before different firings; or fire a separate tile for each count.
    controls : int
        For 'which things matter': patches with a colour on itself. A pair check always has them.
    after : sequence of Series
        For 'which pairs work': graded series, on whose open pairs the plan goes on.
    progress : callable, optional

    Returns
    -------
    Plan

    Raises
    ------
    Misuse
        When the request cannot be met; the message says what could.
    """
    positions(settings.blank, settings.stencil, settings.patches_per_tile)
    stock = colours_in_stock(colours, settings)
    if settings.ask == "which things matter":
        draft = draft_things(settings, stock, firings, controls, progress)
    elif settings.ask == "which pairs work" and after:
        draft = draft_next_pairs(settings, stock, after, progress)
    elif settings.ask == "which pairs work":
        draft = draft_pairs(settings, stock, progress)
    elif settings.ask == "is this pair safe":
        draft = draft_check(settings, stock)
    else:
        raise Misuse(
            f"'{settings.ask}' is not a question the kit plans for. Ask 'which things matter', "
            "'which pairs work' or 'is this pair safe'."
        )
    last_tile = max((int(series.tiles["tile"].max()) for series in after), default=0)
    return _laid_out(draft, settings, stock, last_tile)


def _laid_out(draft: Draft, settings: Settings, colours: pd.DataFrame, last_tile: int) -> Plan:
    rng = np.random.default_rng(settings.seed)
    patches = _numbered(draft.patches, settings, rng)
    patches["tile"] += last_tile
    patches["overlay_family"] = patches["overlay"].map(colours.set_index("colour")["family"])
    attributes = ["overlay", "overlay_family", "mesh", "coat_weight", "before_firing"]
    patches["position"] = balanced_positions(patches, attributes, rng)
    patches = patches.sort_values(["tile", "position"], ignore_index=True)
    by_tile = patches.groupby("tile", as_index=False).first()
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
    last = by_tile.set_index("tile")["last_firing"]
    order = order_of_work(tiles, laid, last, np.random.default_rng(settings.seed))
    return Plan(tiles, laid, order, draft.kind, draft.why, draft.costs)


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
