"""The order of work, session by session."""

from itertools import groupby
from typing import Any

import pandas as pd

from kit.design import order_of_work, weighed
from kit.series import (
    CAUTIONS,
    BenchStep,
    Caution,
    Series,
    cautions_for,
    heat_of_session,
    stencil_on,
    stripe_counts,
    stripe_edges,
    stripe_shares,
)
from kit.sheets.shopping_list import Weighing
from kit.wording import coat_weight, fine_grams, grams, mm_and_inches

_STEPS: dict[str, tuple[BenchStep, ...]] = {
    "prepare": ("cut", "pickle"),
    "sift back": ("sift",),
    "pickle": ("pickle",),
    "sift base": ("sift",),
    "sift overlay": ("sift",),
    "fire": ("fire", "cool"),
    "grade": ("photograph", "grade"),
}

_HOW = {
    "prepare": "Cut each blank and file every edge. Scratch its number on the back (T7 for tile 7) "
    "and mark the top edge there. Degrease, pickle, rinse and dry it; from then on hold it by its "
    "edges.",
    "sift back": "Back upwards. Any colour that suits all tiles; as heavy as the base coats "
    "together. Wipe off what falls on the front, and clean the sifter afterwards.",
    "pickle": "Only when cold: pickle the fire scale off the front, brush, rinse and dry. Write "
    "number and top edge on the back again in underglaze pencil: the next firing fixes it.",
    "sift base": "Brush out the sifter between colours.",
    "sift overlay": "Cover the patches beside it with paper. Lift the stencil straight up. Brush "
    "out stencil and sifter between any two colours. Where it says 'clean', this sifter last held "
    "the other family: wipe sifter and stencil clean before you tick and sift. A sifter and a "
    "stencil kept for each family spare you most of that.",
}
"""How each step is done. Common practice, no source."""

_TITLES = {
    "prepare": "Cut, number and clean the copper",
    "sift back": "Sift the counter-enamel on the back",
    "pickle": "Pickle the front",
}


def work_order_data(series: Series, session: int | None, weighing: Weighing) -> dict[str, Any]:
    """Gather the order of work of one session, or of all."""
    steps = planned_steps(series)
    if session is not None:
        steps = steps[steps["session"] == session]
    return {
        "minutes": f"{series.settings.minutes_per_firing:g}",
        "sessions": [
            {
                "session": int(number),
                "heat": heat_of_session(series, int(number)),
                "stages": _stages(series, mine, weighing),
            }
            for number, mine in steps.groupby("session", sort=True)
        ],
        "weighing": weighing,
        "cautions": [vars(c) for c in CAUTIONS],
    }


def planned_steps(series: Series) -> pd.DataFrame:
    """List every step of a series in order, as `kit.design.order_of_work` does."""
    return order_of_work(series)


def _stages(series: Series, steps: pd.DataFrame, weighing: Weighing) -> list[dict[str, Any]]:
    """Group the steps that are done in one go: all sifting for a firing, all tiles of a firing."""
    plain = steps.astype(object).where(steps.notna(), None).to_dict("records")
    told = _with_families(series, plain)
    return [_stage(series, [*rows], weighing) for _, rows in groupby(told, key=_in_one_go)]


def _in_one_go(step: dict[str, Any]) -> tuple[Any, ...]:
    return step["action"], step["firing"], step["coat"], step["stripe"]


def _with_families(series: Series, steps: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Add each colour's family, and whether its sifter held the other family before."""
    family = dict(zip(series.colours["colour"], series.colours["family"], strict=True))
    held: dict[int, str] = {}
    told = []
    for step in steps:
        if step["colour"] is None:
            told.append(step)
            continue
        mine = family[step["colour"]]
        before = held.get(step["mesh"], mine)
        held[step["mesh"]] = mine
        told.append({**step, "family": mine, "clean": before != mine})
    return told


def _stage(series: Series, rows: list[dict[str, Any]], weighing: Weighing) -> dict[str, Any]:
    first = rows[0]
    action = first["action"]
    return {
        "action": action,
        "title": _title(first),
        "rows": [_row(series, row, weighing) for row in rows],
        "care": _titles(cautions_for(*_STEPS[action])),
        "how": _how_to_mask(series, first) if first["stripe"] else _HOW.get(action, ""),
    }


def _title(step: dict[str, Any]) -> str:
    action = step["action"]
    if action in _TITLES:
        return _TITLES[action]
    if action == "sift base":
        of = f", stripe {step['stripe']} of the striped tiles" if step["stripe"] else ""
        return f"Sift base coat {step['coat']}{of}"
    if action == "sift overlay":
        return f"Stencil what goes on before firing {step['firing']}"
    if action == "grade":
        return f"Photograph and grade after firing {step['firing']}"
    if step["firing"] == 0 and step["coat"] == 0:
        return "Fire the counter-enamel"
    if step["firing"] == 0:
        return f"Fire base coat {step['coat']} (firing 0)"
    return f"Firing {step['firing']}"


def _row(series: Series, step: dict[str, Any], weighing: Weighing) -> dict[str, Any]:
    row: dict[str, Any] = {"tile": int(step["tile"])}
    if step["action"].startswith("sift"):
        patch = step["action"] == "sift overlay"
        settings = series.settings
        stripes = int(stripe_counts(series)[step["tile"]])
        if patch:
            area = stencil_on(settings, stripes).area_cm2
        else:
            share = stripe_shares(settings, stripes)[step["stripe"] - 1] if step["stripe"] else 1
            area = settings.blank.area_cm2 * share
        coat = float(step["coat_weight"])
        amount = weighed(coat * area / 1000, settings.sifting_loss)
        exact = fine_grams(amount) if patch else grams(amount)
        row |= {
            "place": str(int(step["position"])) if patch else "",
            "colour": step["colour"] or "counter-enamel",
            "family": step.get("family", ""),
            "clean": step.get("clean", False),
            "mesh": int(step["mesh"]),
            "weigh": coat_weight(coat) if patch and weighing == "once" else exact,
        }
    return row


def _how_to_mask(series: Series, step: dict[str, Any]) -> str:
    """Say how one stripe is sifted while the others stay clean. Common practice, no source."""
    settings = series.settings
    stripes = int(stripe_counts(series)[step["tile"]])
    own, width = step["stripe"], settings.blank.width_mm
    inner = stripe_edges(settings.blank, stencil_on(settings, stripes), stripes)
    edges = (0.0, *inner, width)
    start, end = edges[own - 1], edges[own]
    lies = {1: "at the left edge", stripes: "at the right edge"}.get(
        own, f"from {mm_and_inches(round(start, 1))} to {mm_and_inches(round(end, 1))} off the left"
    )
    beside = {1: "right", stripes: "left"}.get(own, "left and right")
    return (
        f"Stripe {own} is {mm_and_inches(round(end - start, 1))} wide and lies {lies}, seen from "
        f"the front with the mark at the top. Cover the tile {beside} of it with stiff card as "
        "long as the tile, held just clear of powder that lies there already; sift its colour; "
        "lift the card straight up, shake it off over paper and wipe it. All stripes of a coat are "
        "sifted before the tile is fired. Patches stay clear of the seams."
    )


def _titles(cautions: tuple[Caution, ...]) -> str:
    return " · ".join(caution.title for caution in cautions)
