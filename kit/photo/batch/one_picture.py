"""One photograph measured, from file to a table of patches."""

import re
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pandas as pd

from kit.photo.card.card_detection import Slips
from kit.photo.patch.face import MOTTLE_BANDS_MM
from kit.photo.patch.patch_reading import COLOURS, PatchReading, measure_patch
from kit.photo.raster import Raster, colour_shift
from kit.photo.review.annotated import draw_readings
from kit.photo.review.consistency import (
    first_seen,
    overlay_lab,
    reference_colour,
    refuse_other_tile,
    refuse_turned,
)
from kit.photo.tile.patch_layout import base_colour, patch_places
from kit.photo.tile.tile_plan import PhotoPlan
from kit.photo.view.image_file import Unmeasurable, file_hash, open_picture
from kit.photo.view.window import PER_MM, see_window
from kit.series import MEASUREMENTS

MEASURES = (
    "spread_mm",
    "spread_p95_mm",
    "edge_width_mm",
    "pull_through_share",
    *MOTTLE_BANDS_MM,
    "colour_shift",
)
"""The measured columns; each has its standard error beside it, named with `_se`."""

COLUMNS = tuple(column.name for column in MEASUREMENTS.columns)

_BEYOND_THE_KIT = "What is seen in it makes no sense to the kit. Take the picture again."
_COLOUR_SE = 1.0
"""CIEDE2000 between two pictures of one patch that has not changed (measured, see benchmarks)."""

_CLAIMS = (
    ("tile", re.compile(r"tile[ _-]?0*(\d+)", re.IGNORECASE)),
    ("firing", re.compile(r"firing[ _-]?0*(\d+)", re.IGNORECASE)),
)


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
        The tile with what was measured drawn on it, RGB.
    reason : str
        Why the picture cannot be measured; blank if it can.
    """

    picture: str
    sha256: str
    tile: int | None
    firing: int | None
    patches: pd.DataFrame
    shown: Raster | None
    reason: str


def measure_picture(
    path: Path,
    plan: PhotoPlan,
    earlier: pd.DataFrame | None = None,
    pure: pd.DataFrame | None = None,
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

    Returns
    -------
    PictureResult
    """
    sha256, tile, firing = "", None, None
    try:
        sha256 = file_hash(path)
        window = see_window(open_picture(path), plan)
        tile, firing = window.slips.tile, window.slips.firing
        _check_name(path.name, window.slips)
        patches = _planned(plan, tile, firing)
        places = patch_places(plan, window, patches)
        base = base_colour(window, plan, places)
        first = first_seen(earlier, firing)
        refuse_other_tile(base, first)
        readings = {
            row.patch: measure_patch(
                window,
                plan.stencil,
                places[row.patch],
                base,
                reference_colour(row.patch, row.overlay, first, pure),
            )
            for row in patches.itertuples()
        }
        refuse_turned(readings, first)
    except (Unmeasurable, cv2.error, np.linalg.LinAlgError) as error:
        reason = error if isinstance(error, Unmeasurable) else _BEYOND_THE_KIT
        nothing = measurements_table([])
        return PictureResult(path.name, sha256, tile, firing, nothing, None, str(reason))
    rows = [
        _row(path.name, sha256, firing, patch, reading, first)
        for patch, reading in readings.items()
    ]
    shown = draw_readings(window.lab, readings, PER_MM)
    return PictureResult(path.name, sha256, tile, firing, measurements_table(rows), shown, "")


def _check_name(name: str, slips: Slips) -> None:
    """Refuse a picture whose name says another tile or firing than its slips.

    Names need say nothing; one such as 'tile07-firing2.jpg' is held to what it says.

    Raises
    ------
    Unmeasurable
        When name and slips disagree.
    """
    for kind, pattern in _CLAIMS:
        claim = pattern.search(name)
        said = getattr(slips, kind)
        if claim and int(claim[1]) != said:
            raise Unmeasurable(
                f"The slip says {kind} {said}, the file's name says {kind} {int(claim[1])}. "
                "One of them is wrong."
            )


def _planned(plan: PhotoPlan, tile: int, firing: int) -> pd.DataFrame:
    if tile not in set(plan.patches["tile"]):
        raise Unmeasurable(f"The slip says tile {tile}, which is not in this series.")
    patches = plan.on_tile(tile, firing)
    if patches.empty:
        raise Unmeasurable(
            f"The slips say tile {tile} after firing {firing}, when it had no patch yet."
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
