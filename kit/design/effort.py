"""What a plan saves against firing every pair at every setting."""

import math
from dataclasses import dataclass

import pandas as pd

from kit.design.forecast import SIDE_FACTORS
from kit.design.surveys import checked_colours
from kit.errors import Misuse
from kit.series import Series, Settings
from kit.wording import percent

COPPER_G_PER_CM3 = 8.96
"""Density of copper at 20 °C: CRC Handbook of Chemistry and Physics."""

_BACK = 1
"""Firings that the back of a tile takes."""


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
    """Compare a plan with firing every ordered pair at every setting.

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

    Notes
    -----
    Enamel sifted is the dry weight that lands divided by 1 - sifting loss. The back of a tile takes
    as much as all its base coats together, and one firing (common practice, no source). Every coat
    of a base is one firing; every tile then goes through the heat as often as the series asks.
    """
    settings = planned.settings
    if planned.patches.empty:
        raise Misuse("Nothing is planned yet: plan some tiles with patches first.")
    stock = checked_colours(planned.stock)
    table = pd.DataFrame(
        {"this plan": _of_plan(planned), "every pair": _of_every(len(stock), settings)}
    ).T
    table.loc["saved"] = table.loc["every pair"] - table.loc["this plan"]
    return Saving(table, len(stock) * (len(stock) - 1), math.prod(_levels(settings).values()))


def _of_plan(planned: Series) -> dict[str, float]:
    tiles, patches, settings = planned.tiles, planned.patches, planned.settings
    on_tiles = float((tiles["coats"] * tiles["coat_weight"]).sum())
    on_patches = float(patches["coat_weight"].sum())
    firings = float(tiles["coats"].sum()) + len(tiles) * (_BACK + max(settings.factors["firings"]))
    return _work(len(tiles), len(patches), on_tiles, on_patches, firings, settings)


def _of_every(colours: int, settings: Settings) -> dict[str, float]:
    levels = _levels(settings)
    bases = colours * math.prod(n for f, n in levels.items() if f.startswith("base_"))
    overlays = (colours - 1) * math.prod(n for f, n in levels.items() if f[:5] != "base_")
    tiles = bases * math.ceil(overlays / settings.patches_per_tile)
    coats, base_weight, weight = (
        _mean(settings.factors[f]) for f in ("base_coats", "base_coat_weight", "coat_weight")
    )
    firings = tiles * (_BACK + coats + max(settings.factors["firings"]))
    on_tiles, on_patches = tiles * coats * base_weight, bases * overlays * weight
    return _work(tiles, bases * overlays, on_tiles, on_patches, firings, settings)


def _work(
    tiles: int,
    patches: int,
    mg_per_cm2_on_fronts: float,
    mg_per_cm2_on_patches: float,
    firings: float,
    settings: Settings,
) -> dict[str, float]:
    blank = settings.blank
    copper = tiles * blank.area_cm2
    landed = (
        2 * mg_per_cm2_on_fronts * blank.area_cm2
        + mg_per_cm2_on_patches * settings.stencil.area_cm2
    )
    return {
        "tiles": tiles,
        "patches": patches,
        "copper_cm2": copper,
        "copper_g": copper * blank.thickness_mm / 10 * COPPER_G_PER_CM3,
        "enamel_g": landed / 1000 / (1 - settings.sifting_loss),
        "firings": firings,
        "hours": firings * settings.minutes_per_firing / 60,
    }


def _levels(settings: Settings) -> dict[str, int]:
    return {factor: len(settings.factors[factor]) for factor in SIDE_FACTORS}


def _mean(levels: tuple[float, ...]) -> float:
    return sum(levels) / len(levels)


def _kilos(grams: float) -> str:
    return f"{grams / 1000:.1f} kg" if grams >= 1000 else f"{grams:.0f} g"


def _share(part: float, whole: float) -> str:
    if part >= whole:
        return "no less work than firing every pair"
    return f"{percent(1 - part / whole)} less firing"
