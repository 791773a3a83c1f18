"""What a jar's label tells of how its colour behaves, and whether that foretells other colours.

A word on a label (opaque, coarse, soft) may go with what colours of that word do, as bases and as
overlays. Each label enters the model as a source of variation whose levels are its words: an effect
that colours share, shrunk like those of the colours themselves, so that a colour never fired is
foretold by its label beside its family. A label that foretells nothing would only add noise, so one
enters where colours that are left out are foretold better with it than without it.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import logsumexp

from kit.mixed import Array, OrdinalResults, Prior
from kit.series import FUSINGS, Series

LABELS = ("opacity", "grain", "fusing")

ROLES = ("base", "overlay")

LABEL_GROUPS = tuple(f"{role}_{label}" for label in LABELS for role in ROLES)
"""Sources of variation that labels make: 'overlay_fusing' has a deviation for each of its words."""

AGAINST = "softer_overlay"
"""How soft the overlay is against the base: it enters where fusing does, for either role."""

FEWEST_COLOURS = 8
FEWEST_OF_A_WORD = 2
"""A label counts where this many colours carry it, in two words or more with this many colours
each."""

WORTH = 0.5
"""Log-likelihood of all left-out colours by which a label must foretell them better."""

_SIZES = np.geomspace(0.05, 3.0, 9)
"""Standard deviations, in logits, that what colours and words do is averaged over."""

_FAMILY_SD = 10.0
"""Of the families' own levels, which are left open."""


@dataclass(frozen=True)
class LabelWorth:
    """How one label did in one role, on one scale.

    Attributes
    ----------
    group : str
        As in `LABEL_GROUPS`.
    gain : float
        In log-likelihood, over all colours left out in turn.
    """

    group: str
    gain: float

    @property
    def helps(self) -> bool:
        return self.gain > WORTH


FUSED = ("overlay softer", "fuse alike", "overlay harder")
"""Words of `AGAINST`."""


@dataclass(frozen=True, eq=False)
class Labels:
    """What the labels of colours say, and which of them help.

    Attributes
    ----------
    table : DataFrame
        By colour: family, opacity, grain and fusing, blank where a label says nothing.
    worth : tuple of LabelWorth
        How each label did that enough colours carry; empty where that was not asked yet.
    """

    table: pd.DataFrame
    worth: tuple[LabelWorth, ...] = ()

    @classmethod
    def of(cls, series: Iterable[Series]) -> "Labels":
        """What the colours' tables of some series say; the newest wins."""
        stocks = [one.colours for one in series]
        known = pd.concat(stocks, ignore_index=True).drop_duplicates("colour", keep="last")
        blank = {label: "" for label in LABELS if label not in known}
        return cls(known.assign(**blank).set_index("colour")[["family", *LABELS]].fillna(""))

    @property
    def groups(self) -> list[str]:
        """Sources of variation that the labels which help make."""
        helping = [worth.group for worth in self.worth if worth.helps]
        fusing = any(group.endswith("_fusing") for group in helping)
        return [*helping, *([AGAINST] if fusing else [])]

    def on(self, rows: pd.DataFrame) -> pd.DataFrame:
        """Rows of base and overlay with what the labels that help say of the two."""
        groups = self.groups
        if not groups:
            return rows
        said = {
            group: rows[group.split("_")[0]].map(self.table[group.split("_")[1]]).fillna("")
            for group in groups
            if group != AGAINST
        }
        if AGAINST in groups:
            order = self.table["fusing"].map({word: k for k, word in enumerate(FUSINGS)})
            base, overlay = (rows[role].map(order) for role in ROLES)
            softer = np.select([base > overlay, base == overlay, base < overlay], FUSED, "")
            said[AGAINST] = pd.Series(softer, rows.index)
        return rows.assign(**{name: words.astype("str") for name, words in said.items()})


NO_LABELS = Labels(pd.DataFrame(columns=["family", *LABELS]))


def labels_worth(results: OrdinalResults, labels: pd.DataFrame) -> tuple[LabelWorth, ...]:
    """Leave each colour out, and ask whether its label would have foretold what it does.

    What each colour does, and how surely that is known, is taken from a fit without labels: to
    the order of one Newton step, grades say no more of it. With y what the grades say of colours,
    r their variances, and s and t the standard deviations of what colours and a label's words do,

        y ~ N(0, diag(r) + s^2 I + t^2 (same word) + b^2 (same family)),

    and a colour's own y is foretold from all others', averaged over s and t under the fit's prior.
    b is large, so that a label is not credited with what the family does.

    Parameters
    ----------
    results : OrdinalResults
        Of a fit without labels.
    labels : DataFrame
        As `label_table` gives it.

    Returns
    -------
    tuple of LabelWorth
        For each label that enough of the fired colours carry, and each role.
    """
    found = []
    for role in ROLES:
        if role not in results.random_effects:
            continue
        y, r = _said_of_colours(results, role)
        own = labels.reindex(y.index).fillna("")
        same_family = _alike(own["family"])
        carried = [label for label in LABELS if enough_labelled(own[label])]
        if not carried:
            continue
        prior = results.prior or Prior()
        plain = _foretold(y.to_numpy(), r, same_family, None, prior)
        for label in carried:
            gain = _foretold(y.to_numpy(), r, same_family, _alike(own[label]), prior) - plain
            found.append(LabelWorth(f"{role}_{label}", gain))
    return tuple(found)


def enough_labelled(words: pd.Series) -> bool:
    """Whether enough colours carry a label, in words that differ."""
    counts = words[words != ""].value_counts()
    return counts.sum() >= FEWEST_COLOURS and (counts >= FEWEST_OF_A_WORD).sum() >= 2


def _said_of_colours(results: OrdinalResults, role: str) -> tuple[pd.Series, Array]:
    """What the grades alone say of each colour in a role, and its variance."""
    told = results.random_effects[role]
    own = results.random_sd[role] ** 2
    shrunk = np.minimum(told["se"] ** 2 / own, 1 - 1e-6)
    return told["value"] / (1 - shrunk), (told["se"] ** 2 / (1 - shrunk)).to_numpy()


def _alike(words: pd.Series) -> Array:
    """1 where two colours carry the same word; a blank says nothing."""
    word = words.to_numpy()
    alike: Array = ((word[:, None] == word) & (word != "")).astype(float)
    return alike


def _foretold(y: Array, r: Array, family: Array, label: Array | None, prior: Prior) -> float:
    """Log-likelihood of each colour foretold from all others, summed."""
    n = len(y)
    words = [0.0] if label is None else _SIZES
    sizes = np.array([(s, t) for s in _SIZES for t in words])
    weight = prior.spread_shape * np.log(sizes[:, 0]) - prior.spread_rate * sizes[:, 0]
    if label is not None:
        weight += prior.spread_shape * np.log(sizes[:, 1]) - prior.spread_rate * sizes[:, 1]
    cov = np.diag(r) + _FAMILY_SD**2 * family + sizes[:, 0, None, None] ** 2 * np.eye(n)
    if label is not None:
        cov = cov + sizes[:, 1, None, None] ** 2 * label
    precision = np.linalg.inv(cov)
    pulled = precision @ y
    whole = weight - 0.5 * (np.linalg.slogdet(cov)[1] + pulled @ y)
    own = np.einsum("gii->gi", precision)
    single = 0.5 * (np.log(own) - pulled**2 / own)
    return float((logsumexp(whole) - logsumexp(whole[:, None] - single, axis=0)).sum())
