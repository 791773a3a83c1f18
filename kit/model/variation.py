"""Where grades' variation comes from: colours, pairs, tiles, graders, and the grade itself."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from kit.mixed import Array, RandomTerm
from kit.model.right_hand_side import LOGISTIC_VARIANCE, PICTURED
from kit.model.series_fit import ScaleFit
from kit.wording import percent, plain_name

WAVERING = "single grade"
"""The part that no source explains: the same grader might grade the same patch otherwise."""


def variation_table(fit: ScaleFit, confidence: float = 0.9) -> pd.DataFrame:
    """Size each source of variation, the largest first.

    Parameters
    ----------
    fit : ScaleFit
    confidence : float

    Returns
    -------
    DataFrame
        Columns source, sd, low, high (logits; of how a colour takes repeated firing, at the
        typical firing count of these grades), share (of the variance that the fixed factors
        leave), steps (how far a typical level moves the grade, in steps of the scale), levels and
        sentence. The last source is the single grade's own wavering.
    """
    posterior = fit.results.posterior
    own = [j for j, term in enumerate(posterior.terms) if term.name != PICTURED]
    terms = [posterior.terms[j] for j in own]
    interval = fit.results.random_sd_conf_int(confidence)
    reach = np.array([_reach(term, fit.seen) for term in terms])
    size = reach * posterior.sd[own]
    low, high = (reach * interval.loc[[t.name for t in terms], end] for end in ("low", "high"))
    total = float(np.sum(size**2) + LOGISTIC_VARIANCE)
    step = logits_a_step(fit)
    rows = [
        {
            "source": term.name,
            "sd": float(size[j]),
            "low": float(low.iloc[j]),
            "high": float(high.iloc[j]),
            "share": float(size[j] ** 2 / total),
            "steps": float(size[j] / step),
            "levels": term.size,
        }
        for j, term in enumerate(terms)
    ]
    wavers = float(np.sqrt(LOGISTIC_VARIANCE))
    table = pd.DataFrame(rows).sort_values("sd", ascending=False) if rows else pd.DataFrame()
    wavering = pd.DataFrame(
        [
            {
                "source": WAVERING,
                "sd": wavers,
                "low": wavers,
                "high": wavers,
                "share": LOGISTIC_VARIANCE / total,
                "steps": wavers / step,
                "levels": len(fit.frame),
            }
        ]
    )
    table = pd.concat([table, wavering], ignore_index=True)
    table["sentence"] = [_sentence(row) for row in table.to_dict("records")]
    return table


def _reach(term: RandomTerm, frame: pd.DataFrame) -> float:
    """Root mean square of what multiplies a term's deviation."""
    return float(np.sqrt(np.mean(term.entries_for(frame) ** 2)))


def logits_a_step(fit: ScaleFit) -> float:
    """Mean distance between thresholds; with a single threshold, the logistic's own spread."""
    gaps: Array = np.diff(fit.results.thresholds.to_numpy())
    return float(gaps.mean()) if gaps.size else float(np.sqrt(LOGISTIC_VARIANCE))


def _sentence(row: Mapping[str, Any]) -> str:
    if row["source"] == WAVERING:
        return (
            f"A single grade varies by about {row['steps']:.1f} of a step for no reason that the "
            f"model knows; that is {percent(row['share'])} of the variation."
        )
    plain = plain_name(row["source"])
    name = plain[0].upper() + plain[1:]
    return (
        f"{name} accounts for {percent(row['share'])} of the variation: a typical one moves the "
        f"grade by {row['steps']:.1f} of a step."
    )
