"""What each factor does, in steps of the scale."""

import numpy as np
import pandas as pd

from kit.model.series_fit import MEASURES, ScaleFit
from kit.model.typical import interval_of, reference_recipes, typical_grades
from kit.wording import plain_name


def effects_table(fit: ScaleFit, confidence: float = 0.9) -> pd.DataFrame:
    """Say how far each factor moves the average grade, from its lowest level to its highest.

    The move is averaged over the family pairs that were fired, with the other factors at the
    middle of their range, and over all colours, tiles and patches.

    Parameters
    ----------
    fit : ScaleFit
    confidence : float

    Returns
    -------
    DataFrame
        One row a factor, the largest move first, with columns factor, from, to, effect, low, high
        (steps of the scale), chance_up (chance that the grade goes up) and sentence.
    """
    recipes = reference_recipes(fit)
    rows = []
    for factor in fit.factors:
        levels = sorted(fit.frame[factor].unique())
        low, high = levels[0], levels[-1]
        both = pd.concat([recipes.assign(**{factor: low}), recipes.assign(**{factor: high})])
        draws = typical_grades(fit, both.reset_index(drop=True))
        half = len(recipes)
        moved = draws[:, half:].mean(axis=1) - draws[:, :half].mean(axis=1)
        middle, least, most = (float(value) for value in interval_of(moved, confidence))
        up = float(np.mean(moved > 0))
        rows.append(
            {
                "factor": factor,
                "from": _spelt(low),
                "to": _spelt(high),
                "effect": middle,
                "low": least,
                "high": most,
                "chance_up": up,
                "sentence": _sentence(factor, low, high, middle, least, most, confidence),
            }
        )
    columns = ["factor", "from", "to", "effect", "low", "high", "chance_up", "sentence"]
    table = pd.DataFrame(rows, columns=columns)
    order = table["effect"].abs().sort_values(ascending=False, kind="stable").index
    return table.loc[order].reset_index(drop=True)


def _spelt(level: object) -> str:
    return f"{level:g}" if isinstance(level, (int, float, np.number)) else str(level)


def _sentence(
    factor: str, low: object, high: object, middle: float, least: float, most: float, sure: float
) -> str:
    name = plain_name(factor)
    change = f"Going from {_spelt(low)} to {_spelt(high)} in {name}"
    if factor not in MEASURES:
        change = f"Changing {name} from {_spelt(low)} to {_spelt(high)}"
    interval = f"({least:+.1f} to {most:+.1f}, {round(100 * sure)} % sure)"
    if least <= 0 <= most:
        return f"{change} makes no difference that these grades show {interval}."
    way = "raises" if middle > 0 else "lowers"
    return f"{change} {way} the grade by {abs(middle):.1f} of a step {interval}."
