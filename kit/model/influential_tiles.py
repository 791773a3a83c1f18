"""Does what was found hang on one tile?"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.model.series_fit import ScaleFit
from kit.wording import plain_effect

DECIDES_MUCH = 10.0
"""How many times the middle tile's distance that of a tile is which decides much."""

COLUMNS = ["tile", "grades", "distance", "times", "most_moved", "moved", "stands_out", "sentence"]


def tile_influence(fit: ScaleFit) -> pd.DataFrame:
    """Leave out each tile in turn, by one Newton step from the whole fit, and see what moves.

    By the grades alone, for the reason given with `expected_without`.

    Parameters
    ----------
    fit : ScaleFit

    Returns
    -------
    DataFrame
        One row a tile, the most influential first, with columns tile, grades, distance (Cook's:
        the squared move of all thresholds and effects, in their own covariance, by parameter),
        times (the middle tile's distance), most_moved (an effect), moved (in standard errors),
        stands_out (by `DECIDES_MUCH` times or more) and sentence. Cook (1977), Detection of
        influential observation in linear regression, Technometrics 19.

    Raises
    ------
    Misuse
        If there are fewer than three tiles.
    """
    fit = fit.by_grades
    results = fit.results
    tiles = fit.frame["tile"].value_counts()
    if len(tiles) < 3:
        raise Misuse(f"Leaving tiles out needs at least three; there are {len(tiles)}.")
    without = fit.tiles_left_out.params
    move = without - results.params
    shape = np.linalg.pinv(results.cov_params().to_numpy())
    by_se = move / results.bse
    effects = by_se[results.effects.index] if len(results.effects) else by_se
    most = effects.abs().idxmax(axis=1)
    table = pd.DataFrame(
        {
            "tile": without.index,
            "grades": tiles.reindex(without.index).fillna(0).astype(int).to_numpy(),
            "distance": np.einsum("ij,jk,ik->i", move, shape, move) / len(results.params),
            "most_moved": most.to_numpy(),
            "moved": [float(effects.at[tile, name]) for tile, name in most.items()],
        }
    )
    table["times"] = table["distance"] / max(float(table["distance"].median()), 1e-12)
    table["stands_out"] = table["times"] >= DECIDES_MUCH
    table["sentence"] = [_sentence(row) for row in table.to_dict("records")]
    return table.sort_values("distance", ascending=False, ignore_index=True)[COLUMNS]


def _sentence(row: Mapping[str, object]) -> str:
    if not row["stands_out"]:
        return f"Tile {row['tile']} decides no more than its share."
    moved = abs(float(str(row["moved"])))
    return (
        f"Tile {row['tile']} decides {float(str(row['times'])):.0f} times as much as the middle "
        f"one; without it {plain_effect(str(row['most_moved']))} would move by {moved:.1f} of its "
        "uncertainty (its standard error). Look whether it was mixed up or fired otherwise than "
        "the rest, and fire its pairs on another tile."
    )
