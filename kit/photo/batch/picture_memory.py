"""What each picture gave, kept beside the pictures, so that nothing is measured twice."""

import datetime as dt
import json
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import pandas as pd

from kit.photo.batch.one_picture import PictureResult, measurements_table, name_claims
from kit.photo.tile.tile_plan import PhotoPlan
from kit.photo.view.image_file import bare_jpeg, file_hash

MEASURING = 3
"""Raised whenever the same picture would measure differently, so that nothing stale is kept."""


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
