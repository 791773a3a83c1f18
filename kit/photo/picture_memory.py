"""What each picture gave, kept beside the pictures, and patches cut out of it for a report."""

import datetime as dt
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from PIL import Image

from kit.photo.one_picture import SHOWN_PER_MM, PictureResult, measurements_table, name_claims
from kit.photo.tile_plan import PhotoPlan
from kit.photo.view.image_file import bare_jpeg, file_hash
from kit.series import Series

MEMORY = ".measured"
"""Folder among the pictures that remembers what each gave; it can be thrown away at any time."""

MEASURING = 5
"""Raised whenever the same picture would measure differently, so that nothing stale is kept."""

_SIDE = 1.6
"""Side of a picture in stencil widths: the patch, and the base all round it."""

_SIDE_PX = 144
_QUALITY = 70
_SAME = 1e-4


@dataclass(frozen=True)
class PictureMemory:
    """A folder that remembers; it can be thrown away at any time.

    What is kept is found by a picture's content, so that renaming or moving it changes nothing.

    Parameters
    ----------
    folder : Path
    """

    folder: Path

    def slips(self, picture_sha256: str) -> dict[str, int] | None:
        """What the slips in a picture said; empty when they could not be read."""
        return _recall(self.folder / f"{picture_sha256}.slips.json")

    def keep_slips(self, picture_sha256: str, said: dict[str, int]) -> None:
        _keep(self.folder / f"{picture_sha256}.slips.json", json.dumps(said).encode())

    def result(self, fingerprint: str, picture: str) -> PictureResult | None:
        """What a picture gave, under the name that it has now."""
        said = _recall(self.folder / f"{fingerprint}.json")
        if said is None or not (said["reason"] or self.shown(fingerprint).is_file()):
            return None
        rows = [row | {"picture": picture} for row in said.pop("rows")]
        taken = said.pop("taken")
        return PictureResult(
            picture,
            patches=measurements_table(rows),
            taken=dt.datetime.fromisoformat(taken) if taken else None,
            **said,
        )

    def keep_result(self, fingerprint: str, result: PictureResult) -> PictureResult:
        """Keep what a picture gave, and the picture of it on disk instead of in memory."""
        if result.shown is not None:
            _keep(self.shown(fingerprint), bare_jpeg(result.shown))
        said = {
            "sha256": result.sha256,
            "tile": result.tile,
            "firing": result.firing,
            "rows": json.loads(result.patches.to_json(orient="records", double_precision=15)),
            "spots": result.spots,
            "size_mm": result.size_mm,
            "taken": result.taken.isoformat() if result.taken else "",
            "camera": result.camera,
            "borrowed": result.borrowed,
            "reason": result.reason,
        }
        _keep(self.folder / f"{fingerprint}.json", json.dumps(said).encode())
        return self.result(fingerprint, result.picture) or replace(result, shown=None)

    def shown(self, fingerprint: str) -> Path:
        """The picture that shows what was measured."""
        return self.folder / f"{fingerprint}.jpg"


def fingerprint_of(
    path: Path,
    plan: PhotoPlan,
    earlier: pd.DataFrame,
    pure: pd.DataFrame | None,
    others: Sequence[Path],
    tile: int | None,
    turned_deg: float,
) -> str:
    """Everything that a picture's measurements depend on, as one hash; not its name."""
    columns = ["patch", "tile", "position", "overlay", "before_firing"]
    own = plan.patches[plan.patches["tile"] == tile]
    parts = (
        str(MEASURING),
        repr(sorted(name_claims(path.name).items())),
        file_hash(path),
        repr((plan.patches_per_tile, plan.blank, plan.stencil, plan.scale)),
        repr(plan.striped.get(tile) if tile else None),
        own[columns].to_csv(index=False),
        earlier.drop(columns="picture").to_csv(index=False),
        "" if pure is None else pure.to_csv(index=False),
        *sorted(map(file_hash, others)),
        f"turned {turned_deg}" if turned_deg else "",
    )
    return sha256("\n".join(parts).encode()).hexdigest()


def _recall(kept: Path) -> dict[str, Any] | None:
    """Read what was kept; a file cut short by a power cut is as good as none."""
    try:
        known: dict[str, Any] = json.loads(kept.read_text(encoding="utf-8"))
        return known
    except (OSError, ValueError):
        return None


def _keep(kept: Path, what: bytes) -> None:
    draft = kept.with_suffix(f".{os.getpid()}.part")
    draft.write_bytes(what)
    draft.replace(kept)


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
        said = _recall(path)
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
