"""The order of work, session by session."""

from itertools import groupby
from typing import Any

import numpy as np
import pandas as pd

from kit.design import order_of_work
from kit.series import BenchStep, Caution, Series, cautions_for, last_firings
from kit.sheets.amounts import weighed
from kit.sheets.units import grams, milligrams

_STEPS: dict[str, tuple[BenchStep, ...]] = {
    "sift base": ("sift",),
    "sift overlay": ("sift",),
    "fire": ("fire", "cool"),
    "grade": ("photograph", "grade"),
}


def work_data(series: Series, session: int | None) -> dict[str, Any]:
    """Gather the order of work of one session, or of all."""
    steps = planned_steps(series)
    if session is not None:
        steps = steps[steps["session"] == session]
    return {
        "minutes": f"{series.settings.minutes_per_firing:g}",
        "sessions": [
            {"session": int(number), "stages": _stages(series, mine)}
            for number, mine in steps.groupby("session", sort=True)
        ],
        "cautions": [vars(c) for c in cautions_for("sift", "fire", "cool", "pickle", "clean")],
    }


def planned_steps(series: Series) -> pd.DataFrame:
    """List every step of a series in order, as `kit.design.order_of_work` does."""
    random = np.random.default_rng(series.settings.seed)
    return order_of_work(series.tiles, series.patches, last_firings(series), random)


def _stages(series: Series, steps: pd.DataFrame) -> list[dict[str, Any]]:
    """Group the steps that are done in one go: all sifting for a firing, all tiles of a firing."""
    plain = steps.astype(object).where(steps.notna(), None).to_dict("records")
    return [
        _stage(series, [*rows])
        for _, rows in groupby(plain, key=lambda s: (s["action"], s["firing"], s["coat"]))
    ]


def _stage(series: Series, rows: list[dict[str, Any]]) -> dict[str, Any]:
    first = rows[0]
    action = first["action"]
    return {
        "action": action,
        "title": _title(first),
        "rows": [_row(series, row) for row in rows],
        "care": _titles(cautions_for(*_STEPS[action])),
    }


def _title(step: dict[str, Any]) -> str:
    if step["action"] == "sift base":
        return f"Sift base coat {step['coat']}"
    if step["action"] == "sift overlay":
        return f"Stencil what goes on before firing {step['firing']}"
    if step["action"] == "grade":
        return f"Photograph and grade after firing {step['firing']}"
    if step["firing"] == 0:
        return f"Fire base coat {step['coat']} (firing 0)"
    return f"Firing {step['firing']}"


def _row(series: Series, step: dict[str, Any]) -> dict[str, Any]:
    settings = series.settings
    row: dict[str, Any] = {"tile": int(step["tile"])}
    if step["action"] in ("sift base", "sift overlay"):
        base = step["action"] == "sift base"
        area = settings.blank.area_cm2 if base else settings.stencil.area_cm2
        landed = float(step["coat_weight"]) * area / 1000
        amount = weighed(landed, settings.sifting_loss)
        row |= {
            "place": "" if base else str(int(step["position"])),
            "colour": step["colour"],
            "mesh": int(step["mesh"]),
            "weigh": grams(amount) if base else milligrams(amount),
        }
    return row


def _titles(cautions: tuple[Caution, ...]) -> str:
    return " · ".join(caution.title for caution in cautions)
