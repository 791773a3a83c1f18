"""What was lost: which grades go with it, and whether it falls more on one family."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from scipy.stats import fisher_exact

from kit.series import (
    FAMILIES,
    Series,
    losses,
    lost_by_itself_from,
    patches_in_full,
    tiles_lost,
)

_UNLIKELY = 0.1


@dataclass(frozen=True)
class LossBalance:
    """Losses of a series by family.

    Parameters
    ----------
    tiles : DataFrame
        Rows leaded and unleaded (the base's family), columns lost and sound: numbers of tiles.
    patches : DataFrame
        Rows leaded and unleaded (the overlay's family), columns lost and sound: patches that were
        lost by themselves, and the other patches.
    tiles_by_chance, patches_by_chance : float
        Chance of losses at least as uneven if family did not matter (Fisher's exact test,
        two-sided).
    reasons : dict of str to int
        Lost patches by reason, those on lost tiles included.
    total : int
        Patches of the series.
    """

    tiles: pd.DataFrame
    patches: pd.DataFrame
    tiles_by_chance: float
    patches_by_chance: float
    reasons: dict[str, int]
    total: int

    @property
    def lost(self) -> int:
        """How many patches are lost, from some firing on."""
        return sum(self.reasons.values())

    @property
    def uneven(self) -> bool:
        """Whether the losses fall on one family more than chance readily explains."""
        return min(self.tiles_by_chance, self.patches_by_chance) < _UNLIKELY

    def sentence(self) -> str:
        """Say how much was lost, why, and whether the families suffered alike."""
        if not self.lost:
            return "No tile and no patch was lost."
        why = ", ".join(f"{reason} {count}" for reason, count in self.reasons.items())
        parts = [
            f"{self.lost} of {self.total} patches were lost ({why}). They stay in the tables; "
            "the models use what was graded before a tile or a patch was lost, and leave out the "
            "rest. Where nobody wrote down when a patch was lost, nothing of it counts."
        ]
        parts += _by_family(self.tiles, self.tiles_by_chance, "tiles whose base is {}")
        parts += _by_family(self.patches, self.patches_by_chance, "patches whose overlay is {}")
        if not self.uneven:
            parts.append("The losses are no more uneven between the families than chance explains.")
        return " ".join(parts)


def loss_balance(series: Series) -> LossBalance:
    """Count losses by family and test whether they fall more on one.

    A lost tile takes its patches with it, so tiles are counted by the family of their base, and
    only patches that were lost by themselves by the family of their overlay.

    Parameters
    ----------
    series : Series

    Notes
    -----
    Fisher's exact test: R. A. Fisher (1935), The Design of Experiments, section 11.
    """
    family = series.colours.set_index("colour")["family"]
    tile_lost = series.tiles["tile"].isin(tiles_lost(series).index)
    tiles = _table(series.tiles["base"].map(family), tile_lost)
    all_patches = patches_in_full(series)
    patches = _table(all_patches["overlay_family"], all_patches["accident"] != "")
    reasons = Counter(losses(series)["reason"])
    return LossBalance(
        tiles,
        patches,
        float(fisher_exact(tiles.to_numpy()).pvalue),
        float(fisher_exact(patches.to_numpy()).pvalue),
        {str(reason): count for reason, count in reasons.most_common()},
        len(all_patches),
    )


def _table(family: pd.Series, lost: pd.Series) -> pd.DataFrame:
    counts = [
        [int((lost & (family == f)).sum()), int((~lost & (family == f)).sum())] for f in FAMILIES
    ]
    return pd.DataFrame(counts, index=list(FAMILIES), columns=["lost", "sound"])


def _by_family(table: pd.DataFrame, chance: float, what: str) -> list[str]:
    if chance >= _UNLIKELY:
        return []
    share = table["lost"] / table.sum(axis=1)
    more, less = share.idxmax(), share.idxmin()
    counts = {f: f"{table.at[f, 'lost']} of {table.loc[f].sum()}" for f in (more, less)}
    return [
        f"Losses fall more on {what.format(more)} ({counts[more]}) than on "
        f"{what.format(less)} ({counts[less]}): this uneven or more would come by chance about "
        f"{_in_words(chance)}. What was lost may have behaved differently from what is "
        "left, so take what is said of that family with care."
    ]


def _in_words(chance: float) -> str:
    return f"1 time in {round(1 / chance)}" if chance > 0.001 else "less than 1 time in 1000"


def grades_of_lost_pieces(before: Series, after: Series) -> tuple[str, ...]:
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
        _lost_in_words(list(rows.itertuples())) for _, rows in fresh.groupby("patch", sort=False)
    )


def _lost_grades(series: Series) -> pd.DataFrame:
    full = patches_in_full(series)[["patch", "tile", "lost_from", "reason"]]
    full = full.assign(own=lost_by_itself_from(series.patches).to_numpy() == full["lost_from"])
    grades = series.grades[["patch", "firing", "grader"]].merge(full, on="patch")
    lost = grades[grades["firing"] >= grades["lost_from"]]
    rows = list(zip(lost["patch"], lost["firing"], lost["grader"], strict=True))
    return lost.assign(row=pd.Series(rows, index=lost.index, dtype=object))


def _lost_in_words(rows: Sequence[Any]) -> str:
    first = rows[0]
    firings = ", ".join(str(firing) for firing in sorted({row.firing for row in rows}))
    graders = ", ".join(sorted({row.grader for row in rows}))
    piece = "the patch" if first.own else f"tile {first.tile}"
    when = f"was lost at firing {first.lost_from:.0f}" if first.lost_from else "is lost"
    why = f"{piece} {when} ({first.reason})"
    return f"patch {first.patch} after firing {firings} by {graders}: {why}."
