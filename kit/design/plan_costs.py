"""What a plan costs in heat, time, material and money, and the limits that a person sets."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

import pandas as pd

from kit.design.materials import blank_g, counter_enamel_g, enamel_needed, weighed
from kit.design.plan_model import SIDE_FACTORS
from kit.design.surveys import checked_colours
from kit.errors import Misuse
from kit.series import (
    Prices,
    Series,
    last_firings,
    patches_per_stripe,
    stencil_on,
    stripe_counts,
)
from kit.wording import counted, grams, listed, percent

_BACK = 1
"""Trips through the heat that the back of a tile takes."""

COUNTER_ENAMEL = "counter-enamel"


@dataclass(frozen=True)
class Costs:
    """What a plan takes.

    Parameters
    ----------
    tiles, patches : int
    trips : int
        Trips of one tile through the heat, those of the back and of the base coats included.
    minutes : float
        At the heat, without sifting and cooling.
    copper_g : float
    enamel_g : mapping of str to float
        Powder of each colour that is sifted, in grams, what misses the tile included.
    weighings, gradings : int
        Portions of powder weighed out; grades given.
    money : float or None
        None where the settings have no prices.
    currency : str
    """

    tiles: int
    patches: int
    trips: int
    minutes: float
    copper_g: float
    enamel_g: Mapping[str, float]
    weighings: int
    gradings: int
    money: float | None = None
    currency: str = ""

    def sentence(self) -> str:
        """Say what the plan takes."""
        money = ""
        if self.money is not None:
            money = f" By your prices that is {self.money:.0f} {self.currency}."
        return (
            f"{counted(self.tiles, 'tile')} with {counted(self.patches, 'patch', 'patches')} take "
            f"{counted(self.trips, 'trip')} through the heat ({self.minutes:.0f} minutes), "
            f"{grams(self.copper_g)} of copper, {grams(sum(self.enamel_g.values()))} of powder in "
            f"{counted(self.weighings, 'portion')} and {counted(self.gradings, 'grade')}.{money}"
        )


@dataclass(frozen=True)
class Limits:
    """The most that a plan may take of anything; None for no limit.

    Parameters
    ----------
    tiles, trips, minutes, copper_g, weighings, gradings, money
        As in `Costs`.
    enamel_g : mapping of str to float
        Grams that are left of a colour.
    """

    tiles: int | None = None
    trips: int | None = None
    minutes: float | None = None
    copper_g: float | None = None
    weighings: int | None = None
    gradings: int | None = None
    money: float | None = None
    enamel_g: Mapping[str, float] = field(default_factory=dict)

    def exceeded(self, costs: Costs) -> list[str]:
        """Name what costs more than it may."""
        over = []
        for name in (f.name for f in fields(self) if f.name != "enamel_g"):
            most, cost = getattr(self, name), getattr(costs, name)
            if most is not None and cost is None:
                raise Misuse("A limit in money needs prices: fill in [prices] in series.toml.")
            if most is not None and cost > most:
                over.append(f"{name.removesuffix('_g')} ({cost:.0f}, at most {most:g})")
        for colour in self.short(costs):
            taken, left = costs.enamel_g[colour], self.enamel_g[colour]
            over.append(f"{colour} ({grams(taken)}, {grams(left)} left)")
        return over

    def short(self, costs: Costs) -> list[str]:
        """Name the colours of which too little is left."""
        return [c for c, most in self.enamel_g.items() if costs.enamel_g.get(c, 0.0) > most]

    def refuse(self, costs: Costs) -> None:
        """Refuse a plan that no smaller one of its kind could bring within the limits.

        Raises
        ------
        Misuse
        """
        if over := self.exceeded(costs):
            raise Misuse(
                f"Even {counted(costs.tiles, 'tile')} would take too much: {listed(over)}. "
                "Loosen that limit, or ask for fewer firings or patches."
            )


def costs(planned: Series) -> Costs:
    """Work out what a planned series takes.

    Parameters
    ----------
    planned : Series

    Notes
    -----
    Enamel sifted is the dry weight that lands divided by 1 - sifting loss. The back of a tile takes
    as much as all its base coats together, and one trip (common practice, no source). Every coat of
    a base is one trip; every tile then goes through the heat as often as it is to be fired.
    """
    if planned.patches.empty:
        raise Misuse("Nothing is planned yet: plan some tiles with patches first.")
    settings, tiles, patches = planned.settings, planned.tiles, planned.patches
    fired, stripes = last_firings(planned), stripe_counts(planned)
    trips = int(tiles["coats"].sum()) + len(tiles) * _BACK + int(fired.sum())
    planned_for = planned.sessions.set_index("session")["minutes"]
    each = tiles["session"].map(planned_for).fillna(settings.minutes_per_firing)
    often = tiles["coats"] + _BACK + tiles["tile"].map(fired)
    minutes = float((often * each).sum())
    seen = patches["tile"].map(fired) - patches["before_firing"] + 1
    powder = _powder(planned)
    gradings = int(seen.clip(lower=0).sum()) * max(1, len(settings.graders))
    taken = Costs(
        tiles=len(tiles),
        patches=len(patches),
        trips=trips,
        minutes=minutes,
        copper_g=len(tiles) * blank_g(settings),
        enamel_g=powder,
        weighings=len(tiles)
        + int((tiles["coats"] * tiles["tile"].map(stripes)).sum())
        + len(patches),
        gradings=gradings,
    )
    prices = settings.prices
    return taken if prices is None else _priced(taken, prices)


def _powder(planned: Series) -> dict[str, float]:
    """Grams of each colour, and of counter-enamel."""
    needed = enamel_needed(planned).set_index("colour")["total_g"].to_dict()
    return {**needed, COUNTER_ENAMEL: counter_enamel_g(planned)}


def _priced(taken: Costs, prices: Prices) -> Costs:
    powder = sum(taken.enamel_g.values()) / 100 * prices.enamel_per_100_g
    heat = taken.trips * prices.heat_per_trip + taken.minutes / 60 * prices.heat_per_hour
    money = taken.copper_g / 1000 * prices.copper_per_kg + powder + heat
    return replace(taken, money=money, currency=prices.currency)


@dataclass(frozen=True, eq=False)
class Saving:
    """Two amounts of work side by side.

    Parameters
    ----------
    table : DataFrame
        Rows 'this plan', 'every pair' and 'saved'; columns tiles, patches, copper_cm2, copper_g,
        enamel_g (that of the backs included), firings (trips of one tile through the heat, those
        of the back and of the base coats included) and hours (of those firings alone, without
        sifting and cooling).
    pairs, settings : int
        Ordered pairs of two colours, and combinations of mesh, coat and base that they would be
        fired at.
    """

    table: pd.DataFrame
    pairs: int
    settings: int

    def sentences(self) -> tuple[str, ...]:
        """Say what is saved."""
        plan, every = self.table.loc["this plan"], self.table.loc["every pair"]
        at = "" if self.settings == 1 else f", each at {self.settings} settings"
        return (
            f"Firing all {self.pairs} pairs of two different colours{at} would take "
            f"{every['patches']:.0f} patches on {every['tiles']:.0f} tiles, "
            f"{_kilos(every['copper_g'])} of copper, {_kilos(every['enamel_g'])} of enamel and "
            f"{every['firings']:.0f} firings ({every['hours']:.1f} hours at the heat).",
            f"This plan takes {plan['patches']:.0f} patches on {plan['tiles']:.0f} tiles, "
            f"{_kilos(plan['copper_g'])} of copper, {_kilos(plan['enamel_g'])} of enamel and "
            f"{plan['firings']:.0f} firings ({plan['hours']:.1f} hours): "
            f"{_share(plan['firings'], every['firings'])}.",
        )


def saving(planned: Series) -> Saving:
    """Compare a plan with firing every ordered pair once at every setting, on tiles like its own.

    Parameters
    ----------
    planned : Series
        With tiles and patches. Colours that its settings leave out are left out here too.

    Returns
    -------
    Saving

    Raises
    ------
    Misuse
        When nothing is planned.
    """
    taken = costs(planned)
    stock = checked_colours(planned.stock)
    levels = {factor: len(planned.settings.factors[factor]) for factor in SIDE_FACTORS}
    table = pd.DataFrame(
        {"this plan": _as_row(planned, taken), "every pair": _of_every(planned, len(stock), levels)}
    ).T
    table.loc["saved"] = table.loc["every pair"] - table.loc["this plan"]
    return Saving(table, len(stock) * (len(stock) - 1), math.prod(levels.values()))


def _as_row(planned: Series, taken: Costs) -> dict[str, float]:
    return {
        "tiles": taken.tiles,
        "patches": taken.patches,
        "copper_cm2": taken.tiles * planned.settings.blank.area_cm2,
        "copper_g": taken.copper_g,
        "enamel_g": sum(taken.enamel_g.values()),
        "firings": taken.trips,
        "hours": taken.minutes / 60,
    }


def _of_every(planned: Series, colours: int, levels: Mapping[str, int]) -> dict[str, float]:
    settings = planned.settings
    stripes = settings.stripes if len(planned.stripes) else 1
    each = settings.patches_per_tile if stripes == 1 else patches_per_stripe(settings, stripes)
    bases = colours * math.prod(n for f, n in levels.items() if f.startswith("base_"))
    overlays = (colours - 1) * math.prod(n for f, n in levels.items() if f[:5] != "base_")
    tiles = math.ceil(bases * math.ceil(overlays / each) / stripes)
    coats, base_weight, weight = (
        _mean(settings.factors[f]) for f in ("base_coats", "base_coat_weight", "coat_weight")
    )
    trips = tiles * (_BACK + coats + settings.last_firing)
    area = settings.blank.area_cm2
    landed = 2 * tiles * coats * base_weight * area
    landed += bases * overlays * weight * stencil_on(settings, stripes).area_cm2
    return {
        "tiles": tiles,
        "patches": bases * overlays,
        "copper_cm2": tiles * area,
        "copper_g": tiles * blank_g(settings),
        "enamel_g": weighed(landed / 1000, settings.sifting_loss),
        "firings": trips,
        "hours": trips * settings.minutes_per_firing / 60,
    }


def _mean(levels: tuple[float, ...]) -> float:
    return sum(levels) / len(levels)


def _kilos(weight_g: float) -> str:
    return f"{weight_g / 1000:.1f} kg" if weight_g >= 1000 else f"{weight_g:.0f} g"


def _share(part: float, whole: float) -> str:
    if part == whole:
        return "as much firing as every pair once"
    if part > whole:
        return f"{part / whole:.1f} times as much firing as every pair once"
    return f"{percent(1 - part / whole)} less firing"
