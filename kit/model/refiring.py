"""Which colours hold their ground through repeated firing, and which give way."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from kit.mixed import Array
from kit.model.right_hand_side import HEAT, MEASURES, NOISE, REFIRINGS
from kit.model.series_fit import ScaleFit
from kit.wording import FOUND, counted, interval, of_a_step, plain_name

HOLDS, GIVES_WAY, CANNOT_TELL = "holds its ground", "gives way", "cannot be told"

HALF = 0.5
"""Of a step: a colour that gains less, on average, from the first firing to the last holds its
ground."""

COLUMNS = [
    "scale", "role", "colour", "family", "patches", "gain", "low", "high", "chance_gives_way",
    "finding", "sentence",
]  # fmt: skip


def refiring_table(fits: Mapping[str, ScaleFit], confidence: float = 0.9) -> pd.DataFrame:
    """How far repeated firing moves each colour's patches, as a base and as an overlay.

    The gain is that of the average step from the first firing to the last one seen, with the
    average colour of each family in the other role, on new tiles in new sessions.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
    confidence : float
        Of the intervals.

    Returns
    -------
    DataFrame
        One row for each scale, role ('base', 'overlay') and colour fired in it, within each the
        least gain first: scale, role, colour, family, patches, gain, low, high (steps),
        chance_gives_way (that it gains half a step or more), finding ('holds its ground', 'gives
        way', 'cannot be told') and sentence. No rows where nothing was fired more than once.
    """
    rows: list[dict[str, object]] = []
    for scale, fit in fits.items():
        if REFIRINGS not in fit.frame or fit.frame[REFIRINGS].nunique() < 2:
            continue
        for role in ("base", "overlay"):
            if role in fit.results.random_sd:
                rows += _of_role(fit, scale, role, confidence)
    table = pd.DataFrame(rows, columns=COLUMNS)
    return table.sort_values(["scale", "role", "gain"], ignore_index=True)


def _of_role(fit: ScaleFit, scale: str, role: str, confidence: float) -> list[dict[str, object]]:
    frame = fit.frame
    other = "overlay" if role == "base" else "base"
    own = frame.groupby(role, observed=True).agg(
        family=(f"{role}_family", "first"), patches=("patch", "nunique")
    )
    partners = frame[f"{other}_family"].unique()
    first, last = int(frame["firings"].min()), int(frame["firings"].max())
    rows = pd.DataFrame(
        [
            {role: colour, f"{role}_family": family, f"{other}_family": partner, "firings": f}
            for colour, family in own["family"].items()
            for partner in partners
            for f in (first, last)
        ]
    )
    middles = {
        factor: frame[factor].mean()
        for factor in fit.factors
        if factor in MEASURES and factor != "firings"
    }
    if HEAT in fit.factors:
        rows[HEAT] = frame[HEAT].mode().iloc[0]
    rows = rows.assign(**middles, **{REFIRINGS: rows["firings"] - 1})
    rows = fit.labels.on(rows)
    gain = _gains(fit, rows).reshape(-1, len(own), len(partners)).mean(axis=2)
    tail = (1 - confidence) / 2
    low, middle, high = np.quantile(gain, [tail, 0.5, 1 - tail], axis=0)
    gives = (gain >= HALF).mean(axis=0)
    told = []
    for k, (colour, (family, patches)) in enumerate(own.iterrows()):
        finding = CANNOT_TELL
        if gives[k] >= FOUND:
            finding = GIVES_WAY
        elif gives[k] <= 1 - FOUND:
            finding = HOLDS
        values = {"gain": middle[k], "low": low[k], "high": high[k], "chance_gives_way": gives[k]}
        told.append(
            {
                **{"scale": scale, "role": role, "colour": colour, "family": family},
                **{"patches": int(patches), **{n: float(v) for n, v in values.items()}},
                "finding": finding,
                "sentence": _sentence(
                    str(colour), role, scale, finding, values, counted(last - first, "more firing")
                ),
            }
        )
    return told


def _gains(fit: ScaleFit, rows: pd.DataFrame) -> Array:
    """Draws of how far the average step rises from each even row to the odd one after it."""
    noise = [name for name in NOISE if name in fit.results.random_sd]
    share = fit.results.latent_draws(rows, noise).share_at_most()
    average = (1 - share[:, :, :-1]).sum(axis=2)
    gain: Array = average[:, 1::2] - average[:, 0::2]
    return gain


def _sentence(
    colour: str, role: str, scale: str, finding: str, values: Mapping[str, float], firings: str
) -> str:
    said = f"as {'a base' if role == 'base' else 'an overlay'}"
    span = interval(values["low"], values["high"])
    moved = f"{of_a_step(values['gain'])} of {plain_name(scale)} in {firings} {span}"
    if finding == CANNOT_TELL:
        return f"Whether {colour} holds its ground {said} cannot be told: {moved}."
    return f"{colour} {finding} {said}: {moved}."
