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
from kit.wording import listed, of_a_step, plain_name, upper_first

LABELS = ("opacity", "grain", "fusing")

ROLES = ("base", "overlay")

AGAINST = "softer_overlay"
"""How soft the overlay is against the base: it enters where fusing does, for either role."""

FEWEST_COLOURS = 6
FEWEST_OF_A_WORD = 2
"""A label counts where this many colours carry it, in two words or more with this many colours
each."""

WORTH = 0.5
"""Log-likelihood of all left-out colours by which a label must foretell them better. Of labels that
tell nothing about one in ten then enters, of those that explain 60 % about half, from 72 patches of
twelve colours (tests/benchmarks/bench_labels.py)."""

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
        The source of variation that it makes, with a deviation for each word: 'overlay_fusing'.
    gain : float
        In log-likelihood, over all colours left out in turn.
    apart, apart_without : float
        How far a colour never fired may lie from what is expected of it, with the label and
        without, as a standard deviation in logits.
    """

    group: str
    gain: float
    apart: float
    apart_without: float

    @property
    def helps(self) -> bool:
        return self.gain > WORTH and self.apart < self.apart_without


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
        roles = [role for role in ROLES if role in rows]
        said = {
            f"{role}_{label}": rows[role].map(self.table[label]).fillna("")
            for label in LABELS
            for role in roles
            if f"{role}_{label}" in groups
        }
        if AGAINST in groups and len(roles) == len(ROLES):
            order = self.table["fusing"].map({word: k for k, word in enumerate(FUSINGS)})
            base, overlay = (rows[role].map(order) for role in ROLES)
            softer = np.select([base > overlay, base == overlay, base < overlay], FUSED, "")
            said[AGAINST] = pd.Series(softer, rows.index)
        return rows.assign(**{name: words.astype("str") for name, words in said.items()})

    def deviations(self, results: OrdinalResults, role: str) -> pd.DataFrame:
        """How far each colour departs from its family in a role, its label's part included.

        Returns
        -------
        DataFrame
            By colour: value and se, in logits. What a word and a colour of it do is known best
            together, so that se is rather too large where labels count.
        """
        told = results.random_effects[role].copy()
        for label in LABELS:
            words = results.random_effects.get(f"{role}_{label}")
            if words is not None:
                of_word = words.reindex(self.table[label].reindex(told.index).to_numpy())
                told["value"] += of_word["value"].to_numpy()
                told["se"] = np.hypot(told["se"], of_word["se"].to_numpy())
        return told

    def sentences(self, scale: str, step: float) -> tuple[str, ...]:
        """What labels buy on a scale, and which do not count; nothing where none was asked.

        Parameters
        ----------
        scale : str
        step : float
            Logits that make a step of the scale.
        """
        told = [
            f"{upper_first(plain_name(one.group))}, as colours.csv has it, foretells "
            f"{plain_name(scale)}: each colour left out in turn was foretold better with it, and "
            "what a colour never fired may be off by falls from "
            f"{of_a_step(one.apart_without / step)} to {of_a_step(one.apart / step)}. It counts "
            "wherever pairs are judged."
            for one in self.worth
            if one.helps
        ]
        idle = [plain_name(one.group) for one in self.worth if not one.helps]
        if idle:
            told.append(
                f"Colours left out in turn were not foretold better by {listed(idle)}, so on "
                f"{plain_name(scale)} {'it does' if len(idle) == 1 else 'they do'} not count."
            )
        return tuple(told)


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
        As in `Labels.table`.

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
        same = {label: _alike(own[label]) for label in carried}
        plain, apart = _foretold(y.to_numpy(), r, same_family, None, prior)
        for label in carried:
            told, nearer = _foretold(y.to_numpy(), r, same_family, same[label], prior)
            found.append(LabelWorth(f"{role}_{label}", told - plain, nearer, apart))
    return tuple(found)


def enough_labelled(words: pd.Series) -> bool:
    """Whether enough colours carry a label, in words that differ."""
    counts = words[words != ""].value_counts()
    return bool(counts.sum() >= FEWEST_COLOURS and (counts >= FEWEST_OF_A_WORD).sum() >= 2)


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


def _foretold(
    y: Array, r: Array, family: Array, label: Array | None, prior: Prior
) -> tuple[float, float]:
    """Log-likelihood of each colour foretold from all others, summed, and how far colours lie."""
    n = len(y)
    words = _SIZES[:1] if label is None else _SIZES
    sizes = np.array([(s, t) for s in _SIZES for t in words])
    weight = (prior.sd_shape * np.log(sizes) - prior.sd_rate * sizes).sum(axis=1)
    same_word = np.zeros((n, n)) if label is None else label
    cov = np.diag(r) + _FAMILY_SD**2 * family + sizes[:, :1, None] ** 2 * np.eye(n)
    cov = cov + sizes[:, 1:, None] ** 2 * same_word
    precision = np.linalg.inv(cov)
    pulled = precision @ y
    whole = weight - 0.5 * (np.linalg.slogdet(cov)[1] + pulled @ y)
    own = np.einsum("gii->gi", precision)
    others = whole[:, None] - 0.5 * (np.log(own) - pulled**2 / own)
    told = logsumexp(others, axis=0)
    apart = (np.exp(others - told) * (1 / own - r)).sum(axis=0)
    return float((logsumexp(whole) - told).sum()), float(np.sqrt(apart.mean()))
