"""What became of the patches of a tile, by the rule on spread and pull-through and nothing else."""

from collections.abc import Collection
from dataclasses import dataclass

import pandas as pd

from kit.model import FINE_EDGE, VerdictRule
from kit.series import PULL_THROUGH, SPREAD, Scale, nearest_step
from kit.wording import counted, listed, lower_first


@dataclass(frozen=True)
class TileOutcome:
    """The patches of one tile after the last firing that was graded.

    Parameters
    ----------
    tile, firings : int
    fine : int
        Patches with a fine edge then.
    judged : int
        Patches that both scores were graded of then, lost ones left out.
    one_score : int
        Patches that only one of the two scores was graded of then.
    lost : int
        Patches lost by then or after.
    why : str
        What they were lost by; may be blank.
    """

    tile: int
    firings: int
    fine: int
    judged: int
    one_score: int
    lost: int
    why: str = ""

    @property
    def title(self) -> str:
        """State it as a sentence with no full stop."""
        fired = counted(self.firings, "firing")
        return f"Tile {self.tile}: {lower_first(self._held(fired))}{self._lost()}"

    def _held(self, fired: str) -> str:
        if not self.judged:
            graded = (
                "only one of the two scores was graded" if self.one_score else "nothing is left"
            )
            return f"After {fired} {graded}, so no edge is judged"
        if self.judged == 1:
            keeps = "kept" if self.fine else "did not keep"
            return f"The one patch judged {keeps} a fine edge through {fired}"
        if self.fine == self.judged:
            return f"All {self.judged} patches judged kept a fine edge through {fired}"
        if not self.fine:
            return f"None of the {self.judged} patches judged kept a fine edge through {fired}"
        return f"{self.fine} of {self.judged} patches judged kept a fine edge through {fired}"

    def _lost(self) -> str:
        if not self.lost:
            return ""
        return f"; {self.lost} lost{f' ({self.why})' if self.why else ''}"


def tile_outcome(
    tile: int, grades: pd.DataFrame, rule: VerdictRule, lost: Collection[str] = (), why: str = ""
) -> TileOutcome:
    """Count the patches of a tile by the rule.

    Parameters
    ----------
    tile : int
    grades : DataFrame
        Rows of `middle_grades` of this tile, of every scale, with a column scale. A half grade
        counts as the step above (`nearest_step`).
    rule : VerdictRule
    lost : collection of str
        Patches of the tile that were lost.
    why : str
        What by.
    """
    last = int(grades["firing"].max())
    now = grades[(grades["firing"] == last) & ~grades["patch"].isin(lost)]
    wide = now.pivot_table("grade", "patch", "scale").reindex(
        columns=[SPREAD.name, PULL_THROUGH.name]
    )
    both = wide.dropna()
    steps = both.map(nearest_step)
    fine = sum(
        rule.ending(spread, pull) == FINE_EDGE for spread, pull in steps.itertuples(index=False)
    )
    one = int(wide.notna().any(axis=1).sum()) - len(both)
    gone = len(set(lost))
    return TileOutcome(tile, last, int(fine), len(both), one, gone, why)


def score_outcome(scale: Scale, last: pd.DataFrame) -> tuple[str, str]:
    """Title and words for the last grades of every tile on one scale.

    Parameters
    ----------
    scale : Scale
    last : DataFrame
        As `last_grades` gives it, lost patches left out.

    Returns
    -------
    title, alt : str
        Both count a half grade as the step above; the title says so where there are any.
    """
    if last.empty:
        return (
            f"{scale.title}: no patch came through to its last grade",
            "No patch that came through has been graded.",
        )
    steps = last["grade"].map(nearest_step)
    calm, wild = int((steps <= 1).sum()), int((steps >= len(scale.steps) - 2).sum())
    top = len(scale.steps) - 1
    title = (
        f"{scale.title}: of {counted(len(last), 'patch', 'patches')}, {calm} ended at grade 0 or 1 "
        f"and {wild} at {top - 1} or {top}"
    )
    halves = int((last["grade"] % 1 != 0).sum())
    if halves:
        title += f" ({counted(halves, 'half grade')} counted as the step above)"
    parts = [
        f"{count} at grade {step}" for step, count in steps.value_counts().sort_index().items()
    ]
    return title, f"{scale.title} of every patch after its last firing: {listed(parts)}."
