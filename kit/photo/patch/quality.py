"""Whether a patch's numbers can be trusted, and the words for why not."""

import numpy as np

from kit.photo.patch.edge import Edge
from kit.photo.patch.patch_image import PatchView
from kit.photo.patch.patch_numbers import Covered
from kit.photo.view.view_from_above import Window
from kit.wording import lower_first, percent, upper_first

LEAST_CONTRAST = 6.0
"""CIELAB distance of overlay from base below which the two cannot be told apart."""

_MUCH_ALIKE = 20.0
"""CIELAB distance below which the two can be told apart, but mottle passes for lace."""

_MOST_TORN = 0.55
_MOST_ONE_SIDED_MM = 1.0
_MOST_ACROSS = 0.03
_MOST_UNSURE = 0.03

_ACROSS = "Something lying on it, such as a finger across the rim, hides"
ALIKE = "Base and overlay look alike, so no edge can be seen."


def judge(
    view: PatchView,
    covered: Covered,
    edge: Edge,
    numbers: dict[str, float],
    own_colour: bool,
    window: Window,
) -> tuple[str, str]:
    """Judge a measured patch.

    Parameters
    ----------
    view : PatchView
    covered : Covered
    edge : Edge
    numbers : dict of str to float
    own_colour : bool
        Whether the colour of pure overlay was taken from this patch.
    window : Window
        What the picture as a whole is like.

    Returns
    -------
    quality : {'good', 'fair', 'poor', 'not measured'}
    remark : str
        The reason, for a person; blank for 'good'.
    """
    veiled = float(covered.hidden[view.beyond < 0].mean())
    hiding = _hiding(view, covered, window)
    if "spread_mm" not in numbers or edge.seen < 0.4 or veiled > 0.6:
        return "not measured", f"{hiding} too much of this patch."
    if edge.limited > _MOST_ACROSS and window.tile.crossed:
        return "poor", f"{_ACROSS} its edge."
    if edge.limited > 0.25:
        return "poor", (
            f"The edge is out of reach on {percent(edge.limited)} of its length: the overlay has "
            "run into its neighbour or the rim, or has crawled away."
        )
    if edge.limited > 0.05 and _one_sided(edge):
        return "poor", (
            "On one side the edge lies much further out than elsewhere, beyond what was looked: "
            "something lying on it, such as a finger, or the overlay has run."
        )
    if edge.torn > _MOST_TORN or (edge.torn > 0.3 and numbers["pull_through_share"] > _MOST_TORN):
        return "poor", (
            f"The base has torn {percent(edge.torn)} of the edge open: too little of it is left to "
            "tell its spread."
        )
    if edge.seen < 0.75 or veiled > 0.25:
        return "poor", f"{hiding} much of this patch."
    doubts = _doubts(edge, numbers, own_colour, covered, window)
    if edge.seen < 0.97 or veiled > 0.03:
        doubts.append(f"{lower_first(hiding)} part of it")
    if not doubts:
        return "good", ""
    return "fair", f"{upper_first('; '.join(doubts))}."


def _one_sided(edge: Edge) -> bool:
    seen = edge.creep[np.isfinite(edge.creep)]
    return bool(np.quantile(seen, 0.95) - np.median(seen) > _MOST_ONE_SIDED_MM)


def _hiding(view: PatchView, covered: Covered, window: Window) -> str:
    """Name what hides the surface: light that is mirrored, or something lying on it."""
    if window.tile.crossed:
        return _ACROSS
    near = view.beyond < view.place.reach.outward
    hidden = covered.hidden & near
    mirrored = (covered.reflection.glare | view.burnt) & near
    if covered.reflection.veil > 0 or mirrored.sum() > 0.5 * hidden.sum() > 0:
        return "A reflection (bright, grey, not following the patch) hides"
    return "Something lying on it, or a stain, hides"


def _doubts(
    edge: Edge, numbers: dict[str, float], own_colour: bool, covered: Covered, window: Window
) -> list[str]:
    unsure = numbers["pull_through_share_se"] > _MOST_UNSURE
    found = {
        "too little pure overlay is left, so its colour is taken from another picture": (
            not own_colour
        ),
        "the lace is so fine that pure overlay is hardly seen in it": (
            own_colour and unsure and covered.contrast > _MUCH_ALIKE
        ),
        "little pure overlay is left to compare with": numbers["pull_through_share"] > 0.6,
        "base and overlay look much alike": covered.contrast < _MUCH_ALIKE,
        "a veil of mirrored sky or ceiling lies over one side of it": (covered.reflection.veil > 0),
        "the picture is a little blurred": window.blur_mm > 0.3,
        "the card's grey scale cannot be read, so colours are less sure": (
            not window.light.greys_read
        ),
        f"the base has torn {percent(edge.torn)} of the edge open": edge.torn > 0.1,
        "part of the edge is out of reach": edge.limited > 0.05,
        "the edge is nowhere clear enough to tell its width": bool(
            np.isnan(numbers["edge_width_mm"])
        ),
    }
    return [words for words, true in found.items() if true]
