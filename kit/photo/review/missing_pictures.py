"""Which tiles still lack a picture after which firing, and how good those are that there are."""

from collections.abc import Mapping

import pandas as pd

WORST_FIRST = ("retake", "refused", "asked about", "not measured", "poor", "fair", "good")
MISSING = "missing"


def picture_states(
    pictures: pd.DataFrame, measurements: pd.DataFrame, decisions: Mapping[tuple[str, str], str]
) -> pd.Series:
    """Give each picture one word, by its fingerprint: the worst that can be said of it.

    Parameters
    ----------
    pictures : DataFrame
        picture_sha256 and reason of each.
    measurements : DataFrame
        With quality, and accepted as decided.
    decisions : mapping
        As `decided` gives them.
    """
    states = {}
    by_picture = dict(list(measurements.groupby("picture_sha256")))
    for sha256, reason in zip(pictures["picture_sha256"], pictures["reason"], strict=True):
        rows = by_picture.get(sha256)
        choices = [c for (picture, _), c in decisions.items() if picture == sha256]
        if "retake" in choices:
            states[sha256] = "retake"
        elif reason or rows is None:
            states[sha256] = "refused"
        else:
            kept = rows[rows["accepted"] != "no"]
            words = [
                "fair" if yes else q
                for q, yes in zip(kept["quality"], kept["accepted"] == "yes", strict=True)
            ]
            states[sha256] = min(words, key=WORST_FIRST.index, default="struck out")
    return pd.Series(states, dtype="str")


def firing_grid(fired: pd.DataFrame, pictures: pd.DataFrame, states: pd.Series) -> pd.DataFrame:
    """Lay tiles against firings, with the best picture's state in each cell.

    Parameters
    ----------
    fired : DataFrame
        tile, firing: every firing after which a tile with patches on it can be photographed.
    pictures : DataFrame
        picture_sha256, tile, firing.
    states : Series
        Of each picture, by fingerprint.

    Returns
    -------
    DataFrame
        Rows tiles, columns firings; 'missing' where there is no picture, blank where none is due.
    """
    due = fired[["tile", "firing"]].drop_duplicates().assign(state=MISSING)
    seen = pictures.dropna(subset=["tile", "firing"])
    seen = seen.assign(state=seen["picture_sha256"].map(states))[["tile", "firing", "state"]]
    both = pd.concat([due, seen], ignore_index=True).astype({"tile": int, "firing": int})
    order = {state: n for n, state in enumerate((MISSING, "struck out", *WORST_FIRST))}
    best = both.assign(rank=both["state"].map(order)).sort_values("rank")
    best = best.drop_duplicates(["tile", "firing"], keep="last")
    return best.pivot_table(
        index="tile", columns="firing", values="state", aggfunc="last", fill_value=""
    )
