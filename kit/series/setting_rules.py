"""What each setting of series.toml may hold, and what would be right instead."""

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from kit.series.mesh import OPENING_UM
from kit.series.vocabulary import ASKS, FAMILIES, HEATS


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
