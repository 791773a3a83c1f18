"""What a pair comes to, when that is sure enough to say, and how it is shown and said.

A patch comes to one of three endings. A pair's patches need not all come to the same one: how
often each comes is its share. A verdict is an ending whose chance reaches the confidence asked
for; or that the pair is hit or miss, when it is as sure that no ending's share reaches it, so that
no number of samples would settle the pair; or that it is not known yet.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.mixed import Array
from kit.series import Scale, Verdict
from kit.wording import amount, in_ten, upper_first

FINE_EDGE = "fine edge"
SOFT_EDGE = "soft edge"
BROKEN_THROUGH = "broken through"
HIT_OR_MISS = "hit or miss"
NOT_KNOWN = "not known yet"

ENDINGS = (FINE_EDGE, SOFT_EDGE, BROKEN_THROUGH)
VERDICTS = (*ENDINGS, HIT_OR_MISS, NOT_KNOWN)


@dataclass(frozen=True)
class VerdictRule:
    """Where the endings part, and how sure a verdict must be.

    Parameters
    ----------
    fine_edge_at_most : int
        A patch has a fine edge when spread and pull-through are both at or below this step.
    breaks_through_from : int
        It has broken through when pull-through is at or above this step.
    fine_edge_mm, fine_edge_share : float
        The same for photographs: a fine edge lies at most so far beyond the stencil's line, and
        the base shows in at most this share of the patch; with a larger share it has broken
        through.
    confidence : float
        Least chance at which a verdict is given.
    """

    fine_edge_at_most: int = 1
    breaks_through_from: int = 2
    fine_edge_mm: float = 0.5
    fine_edge_share: float = 0.10
    confidence: float = 0.8

    @classmethod
    def of(cls, verdict: Verdict) -> "VerdictRule":
        """The rule that a series' settings ask for."""
        return cls(**{name: getattr(verdict, name) for name in (f.name for f in fields(cls))})

    def __post_init__(self) -> None:
        if not 0.5 < self.confidence < 1:
            raise Misuse(f"confidence must lie above 0.5 and below 1, not {self.confidence}.")
        if self.breaks_through_from <= self.fine_edge_at_most:
            raise Misuse("breaks_through_from must lie above fine_edge_at_most.")

    def sentence(self, spread: Scale, pull_through: Scale) -> str:
        """State the rule in the words of the scales that were graded on."""
        low, through = self.fine_edge_at_most, self.breaks_through_from
        worse = ", or worse" if through < len(pull_through.steps) - 1 else ""
        crept, pulled = spread.title.lower(), pull_through.title.lower()
        return (
            f"{FINE_EDGE}: {crept} at most {_step(spread, low)}, "
            f"{pulled} at most {_step(pull_through, low)}; "
            f"{BROKEN_THROUGH}: {pulled} {_step(pull_through, through)}{worse}; "
            f"{SOFT_EDGE}: neither"
        )

    def ending(self, spread: int, pull_through: int) -> str:
        """Name the ending of a patch that stands at these steps."""
        if pull_through >= self.breaks_through_from:
            return BROKEN_THROUGH
        fine = max(spread, pull_through) <= self.fine_edge_at_most
        return FINE_EDGE if fine else SOFT_EDGE

    @property
    def measured_sentence(self) -> str:
        """State the rule that photographs are judged by."""
        edge = amount(self.fine_edge_mm, "spread_mm")
        share = amount(self.fine_edge_share, "pull_through_share")
        return (
            f"{FINE_EDGE}: the edge at most {edge} past the stencil's line, and the base showing "
            f"in at most {share} of the patch; {BROKEN_THROUGH}: the base showing in more; "
            f"{SOFT_EDGE}: neither"
        )


def _step(scale: Scale, step: int) -> str:
    return f"'{scale.steps[step].split(':')[0].strip()}'"


def verdicts(chances: Array, hit_or_miss: Array, confidence: float) -> Array:
    """Give each pair the verdict that is sure enough.

    Parameters
    ----------
    chances : (n, 3) array
        Chance of each ending, in the order of `ENDINGS`.
    hit_or_miss : (n,) array
        Chance that no ending's share of the pair's patches reaches the confidence.
    confidence : float
        Above one half, so that no two endings can apply.

    Returns
    -------
    (n,) array of str
    """
    sure = [chances[:, k] >= confidence for k in range(len(ENDINGS))]
    return np.select([*sure, hit_or_miss >= confidence], VERDICTS[:-1], NOT_KNOWN)


def shown_chance(pairs: pd.DataFrame) -> pd.Series:
    """Chance of what is shown of each row: of its verdict, or of the ending that it leans to.

    Parameters
    ----------
    pairs : DataFrame
        As `kit.model.pair_table` gives it.
    """
    ending = pairs["verdict"].where(pairs["verdict"].isin(ENDINGS), pairs["leans_to"])
    chances = pairs[[name.replace(" ", "_") for name in ENDINGS]].to_numpy()
    of_ending = chances[np.arange(len(pairs)), [ENDINGS.index(name) for name in ending]]
    varies = (pairs["verdict"] == HIT_OR_MISS).to_numpy()
    return pd.Series(np.where(varies, pairs["hit_or_miss"], of_ending), index=pairs.index)


@dataclass(frozen=True)
class Look:
    """How a verdict, or a leaning to an ending, is shown and said wherever it appears.

    Parameters
    ----------
    label : str
        Its name in running text.
    heading : str
        Above a list of such pairs.
    short : str
        For a cell of a table or chart.
    sign : str
        Name of the drawn mark.
    path : str
        The mark as an SVG path in a unit square, to be filled by the even-odd rule.
    colour : str
        '#rrggbb'. No two verdicts are alike to a colour-blind reader, nor in grey.
    sentence : str
        What it means, with its full stop.
    """

    label: str
    heading: str
    short: str
    sign: str
    path: str
    colour: str
    sentence: str


def _circle(x: float, y: float, r: float) -> str:
    return f"M{x - r:g},{y:g}a{r:g},{r:g} 0 1 0 {2 * r:g},0a{r:g},{r:g} 0 1 0 {-2 * r:g},0z"


def _box(x: float, y: float, width: float, height: float) -> str:
    return f"M{x:g},{y:g}h{width:g}v{height:g}h{-width:g}z"


def _lozenge(r: float) -> str:
    return f"M0.5,{0.5 - r:g}L{0.5 + r:g},0.5L0.5,{0.5 + r:g}L{0.5 - r:g},0.5z"


_CORNERS = [(x, y) for y in (0.25, 0.75) for x in (0.25, 0.75)]

LOOKS: Mapping[str, Look] = {
    FINE_EDGE: Look(
        FINE_EDGE,
        "Keeps a fine edge",
        "fine",
        "square",
        _box(0.08, 0.08, 0.84, 0.84),
        "#174a6e",
        "The overlay stays where it was stencilled and covers the base.",
    ),
    SOFT_EDGE: Look(
        SOFT_EDGE,
        "Gets a soft edge",
        "soft",
        "lozenge",
        _lozenge(0.48),
        "#dba934",
        "The overlay creeps past the stencil's line, and still covers the base.",
    ),
    BROKEN_THROUGH: Look(
        BROKEN_THROUGH,
        "Is broken through",
        "broken",
        "dots",
        "".join(_circle(x, y, 0.2) for x, y in _CORNERS),
        "#b8452a",
        "The base comes up through the overlay: for broken effects only.",
    ),
    HIT_OR_MISS: Look(
        HIT_OR_MISS,
        "Hit or miss",
        "varies",
        "hourglass",
        "M0.08,0.08H0.92L0.08,0.92H0.92z",
        "#9d86bd",
        "The pair varies from patch to patch by its nature; more samples will not settle it.",
    ),
    NOT_KNOWN: Look(
        NOT_KNOWN,
        "Not known yet",
        "?",
        "dash",
        _box(0.2, 0.44, 0.6, 0.12),
        "#cecece",
        "Too little is known of the pair to say what its patches come to.",
    ),
}
"""The look of each verdict."""

LEANINGS: Mapping[str, Look] = {
    FINE_EDGE: Look(
        f"leans to a {FINE_EDGE}",
        "Not known yet, leaning to a fine edge",
        "fine?",
        "open square",
        _box(0.18, 0.18, 0.64, 0.64) + _box(0.28, 0.28, 0.44, 0.44),
        "#5f87a3",
        "Not known yet; a fine edge is the likeliest.",
    ),
    SOFT_EDGE: Look(
        f"leans to a {SOFT_EDGE}",
        "Not known yet, leaning to a soft edge",
        "soft?",
        "open lozenge",
        _lozenge(0.42) + _lozenge(0.28),
        "#c79a2a",
        "Not known yet; a soft edge is the likeliest.",
    ),
    BROKEN_THROUGH: Look(
        f"leans to {BROKEN_THROUGH}",
        "Not known yet, leaning to broken through",
        "broken?",
        "rings",
        "".join(_circle(x, y, 0.17) + _circle(x, y, 0.09) for x, y in _CORNERS),
        "#cf7a63",
        "Not known yet; that the base breaks through is the likeliest.",
    ),
}
"""The look of a pair that is not known yet, by the ending that it leans to."""

DOES = {
    FINE_EDGE: "keeps a fine edge",
    SOFT_EDGE: "gets a soft edge",
    BROKEN_THROUGH: "is broken through",
    HIT_OR_MISS: "is hit or miss",
    NOT_KNOWN: "is not known yet",
}
"""What one pair, or one of its patches, does."""

DO = {
    FINE_EDGE: "keep a fine edge",
    SOFT_EDGE: "get a soft edge",
    BROKEN_THROUGH: "are broken through",
}
"""What several patches do."""


def look(verdict: str, leans_to: str = "") -> Look:
    """The look of a verdict; of the leaning, where the pair is not known yet and has one."""
    leaning = verdict == NOT_KNOWN and leans_to in LEANINGS
    return LEANINGS[leans_to] if leaning else LOOKS[verdict]


def verdict_sentence(verdict: str, leans_to: str, share_low: float, share_high: float) -> str:
    """Say of one pair what is known of it, and what differs from patch to patch.

    Parameters
    ----------
    verdict, leans_to : str
    share_low, share_high : float
        Within which the share of the pair's patches that come to `leans_to` lies.

    Returns
    -------
    str
        A sentence with its full stop.
    """
    low, high = in_ten(share_low), in_ten(share_high)
    if verdict == HIT_OR_MISS:
        middle = in_ten((share_low + share_high) / 2)
        return (
            f"{upper_first(middle)} of its patches {DO[leans_to]}, and more samples will not "
            "change that."
        )
    span = low if low == high else f"{low.removeprefix('about ')} to {high.removeprefix('about ')}"
    if verdict == NOT_KNOWN:
        return (
            f"It leans to {_named(leans_to)}: from {span} of its patches {DO[leans_to]}; more "
            "samples of it would narrow that."
        )
    return f"{upper_first(span)} of its patches {DO[verdict]}."


def _named(ending: str) -> str:
    return ending if ending == BROKEN_THROUGH else f"a {ending}"
