"""Temporary."""

from collections.abc import Mapping
from dataclasses import dataclass

from kit.wording import in_ten, upper_first

FINE_EDGE = "fine edge"
SOFT_EDGE = "soft edge"
BROKEN_THROUGH = "broken through"
HIT_OR_MISS = "hit or miss"
NOT_KNOWN = "not known yet"

ENDINGS = (FINE_EDGE, SOFT_EDGE, BROKEN_THROUGH)
VERDICTS = (*ENDINGS, HIT_OR_MISS, NOT_KNOWN)


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
        "#e8bd4a",
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
        "#d5d5d5",
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
