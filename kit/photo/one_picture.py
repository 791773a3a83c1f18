"""One photograph measured, from file to a table of patches."""

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.photo.card.card_detection import Slips
from kit.photo.patch.patch_image import base_colours, patch_places
from kit.photo.patch.patch_reading import COLOURS, PatchReading, measure_patch
from kit.photo.patch.reflection import without_reflections
from kit.photo.raster import Raster, colour_shift
from kit.photo.tile_plan import PhotoPlan
from kit.photo.view.image_file import Unmeasurable, file_hash, open_picture
from kit.photo.view.view_from_above import PER_MM, Window, see_window
from kit.series import MEASUREMENTS

COLUMNS = tuple(column.name for column in MEASUREMENTS.columns)

_BEYOND_THE_KIT = "What is seen in it makes no sense to the kit. Take the picture again."
_COLOUR_SE = 1.0
"""CIEDE2000 between two pictures of one patch that has not changed (measured, see benchmarks)."""

_CLAIMS = (
    ("tile", re.compile(r"tile[ _-]?0*(\d+)", re.IGNORECASE)),
    ("firing", re.compile(r"firing[ _-]?0*(\d+)", re.IGNORECASE)),
)

SHOWN_PER_MM = 9.0
_APART_PX = 25
"""Neighbouring points further apart than this lie on either side of a gap."""


@dataclass(frozen=True)
class PictureResult:
    """What one picture gave.

    Parameters
    ----------
    picture : str
        File name.
    sha256 : str
        Hash of the file's content; blank if it could not be read.
    tile, firing : int or None
        As the slips say; None if they could not be read.
    patches : DataFrame
        One row per patch, with `COLUMNS`; empty if the picture cannot be measured.
    shown : ndarray of uint8 (height, width, 3) or None
        The tile from above with the edges found drawn on it, RGB.
    spots : dict of str to tuple of float
        Where each patch's middle lies on `shown`, as shares of its width and height.
    size_mm : tuple of float or None
        Width and height of the tile as the card's millimetres have them.
    taken : datetime or None
        When, by the camera's own clock.
    camera : str
        Maker and model as the file gives them.
    borrowed : float
        Share of the tile that was taken from another picture, a reflection hiding it in this one.
    reason : str
        Why the picture cannot be measured; blank if it can.
    """

    picture: str
    sha256: str = ""
    tile: int | None = None
    firing: int | None = None
    patches: pd.DataFrame = field(default_factory=lambda: measurements_table([]))
    shown: Raster | None = None
    spots: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    size_mm: tuple[float, float] | None = None
    taken: dt.datetime | None = None
    camera: str = ""
    borrowed: float = 0.0
    reason: str = ""


def measure_picture(
    path: Path,
    plan: PhotoPlan,
    earlier: pd.DataFrame | None = None,
    pure: pd.DataFrame | None = None,
    others: Sequence[Path] = (),
    turned_deg: float = 0.0,
) -> PictureResult:
    """Measure every patch in one photograph.

    A picture that cannot be measured is no error: the result then says why.

    Parameters
    ----------
    path : Path
        The picture.
    plan : PhotoPlan
    earlier : DataFrame, optional
        Measurements of the same tile after earlier firings, as this function gave them. Colour
        shift is against the earliest of them, and so is the colour of pure overlay.
    pure : DataFrame, optional
        Colours of pure overlay from control patches: overlay, overlay_l, overlay_a, overlay_b.
    others : sequence of Path, optional
        Other pictures of the same tile after the same firing, the tile or the lamp moved: what a
        reflection hides here is taken from them.
    turned_deg : float
        How far the tile lies turned clockwise from how the card says, as a person found.

    Returns
    -------
    PictureResult
    """
    result = PictureResult(path.name)
    try:
        result = replace(result, sha256=file_hash(path))
        opened = open_picture(path)
        result = replace(result, taken=opened.taken, camera=opened.camera)
        window = see_window(opened, plan)
        window = replace(window, tile=window.tile.laid_turned(turned_deg))
        slips = window.slips
        result = replace(result, tile=slips.tile, firing=slips.firing)
        _check_name(path.name, slips)
        patches = _planned(plan, slips.tile, slips.firing)
        first = first_seen(earlier, slips.firing)
        layout = plan.layout(slips.tile)

        def read(seen: Window) -> dict[str, PatchReading]:
            places = patch_places(plan, layout, seen, patches)
            bases = base_colours(seen, plan.blank, layout, places)
            return {
                row.patch: measure_patch(
                    seen,
                    layout.stencil,
                    places[row.patch],
                    bases[row.patch],
                    reference_colour(row.patch, row.overlay, first, pure),
                )
                for row in patches.itertuples()
            }

        readings, borrowed = read(window), 0.0
        mirrored = [patch for patch, reading in readings.items() if reading.mirrored]
        if mirrored and others:
            window, borrowed = _with_others(window, plan, others)
            again = read(window)
            readings |= {patch: again[patch] for patch in mirrored}
    except (Unmeasurable, cv2.error, np.linalg.LinAlgError) as error:
        reason = error if isinstance(error, Unmeasurable) else _BEYOND_THE_KIT
        return replace(result, reason=str(reason))
    rows = [
        _row(path.name, result.sha256, slips.firing, patch, reading, first)
        for patch, reading in readings.items()
    ]
    extent = np.array(window.lab.shape[1::-1]) / PER_MM
    return replace(
        result,
        patches=measurements_table(rows),
        shown=_with_edges(window.lab, readings, PER_MM),
        spots={p: _middle(reading, extent) for p, reading in readings.items()},
        size_mm=(window.tile.width_mm, window.tile.height_mm),
        borrowed=borrowed,
    )


def _with_others(window: Window, plan: PhotoPlan, others: Sequence[Path]) -> tuple[Window, float]:
    """Take from other pictures of the tile what reflections hide in this one."""
    borrowed = 0.0
    for other in others:
        try:
            donor = see_window(open_picture(other), plan)
        except Unmeasurable:
            continue
        window, share = without_reflections(window, donor)
        borrowed += share
    return window, borrowed


def _middle(reading: PatchReading, extent: NDArray[np.float64]) -> tuple[float, float]:
    x, y = (reading.planned_mm.mean(axis=0) / extent).tolist()
    return x, y


def name_claims(name: str) -> dict[str, int]:
    """What a file's name says of tile and firing, such as 'tile07-firing2.jpg'; nothing, mostly."""
    found = {kind: pattern.search(name) for kind, pattern in _CLAIMS}
    return {kind: int(claim[1]) for kind, claim in found.items() if claim}


def _check_name(name: str, slips: Slips) -> None:
    """Refuse a picture whose name says another tile or firing than its slips."""
    for kind, claimed in name_claims(name).items():
        said = getattr(slips, kind)
        if claimed != said:
            raise Unmeasurable(
                f"The slip says {kind} {said}, the file's name says {kind} {claimed}. "
                "One of them is wrong."
            )


def _planned(plan: PhotoPlan, tile: int, firing: int) -> pd.DataFrame:
    if tile not in set(plan.patches["tile"]):
        raise Unmeasurable(f"The slip says tile {tile}, which is not in this series.")
    patches = plan.on_tile(tile, firing)
    if patches.empty:
        raise Unmeasurable(
            f"The slips say tile {tile} after firing {firing}, when no patch on it counts."
        )
    return patches


def _row(
    picture: str,
    sha256: str,
    firing: int,
    patch: str,
    reading: PatchReading,
    first: pd.DataFrame | None,
) -> dict[str, object]:
    row: dict[str, object] = {
        "patch": patch,
        "firing": firing,
        "picture": picture,
        "picture_sha256": sha256,
        "quality": reading.quality,
        "remark": reading.remark,
        "accepted": "",
    }
    row |= reading.values
    if first is not None and patch in first.index and reading.quality != "not measured":
        now = np.array([reading.values[c] for c in COLOURS[3:]])
        row["colour_shift"] = float(colour_shift(overlay_lab(first.loc[patch]), now))
        row["colour_shift_se"] = _COLOUR_SE
    return row


def measurements_table(rows: list[dict[str, object]]) -> pd.DataFrame:
    """Put rows into a table with `COLUMNS`, each of its own type; no rows give an empty one."""
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.astype({column.name: column.dtype for column in MEASUREMENTS.columns})


def first_seen(earlier: pd.DataFrame | None, firing: int) -> pd.DataFrame | None:
    """Each patch's row after its earliest firing before this one."""
    if earlier is None or earlier.empty:
        return None
    before = earlier[(earlier["firing"] < firing) & earlier["overlay_l"].notna()]
    if before.empty:
        return None
    return before.sort_values("firing").drop_duplicates("patch").set_index("patch")


def overlay_lab(row: pd.Series) -> Raster:
    """CIELAB of the overlay in a row of measurements, (3,)."""
    lab: Raster = row[["overlay_l", "overlay_a", "overlay_b"]].to_numpy(np.float32)
    return lab


def reference_colour(
    patch: str, overlay: str, first: pd.DataFrame | None, pure: pd.DataFrame | None
) -> Raster | None:
    """CIELAB of pure overlay for a patch, from a control patch or else from its first picture."""
    if pure is not None:
        known = pure[pure["overlay"] == overlay]
        if len(known):
            return overlay_lab(known.iloc[0])
    if first is not None and patch in first.index:
        return overlay_lab(first.loc[patch])
    return None


def _with_edges(lab: Raster, readings: dict[str, PatchReading], per_mm: float) -> Raster:
    """Draw the stencil line and the edge found over the straightened picture of the tile.

    The stencil line is dashed, the edge found is a full line; both are white on black, so that
    they show on any colour.

    Parameters
    ----------
    lab : ndarray (height, width, 3)
        CIELAB of the window.
    readings : dict of str to PatchReading
        By patch.
    per_mm : float
        Pixels to the mm of `lab`.

    Returns
    -------
    ndarray of uint8 (height, width, 3)
        RGB, `SHOWN_PER_MM` pixels to the mm.
    """
    zoom = SHOWN_PER_MM / per_mm
    small = cv2.resize(lab, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_AREA)
    srgb = cv2.cvtColor(small, cv2.COLOR_Lab2RGB)
    canvas = np.ascontiguousarray((np.clip(srgb, 0, 1) * 255 + 0.5).astype(np.uint8))
    for reading in readings.values():
        _dashes(canvas, reading.planned_mm * SHOWN_PER_MM)
        if reading.outline_mm is not None:
            _line(canvas, reading.outline_mm * SHOWN_PER_MM)
    return canvas


def _line(canvas: Raster, place: NDArray[np.float64]) -> None:
    """Join neighbouring points; a gap is left where the edge was not seen."""
    ends = np.roll(place, -1, axis=0)
    near = np.linalg.norm(ends - place, axis=1) < _APART_PX
    _strokes(canvas, place[near], ends[near])


def _dashes(canvas: Raster, place: NDArray[np.float64]) -> None:
    ends = np.roll(place, -1, axis=0)
    drawn = (np.arange(len(place)) % 8 < 3) & (np.linalg.norm(ends - place, axis=1) < _APART_PX)
    _strokes(canvas, place[drawn], ends[drawn])


def _strokes(canvas: Raster, starts: NDArray[np.float64], ends: NDArray[np.float64]) -> None:
    """Draw in sixteenths of a pixel, white over a wider black."""
    lines = list(np.rint(np.stack([starts, ends], axis=1) * 16).astype(np.int32))
    for colour, thick in (((0, 0, 0), 3), ((255, 255, 255), 1)):
        cv2.polylines(canvas, lines, False, colour, thick, cv2.LINE_AA, shift=4)
