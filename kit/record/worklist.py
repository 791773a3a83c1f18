"""What there is to fire and to grade, and in which order the patches are looked at."""

import zlib

import numpy as np
import pandas as pd

from kit.series import Series, last_firings, patches_in_full


def planned_firings(series: Series) -> pd.DataFrame:
    """List the firings that the plan asks for.

    Returns
    -------
    DataFrame
        Columns tile, firing (from 0, the base coat's) and session, by firing and tile. A tile is
        fired in the session that it is made in; a firing that is on record keeps its session.
    """
    last = last_firings(series)
    firings = pd.DataFrame({"firing": range(int(last.max()) + 1)})
    planned = firings.merge(series.tiles[["tile", "session"]], how="cross")
    planned = planned[planned["firing"] <= planned["tile"].map(last)]
    known = series.firings.set_index(["tile", "firing"])["session"]
    keys = pd.MultiIndex.from_frame(planned[["tile", "firing"]])
    recorded = known.reindex(keys).to_numpy(dtype="float64", na_value=np.nan)
    session = np.where(np.isnan(recorded), planned["session"], recorded).astype("int64")
    return planned.assign(session=session)[["tile", "firing", "session"]]


def planned_grades(series: Series) -> pd.DataFrame:
    """List what there is to grade: every sound patch after every firing that counts.

    Returns
    -------
    DataFrame
        Columns patch, tile, session (the one that the tile is made in), position, firing, then
        base, overlay, base_mesh, mesh and coat_weight; by firing, session, tile and position.
    """
    levels = series.settings.factors["firings"]
    patches = patches_in_full(series)
    patches = patches.assign(
        last=patches["tile"].map(last_firings(series)),
        session=patches["tile"].map(series.tiles.set_index("tile")["session"]),
    )
    firings = pd.DataFrame({"firing": range(1, int(patches["last"].max()) + 1)})
    rows = firings.merge(patches, how="cross").query("firing <= last")
    count = rows["firing"] - rows["before_firing"] + 1
    due = count.isin(levels) | (rows["firing"].eq(rows["last"]) & count.ge(1))
    rows = rows[due & rows["firing"].lt(rows["lost_from"])]
    rows = rows.sort_values(["firing", "session", "tile", "position"], ignore_index=True)
    return rows[
        [
            "patch",
            "tile",
            "session",
            "position",
            "firing",
            "base",
            "overlay",
            "base_mesh",
            "mesh",
            "coat_weight",
        ]
    ]


def blind_order(series: Series, firing: int, grader: str = "") -> list[str]:
    """Order the patches of one firing at random, the same way each time it is asked for.

    Sessions come one after the other. Within each the tiles come in random order, and on each tile
    its patches, so that a tile is picked up once.

    Parameters
    ----------
    series : Series
        Its seed decides the order.
    firing : int
    grader : str
        Every grader gets an order of their own.

    Returns
    -------
    list of str
        Names of the patches there are to grade.
    """
    rows = planned_grades(series)
    rows = rows[rows["firing"] == firing]
    random = np.random.default_rng([series.settings.seed, firing, zlib.crc32(grader.encode())])
    shuffled = rows.iloc[random.permutation(len(rows))]
    turn = {tile: place for place, tile in enumerate(random.permutation(rows["tile"].unique()))}
    at = shuffled.assign(turn=shuffled["tile"].map(turn))
    dealt = at.sort_values(["session", "turn"], kind="stable")["patch"]
    names: list[str] = dealt.astype(object).tolist()
    return names


def grading_order(series: Series, firing: int, grader: str = "") -> list[str]:
    """Order the patches of one firing for a grader: at random when the series is graded blind.

    The same on the grading sheet, in the form and in a workbook of the grader's own.
    """
    if series.settings.blind:
        return blind_order(series, firing, grader)
    rows = planned_grades(series)
    return [str(patch) for patch in rows.loc[rows["firing"] == firing, "patch"]]
