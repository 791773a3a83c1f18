"""Grades that are kept but that nothing can be learnt from, because the piece was lost."""

import pandas as pd

from kit.series import Series, patches_in_full


def left_out_by_the_models(before: Series, after: Series) -> tuple[str, ...]:
    """Say which grades the models leave out after a change that they did not leave out before.

    Parameters
    ----------
    before, after : Series

    Returns
    -------
    tuple of str
        One sentence for each lost patch, with the reason.
    """
    known = set(_lost_grades(before)["row"])
    lost = _lost_grades(after)
    fresh = lost[~lost["row"].isin(known)]
    return tuple(
        _in_words(list(rows.itertuples())) for _, rows in fresh.groupby("patch", sort=False)
    )


def _lost_grades(series: Series) -> pd.DataFrame:
    full = patches_in_full(series)[["patch", "tile", "lost_from", "reason", "accident"]]
    grades = series.grades[["patch", "firing", "grader"]].merge(full, on="patch")
    lost = grades[grades["firing"] >= grades["lost_from"]]
    rows = list(zip(lost["patch"], lost["firing"], lost["grader"], strict=True))
    return lost.assign(row=pd.Series(rows, index=lost.index, dtype=object))


def _in_words(rows: list) -> str:
    first = rows[0]
    firings = ", ".join(str(firing) for firing in sorted({row.firing for row in rows}))
    graders = ", ".join(sorted({row.grader for row in rows}))
    why = (
        f"the patch is lost ({first.reason})"
        if first.accident
        else f"tile {first.tile} was lost at firing {first.lost_from:.0f} ({first.reason})"
    )
    return f"patch {first.patch} after firing {firings} by {graders}: {why}."
