"""Why each patch is on the plan, in a sentence."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from kit.design.surveys.pair_knowledge import PairScore
from kit.design.surveys.expected_verdicts import NOT_KNOWN, judged
from kit.model import PairSetting, ScaleFit


def reasons(
    plan: pd.DataFrame,
    scores: tuple[PairScore, PairScore],
    setting: PairSetting,
    fits: Mapping[str, ScaleFit],
) -> list[str]:
    """Say for each patch what is known of its pair, and what it would tell of other pairs.

    Parameters
    ----------
    plan : DataFrame
        Columns base and overlay.
    scores : (spread, pull-through)
    setting : PairSetting
    fits : mapping of str to ScaleFit

    Returns
    -------
    list of str
    """
    field = scores[0].field
    low = scores[0].knowledge.low, scores[1].knowledge.low
    verdict = judged(low[0], low[1], setting.confidence)
    c = len(field.colours)
    open_pairs = (verdict.reshape(c, c) == NOT_KNOWN) & ~np.eye(c, dtype=bool)
    fired = fits["spread"].frame.drop_duplicates("patch").groupby(["base", "overlay"]).size()
    out = []
    for number, (base, overlay) in zip(
        field.numbers(plan), zip(plan["base"], plan["overlay"], strict=True), strict=True
    ):
        b, o = divmod(int(number), c)
        count = int(fired.get((base, overlay), 0))
        chance = 100 * float(low[0][number] * low[1][number])
        if verdict[number] == NOT_KNOWN:
            out.append(_open(count, chance, scores, int(number)))
        else:
            out.append(_settled(base, overlay, open_pairs[b].sum(), open_pairs[:, o].sum()))
    return out


def _open(count: int, chance: float, scores: tuple[PairScore, PairScore], number: int) -> str:
    before = {0: "never fired", 1: "fired once"}.get(count, f"fired {count} times")
    gone = 100 * float(np.mean([_learnt(score, number) for score in scores]))
    return (
        f"Not known yet ({before}; it would hold a fine edge in about {chance:.0f} of 100 tries). "
        f"This patch alone takes away about {gone:.0f} % of what is unsure about it."
    )


def _settled(base: str, overlay: str, on_base: int, of_overlay: int) -> str:
    return (
        f"The pair itself is fairly sure; the patch tells what {base} does as a base "
        f"({on_base} of its pairs are not known yet) and what {overlay} does on top "
        f"({of_overlay} of its pairs are not known yet)."
    )


def _learnt(score: PairScore, number: int) -> float:
    """Share of the pair's variance that one patch on a new tile takes away."""
    v = float(score.field.covariance[number, number])
    return v / (v + score.tile_variance + float(score.noise_variance[number]))
