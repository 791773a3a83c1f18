"""Small pictures of single patches, cut out of what was measured, for a report."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from kit.photo.batch.one_picture import SHOWN_PER_MM
from kit.photo.batch.photo_folder import MEMORY
from kit.photo.view.image_file import bare_jpeg
from kit.series import Series

_SIDE = 1.6
"""Side of a picture in stencil widths: the patch, and the base all round it."""

_SIDE_PX = 144
_QUALITY = 70
_SAME = 1e-4


@dataclass(frozen=True)
class PatchPicture:
    """One patch after one firing.

    Parameters
    ----------
    patch : str
    firing : int
        Of the tile.
    jpeg : bytes
        Straightened, under the card's light, with the stencil's line dashed and the edge that was
        found; without place, time or owner.
    """

    patch: str
    firing: int
    jpeg: bytes


def patch_pictures(series: Series, photos: Path) -> tuple[PatchPicture, ...]:
    """Cut out every patch that was measured, by patch and firing.

    Parameters
    ----------
    series : Series
        What is struck out in its measurements, or could not be measured, is not shown.
    photos : Path
        Folder of the photographs; what was measured before lies in it.

    Returns
    -------
    tuple of PatchPicture
        One a patch and firing: of several, the one of the best quality. None where the folder
        holds nothing that the measurements were taken from.
    """
    table = series.measurements
    believed = table[(table["accepted"] != "no") & table["spread_mm"].notna()]
    if believed.empty or not (photos / MEMORY).is_dir():
        return ()
    kept: dict[str, list[tuple[Path, Mapping[str, Any]]]] = {}
    for picture, said in _remembered(photos / MEMORY):
        kept.setdefault(said["sha256"], []).append((picture, said))
    rank = {quality: n for n, quality in enumerate(("good", "fair", "poor"))}
    best_first = believed.assign(rank=believed["quality"].map(rank)).sort_values(
        ["patch", "firing", "rank", "picture_sha256"]
    )
    stencil = series.settings.stencil
    side = _SIDE * max(stencil.size_mm, stencil.height_mm) * SHOWN_PER_MM
    found: dict[tuple[str, int], PatchPicture] = {}
    for row in best_first.itertuples():
        key = (str(row.patch), int(row.firing))
        for picture, said in kept.get(str(row.picture_sha256), []):
            if key not in found and _agrees(said, row):
                jpeg = _cut_out(picture, said["spots"][row.patch], side)
                found[key] = PatchPicture(*key, jpeg)
    return tuple(found.values())


def _remembered(memory: Path) -> Iterator[tuple[Path, Mapping[str, Any]]]:
    """What pictures gave, with the straightened picture; what was cut short is passed over."""
    for path in sorted(memory.glob("*.json")):
        picture = path.with_suffix(".jpg")
        if path.name.endswith(".slips.json") or not picture.is_file():
            continue
        try:
            said = json.loads(path.read_text("utf-8"))
        except ValueError:
            continue
        if isinstance(said, dict) and {"sha256", "spots", "rows"} <= said.keys():
            yield picture, said


def _agrees(said: Mapping[str, Any], row: Any) -> bool:
    """Whether a result is that of a row, and not one of an older plan."""
    spreads = [r["spread_mm"] for r in said["rows"] if r["patch"] == row.patch]
    known = row.patch in said["spots"] and spreads and spreads[0] is not None
    return bool(known and abs(spreads[0] - row.spread_mm) < _SAME)


def _cut_out(picture: Path, spot: tuple[float, float], side: float) -> bytes:
    with Image.open(picture) as image:
        x, y = spot[0] * image.width, spot[1] * image.height
        half = min(side, image.width, image.height) / 2
        x, y = (
            min(max(place, half), size - half)
            for place, size in ((x, image.width), (y, image.height))
        )
        box = (x - half, y - half, x + half, y + half)
        small = image.convert("RGB").resize((_SIDE_PX, _SIDE_PX), Image.Resampling.LANCZOS, box)
    return bare_jpeg(np.asarray(small), _QUALITY)
