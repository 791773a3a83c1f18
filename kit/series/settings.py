"""What a series is about: all that series.toml says, and what each setting of it may hold."""

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from kit.series.blank import Blank, Stencil
from kit.series.grade_scales import DEFAULT_SCALES, Scale
from kit.series.vocabulary import ASKS, FAMILIES, HEATS, OPENING_UM
from kit.wording import escape


@dataclass(frozen=True)
class Wish:
    """A pair that the person wants to know about above others."""

    base: str
    overlay: str


@dataclass(frozen=True)
class Verdict:
    """The rule that a pair is judged by.

    Parameters
    ----------
    fine_edge_at_most : int
        A fine edge holds when spread and pull-through are both at or below this step.
    breaks_through_from : int
        The base has broken through when pull-through is at or above this step.
    fine_edge_mm, fine_edge_share : float
        The same rule for photographs: the edge stands at most so far beyond the stencil's line,
        and the base shows in at most this share of the patch.
    photographs : bool
        Whether what photographs measured counts beside the grades; False for the grades alone.
    confidence : float
        Least chance at which something is called so.
    mesh, base_mesh : int
    coat_weight, base_coat_weight : float
        mg/cm².
    firings : int
        The firing count that the verdict is for.
    """

    fine_edge_at_most: int = 1
    breaks_through_from: int = 2
    fine_edge_mm: float = 0.5
    fine_edge_share: float = 0.10
    photographs: bool = True
    confidence: float = 0.8
    mesh: int = 100
    base_mesh: int = 80
    coat_weight: float = 40.0
    base_coat_weight: float = 60.0
    firings: int = 3


@dataclass(frozen=True)
class Prices:
    """What things cost, for a plan to be costed by.

    Parameters
    ----------
    currency : str
        As it is to be written behind an amount.
    copper_per_kg, enamel_per_100_g : float
    heat_per_trip, heat_per_hour : float
        Gas or electricity: for one tile once through the heat, and for an hour at the heat.
    """

    currency: str = "EUR"
    copper_per_kg: float = 0.0
    enamel_per_100_g: float = 0.0
    heat_per_trip: float = 0.0
    heat_per_hour: float = 0.0


@dataclass(frozen=True, repr=False)
class Settings:
    """The contents of series.toml.

    Parameters
    ----------
    title, question : str
    ask : str
        One of `kit.series.vocabulary.ASKS`.
    started : date or None
        The day it was begun. Every series that was read or started has one.
    follows : tuple of str
        Names of the series that this one goes on from, the earliest first.
    learns_from : tuple of str
        Names of earlier series whose lessons are taken for known beforehand.
    seed : int
        Every random choice of the plan follows from it.
    blank, stencil : Blank, Stencil
    tiles, patches_per_tile, tiles_per_session : int
    stripes : int
        Most bases on one tile, in stripes: 1, 2 or 3.
    small_stencil_mm : float
        Width of the patches on tiles with several bases.
    factors : mapping of str to tuple
        Levels of each of `FACTORS`; of `SESSION_FACTORS` only those that vary.
    wishes : tuple of Wish
    leave_out : tuple of str
        Colours in stock that this series does not use.
    used_up : tuple of str
        Colours whose jar is empty: what was fired of them counts, and no more is fired.
    graders : tuple of str
        Who may grade; anyone when empty.
    blind : bool
        Whether grading sheets hide the recipe.
    scales : tuple of Scale
    verdict : Verdict
    sifting_loss : float
        Share of the enamel that misses the tile.
    minutes_per_firing : float
    prices : Prices or None
        None where nothing is priced.
    card_across_mm, card_down_mm : float or None
        The two lengths measured on the printed photo card; as planned when None.
    """

    title: str
    question: str
    ask: str = "which pairs work"
    started: dt.date | None = None
    follows: tuple[str, ...] = ()
    learns_from: tuple[str, ...] = ()
    seed: int = 1
    blank: Blank = Blank()
    stencil: Stencil = Stencil()
    tiles: int = 24
    patches_per_tile: int = 4
    tiles_per_session: int = 8
    stripes: int = 1
    small_stencil_mm: float = 10.0
    factors: Mapping[str, tuple[Any, ...]] = field(default_factory=lambda: dict(DEFAULT_FACTORS))
    wishes: tuple[Wish, ...] = ()
    leave_out: tuple[str, ...] = ()
    used_up: tuple[str, ...] = ()
    graders: tuple[str, ...] = ()
    blind: bool = True
    scales: tuple[Scale, ...] = DEFAULT_SCALES
    verdict: Verdict = Verdict()
    sifting_loss: float = 0.3
    minutes_per_firing: float = 1.5
    prices: Prices | None = None
    card_across_mm: float | None = None
    card_down_mm: float | None = None

    def __repr__(self) -> str:
        return (
            f"Settings({self.title!r}: {self.ask}; {self.tiles} tiles of {self.patches_per_tile} "
            f"patches, {self.last_firing} firings)"
        )

    def _repr_html_(self) -> str:
        """Show in Jupyter what was asked and what is varied."""
        varied = {n: levels for n, levels in self.factors.items() if len(levels) > 1}
        told = {
            "Question": self.question,
            "What for": self.ask,
            "Budget": f"{self.tiles} tiles of {self.patches_per_tile} patches, "
            f"{self.tiles_per_session} tiles a session",
            "Varied": "; ".join(
                f"{n}: {', '.join(map(str, levels))} {UNITS.get(n, '')}".rstrip()
                for n, levels in varied.items()
            ),
            "Graders": ", ".join(self.graders) or "anyone",
            "Scales": ", ".join(scale.title for scale in self.scales),
        }
        return as_html_table(self.title, told)

    def scale(self, name: str) -> Scale:
        """Return the scale called `name`."""
        return next(scale for scale in self.scales if scale.name == name)

    @property
    def varied_by_session(self) -> dict[str, tuple[Any, ...]]:
        """Levels of each factor that changes from session to session."""
        return {n: self.factors[n] for n in SESSION_FACTORS if n in self.factors}

    @property
    def last_firing(self) -> int:
        """How often a tile is fired with its stencils on."""
        return int(max(self.factors["firings"]))


def as_html_table(title: str, told: Mapping[str, object]) -> str:
    """Lay names and values out as a small table for Jupyter."""
    rows = "".join(
        f"<tr><th style='text-align:left'>{escape(name)}</th>"
        f"<td style='text-align:left'>{escape(str(value))}</td></tr>"
        for name, value in told.items()
    )
    return f"<p><b>{escape(title)}</b></p><table>{rows}</table>"


@dataclass(frozen=True)
class Rule:
    """What one key may hold.

    Parameters
    ----------
    fits : callable
        Whether a value, of any type whatever, may stand there.
    fix : str
        What would be right, as a sentence.
    """

    fits: Callable[[Any], bool]
    fix: str


def _number(low: float, high: float, unit: str = "") -> Rule:
    return Rule(
        lambda v: isinstance(v, int | float) and not isinstance(v, bool) and low <= v <= high,
        f"It must be a number from {low:g} to {high:g}{unit}.",
    )


def _whole(low: int, high: int) -> Rule:
    return Rule(
        lambda v: isinstance(v, int) and not isinstance(v, bool) and low <= v <= high,
        f"It must be a whole number from {low} to {high}.",
    )


def _one_of(*words: object) -> Rule:
    return Rule(
        lambda v: any(v == w and isinstance(v, bool) == isinstance(w, bool) for w in words),
        f"It must be one of: {', '.join(map(_as_written, words))}.",
    )


def _as_written(word: object) -> str:
    return str(word).lower() if isinstance(word, bool) else str(word)


def are_texts(value: object) -> bool:
    """Whether something is a list of texts, none of them blank."""
    return isinstance(value, list) and all(isinstance(v, str) and v.strip() for v in value)


TEXT = Rule(lambda v: isinstance(v, str) and bool(v.strip()), "It must be text in quotes.")
_NAMES = Rule(are_texts, 'It must be a list of names, such as ["Ada", "Ben"].')
_SERIES = Rule(
    lambda v: are_texts(v) and len(set(v)) == len(v),
    'It must be a list of names of series, each once, such as ["spring-stencils"].',
)
_MESH = _one_of(*OPENING_UM)
_COAT = _number(1, 500, " mg/cm²")
_MINUTES = _number(0.1, 60, " minutes")
_PRICE = _number(0, 1e6)

SETTING_RULES: Mapping[str, Rule] = {
    "title": TEXT,
    "question": TEXT,
    "ask": _one_of(*ASKS),
    "started": Rule(lambda v: type(v) is dt.date, "It must be a date, such as 2026-03-14."),
    "format": _whole(1, 10**6),
    "follows": _NAMES,
    "learns_from": _SERIES,
    "seed": _whole(0, 2**53),
    "leave_out": _NAMES,
    "used_up": _NAMES,
    "blank.shape": _one_of("square", "round", "strip"),
    "blank.width_mm": _number(10, 400, " mm"),
    "blank.height_mm": _number(10, 400, " mm"),
    "blank.thickness_mm": _number(0.2, 5, " mm"),
    "blank.clearance_mm": _number(0.5, 50, " mm"),
    "stencil.shape": _one_of("disc", "square", "bar"),
    "stencil.size_mm": _number(3, 100, " mm"),
    "budget.tiles": _whole(1, 2000),
    "budget.patches_per_tile": _whole(1, 60),
    "budget.tiles_per_session": _whole(1, 500),
    "budget.stripes": _whole(1, 3),
    "budget.small_stencil_mm": _number(3, 100, " mm"),
    "grading.graders": _NAMES,
    "grading.blind": _one_of(True, False),
    "verdict.fine_edge_at_most": _whole(0, 3),
    "verdict.breaks_through_from": _whole(1, 4),
    "verdict.fine_edge_mm": _number(0, 10, " mm"),
    "verdict.fine_edge_share": _number(0, 0.9),
    "verdict.photographs": _one_of(True, False),
    "verdict.confidence": _number(0.51, 0.99),
    "verdict.mesh": _MESH,
    "verdict.base_mesh": _MESH,
    "verdict.coat_weight": _COAT,
    "verdict.base_coat_weight": _COAT,
    "verdict.firings": _whole(1, 20),
    "bench.sifting_loss": _number(0, 0.9),
    "bench.minutes_per_firing": _MINUTES,
    "prices.currency": TEXT,
    "prices.copper_per_kg": _PRICE,
    "prices.enamel_per_100_g": _PRICE,
    "prices.heat_per_trip": _PRICE,
    "prices.heat_per_hour": _PRICE,
    "photo.card_across_mm": _number(30, 400, " mm"),
    "photo.card_down_mm": _number(30, 400, " mm"),
}

LEVEL_RULES: Mapping[str, Rule] = {
    "base_family": _one_of(*FAMILIES),
    "overlay_family": _one_of(*FAMILIES),
    "base_coats": _whole(1, 9),
    "base_mesh": _MESH,
    "base_coat_weight": _COAT,
    "mesh": _MESH,
    "coat_weight": _COAT,
    "firings": _whole(1, 20),
    "minutes": _MINUTES,
    "heat": _one_of(*HEATS),
}

MINUTES_APART = 1.25
"""Least ratio of two levels of minutes: closer ones cannot be told from how a clock is read."""


FACTORS = (
    "base_family",
    "overlay_family",
    "base_coats",
    "base_mesh",
    "base_coat_weight",
    "mesh",
    "coat_weight",
    "firings",
    "minutes",
    "heat",
)

SESSION_FACTORS = ("minutes", "heat")
"""What can only change from one session to the next; not varied where nothing is said of it."""

UNITS = {"base_coat_weight": "mg/cm²", "coat_weight": "mg/cm²", "minutes": "min"}

DEFAULT_FACTORS: Mapping[str, tuple[Any, ...]] = {
    "base_family": ("leaded", "unleaded"),
    "overlay_family": ("leaded", "unleaded"),
    "base_coats": (2,),
    "base_mesh": (80,),
    "base_coat_weight": (60.0,),
    "mesh": (100,),
    "coat_weight": (40.0,),
    "firings": (1, 2, 3),
}
"""Common practice, no source: 80 mesh for base coats, 100 for stencils, two base coats."""
