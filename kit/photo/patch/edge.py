"""The planned stencil line, where the overlay ends, and how far that is beyond the line."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from kit.photo.raster import Raster
from kit.series import Stencil

_BRIDGED_MM = 0.4
"""Gaps in the edge up to twice this wide count as the base breaking through, not as the edge."""

_BAY_ARC_MM = 3.5
_BAY_DEPTH_MM = 0.3
"""A dip of the edge narrower and deeper than these is a bay torn by the base, and left out."""

_STEEP = 0.8
"""Slope of the edge's fall into a bay that is torn: natural dips are flatter."""

_TORN_PART = 0.1
_SHOULDER_MM = 0.12
_TORN_NEAR_MM = 0.8
_STEP_MM = 0.05
_MOST_TURN = 0.2

POINTS = 360
_CORNER_MM = 1.5
"""Corners round off in the fire whatever the pair, so the line near them is left out."""


@dataclass(frozen=True)
class StencilLine:
    """Points evenly round a stencil's opening, about its middle.

    Parameters
    ----------
    place : ndarray (n, 2)
        mm.
    normal : ndarray (n, 2)
        Unit vectors outward.
    """

    place: NDArray[np.float64]
    normal: NDArray[np.float64]

    def turned(self, turn: float) -> "StencilLine":
        """The line turned clockwise (y down) by an angle in radians."""
        cos, sin = np.cos(turn), np.sin(turn)
        matrix = np.array([[cos, sin], [-sin, cos]])
        return StencilLine(self.place @ matrix, self.normal @ matrix)


def stencil_line(stencil: Stencil) -> StencilLine:
    """Lay points evenly along the line of a stencil, corners left out."""
    if stencil.shape == "disc":
        angle = (np.arange(POINTS) + 0.5) / POINTS * 2 * np.pi
        normal = np.column_stack([np.cos(angle), np.sin(angle)])
        return StencilLine(normal * stencil.size_mm / 2, normal)
    width, height = stencil.size_mm / 2, stencil.height_mm / 2
    sides = (
        ((1.0, 0.0), width, height),
        ((0.0, 1.0), height, width),
        ((-1.0, 0.0), width, height),
        ((0.0, -1.0), height, width),
    )
    step = 4 * (width + height) / POINTS
    places, normals = [], []
    for outward, away, half in sides:
        inner = max(half - _CORNER_MM, half * 0.3)
        along = np.linspace(-inner, inner, max(round(2 * inner / step), 4))
        out = np.array(outward)
        places.append(out * away + along[:, None] * np.array([-out[1], out[0]]))
        normals.append(np.tile(out, (along.size, 1)))
    return StencilLine(np.concatenate(places), np.concatenate(normals))


def beyond_line(
    stencil: Stencil, x: NDArray[np.floating], y: NDArray[np.floating]
) -> NDArray[np.floating]:
    """Distance in mm beyond the stencil line, negative inside; x and y from its middle."""
    if stencil.shape == "disc":
        from_middle: NDArray[np.floating] = np.hypot(x, y)
        return from_middle - stencil.size_mm / 2
    over_x, over_y = np.abs(x) - stencil.size_mm / 2, np.abs(y) - stencil.height_mm / 2
    outside = np.hypot(np.maximum(over_x, 0), np.maximum(over_y, 0))
    beyond: NDArray[np.floating] = outside + np.minimum(np.maximum(over_x, over_y), 0)
    return beyond


@dataclass(frozen=True)
class Edge:
    """The overlay's edge against the stencil line, after lining the two up.

    Parameters
    ----------
    creep : ndarray (n,)
        Distance of the edge beyond the line at each point, mm; nan where it cannot be seen or
        the base has torn it open.
    middle_mm : ndarray (2,)
        Where the stencil's middle really lay, in the picture's mm.
    turn : float
        How it was turned, radians.
    limited : float
        Share of the points at which the edge lies further out or in than was looked.
    seen : float
        Share of the points at which it can be seen.
    torn : float
        Share of the points at which the base has torn it open.
    torn_mm : ndarray (m, 2)
        Where that is, in the picture's mm.
    """

    creep: NDArray[np.float64]
    middle_mm: NDArray[np.float64]
    turn: float
    limited: float
    seen: float
    torn: float
    torn_mm: NDArray[np.float64]


@dataclass(frozen=True)
class Reach:
    """How far in and out from the stencil line the edge is looked for, mm."""

    inward: float
    outward: float


def solid(share: Raster, inside: NDArray[np.bool_], per_mm: float) -> NDArray[np.bool_]:
    """Mark the overlay as one piece: its holes filled, its gaps bridged, spatter left out.

    Parameters
    ----------
    share : ndarray (height, width)
        Share of overlay.
    inside : ndarray of bool (height, width)
        Inside the stencil line, as planned.
    per_mm : float
        Pixels to the mm.
    """
    covered = (share > 0.5).astype(np.uint8)
    side = 2 * round(_BRIDGED_MM * per_mm) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    padded = cv2.copyMakeBorder(covered, side, side, side, side, cv2.BORDER_CONSTANT)
    closed = cv2.morphologyEx(padded, cv2.MORPH_CLOSE, disc)[side:-side, side:-side]
    count, label = cv2.connectedComponents(closed, connectivity=4)
    if count < 2:
        return np.zeros(share.shape, bool)
    area = np.bincount(label.ravel(), minlength=count)
    within = np.bincount(label[inside], minlength=count)
    own = within > 0.3 * area
    own[0] = False
    own |= np.arange(count) == 1 + np.argmax(within[1:])
    whole: NDArray[np.bool_] = ndimage.binary_fill_holes(own[label])
    return whole


def find_edge(
    share: Raster,
    whole: NDArray[np.bool_],
    hidden: NDArray[np.bool_],
    line: StencilLine,
    middle_mm: NDArray[np.float64],
    reach: Reach,
    per_mm: float,
) -> Edge:
    """Line the stencil up with the overlay, then read the edge along the line's normals.

    A shift and a turn of the stencil show as creep to one side; they are fitted with the mean creep
    by least squares, far points counting less, and taken out.

    Parameters
    ----------
    share : ndarray (height, width)
        Share of overlay.
    whole : ndarray of bool (height, width)
        From `solid`.
    hidden : ndarray of bool (height, width)
        Where glare or something else hides the surface.
    line : StencilLine
        Turned as planned.
    middle_mm : ndarray (2,)
        The stencil's planned middle, mm from the picture's top left corner.
    reach : Reach
    per_mm : float
    """
    field = np.where(whole, np.where(share < 0.5, 1.0, share), np.minimum(share, 0.49))
    field = field.astype(np.float32)
    veil = hidden.astype(np.float32)
    middle, turn = np.array(middle_mm, float), 0.0
    for _ in range(4):
        laid = line.turned(turn)
        creep, limited, seen = _crossings(field, veil, laid, middle, reach, per_mm)
        usable = seen & ~limited & ~_bays(creep, laid)
        if usable.sum() < 40:
            break
        arm = laid.place[:, 1] * laid.normal[:, 0] - laid.place[:, 0] * laid.normal[:, 1]
        move = _robust_fit(laid, arm, creep, usable)
        middle = middle + np.clip(move[:2], -2, 2)
        turn = float(np.clip(turn - move[2], -_MOST_TURN, _MOST_TURN))
    laid = line.turned(turn)
    creep, limited, seen = _crossings(field, veil, laid, middle, reach, per_mm)
    bays = _bays(creep, laid)
    edge_mm = laid.place + laid.normal * creep[:, None] + middle
    return Edge(
        np.where(seen & ~bays, creep, np.nan),
        middle,
        turn,
        float(limited[seen].mean()) if seen.any() else 1.0,
        float(seen.mean()),
        float(bays.mean()),
        edge_mm[bays],
    )


def torn_away(
    edge: Edge, whole: NDArray[np.bool_], share: Raster, per_mm: float
) -> NDArray[np.bool_]:
    """Mark the surroundings of every place where the base has torn the edge or lies just inside."""
    open_ = (whole & (share < 0.5)).astype(np.uint8)
    marked = cv2.dilate(open_, np.ones((13, 13), np.uint8))
    for x, y in np.rint(edge.torn_mm * per_mm - 0.5).astype(int):
        cv2.circle(marked, (int(x), int(y)), round(_TORN_NEAR_MM * per_mm), 1, -1)
    return marked > 0


def _bays(creep: NDArray[np.float64], laid: StencilLine) -> NDArray[np.bool_]:
    """Mark where the edge falls steeply behind a line stretched over its neighbours.

    A rough edge has dips too, but shallow slopes into them: they belong to the edge.
    """
    length = float(np.linalg.norm(laid.place - np.roll(laid.place, 1, axis=0), axis=1).sum())
    arc = max(round(_BAY_ARC_MM / length * creep.size), 3)
    stretched = ndimage.grey_closing(creep, size=arc, mode="wrap")
    behind = stretched - creep
    deep: NDArray[np.bool_] = behind > _BAY_DEPTH_MM
    rise = np.abs(creep - np.roll(creep, 1)) * creep.size / length > _STEEP
    # Twice round, so that a dip across the line's start is one.
    run, _ = ndimage.label(np.concatenate([behind > _SHOULDER_MM] * 2))
    steep = np.unique(run[np.concatenate([rise | np.roll(rise, -1)] * 2)])
    fallen = np.isin(run, steep[steep > 0])
    deep &= fallen[: creep.size] | fallen[creep.size :]
    if deep.mean() < _TORN_PART:
        return deep
    # A torn edge falls into its bays over shoulders: they are left out with the bays.
    torn: NDArray[np.bool_] = np.isin(run, np.unique(run[np.concatenate([deep, deep])])) & (run > 0)
    return torn[: creep.size] | torn[creep.size :]


def _robust_fit(
    laid: StencilLine,
    arm: NDArray[np.float64],
    creep: NDArray[np.float64],
    usable: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Fit shift (mm) and turn (radians) to the creep; a round stencil has no turn to fit."""
    turns = np.ptp(arm) > 0.1
    columns = [laid.normal, np.ones((arm.size, 1))] + ([arm[:, None]] if turns else [])
    terms = np.hstack(columns)[usable]
    wanted = creep[usable]
    weight = np.ones(wanted.size)
    ridge = 1e-6 * np.eye(terms.shape[1])
    for _ in range(4):
        weighted = terms.T * weight
        found = np.linalg.solve(weighted @ terms + ridge, weighted @ wanted)
        apart = np.abs(wanted - terms @ found)
        scale = max(1.4826 * float(np.median(apart)), 0.03)
        weight = 1 / np.maximum(apart / (2 * scale), 1)
    return np.array([found[0], found[1], found[3] if turns else 0.0])


def _crossings(
    field: Raster,
    veil: Raster,
    laid: StencilLine,
    middle: NDArray[np.float64],
    reach: Reach,
    per_mm: float,
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.bool_]]:
    """Outermost place on each normal where half the surface is overlay."""
    away = np.arange(-reach.inward, reach.outward + _STEP_MM / 2, _STEP_MM)
    profile = _along(field, laid, middle, away, per_mm)
    near = away[(away > -1.5) & (away < 1.5)]
    seen = _along(veil, laid, middle, near, per_mm).max(axis=1) < 0.5
    over = profile >= 0.5
    last = over.shape[1] - 1 - np.argmax(over[:, ::-1], axis=1)
    none = ~over.any(axis=1)
    beyond = last == over.shape[1] - 1
    row = np.arange(last.size)
    here = profile[row, last]
    then = profile[row, np.minimum(last + 1, over.shape[1] - 1)]
    part = np.where(here > then, (here - 0.5) / np.maximum(here - then, 1e-6), 0.0)
    creep = np.where(none, -reach.inward, away[last] + np.clip(part, 0, 1) * _STEP_MM)
    return creep, none | beyond, seen


def _along(
    field: Raster,
    laid: StencilLine,
    middle: NDArray[np.float64],
    away: NDArray[np.float64],
    per_mm: float,
) -> Raster:
    place = laid.place[:, None] + laid.normal[:, None] * away[:, None] + middle
    pixel = (place * per_mm - 0.5).astype(np.float32)
    return cv2.remap(
        field, pixel[..., 0], pixel[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
