"""All the photographs of a series measured, in parallel, without doing any twice."""

import json
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from itertools import groupby
from pathlib import Path

import cv2
import pandas as pd
from joblib import Parallel, delayed

from kit.errors import Misuse
from kit.photo.batch.one_picture import COLUMNS, measure_picture, measurements_table
from kit.photo.card.card_detection import SEARCH_PX, Slips, find_marks, read_slips
from kit.photo.tile.tile_plan import PhotoPlan
from kit.photo.view.image_file import (
    Unmeasurable,
    file_hash,
    open_reduced,
    pictures_in,
    strip_private,
)

MEMORY = ".measured"
"""Folder among the pictures that remembers what each gave; it can be thrown away at any time."""

MEASURING = 1
"""Raised whenever the same picture would measure differently, so that nothing stale is kept."""

UNMEASURED_COLUMNS = ("picture", "picture_sha256", "reason")


@dataclass(frozen=True)
class FolderResult:
    """What a folder of pictures gave.

    Parameters
    ----------
    measurements : DataFrame
        One row per patch and picture, as `measure_picture` gives them.
    unmeasured : DataFrame
        picture, picture_sha256, reason: the pictures that could not be measured.
    """

    measurements: pd.DataFrame
    unmeasured: pd.DataFrame


@dataclass(frozen=True)
class _Job:
    """Pictures of one tile in order of firing; or one picture whose slips cannot be read."""

    pictures: tuple[Path, ...]


def measure_folder(
    folder: Path,
    plan: PhotoPlan,
    known: pd.DataFrame | None = None,
    pure: pd.DataFrame | None = None,
    shown: Path | None = None,
    workers: int = -1,
    progress: Callable[[str], None] | None = None,
) -> FolderResult:
    """Measure every picture in a folder.

    Stopped half way and started again, it goes on where it was. A picture is measured again only
    when it, the plan, or an earlier picture of the same tile has changed.

    Parameters
    ----------
    folder : Path
        A series' photos. What each picture gave is remembered in `MEMORY` within it.
    plan : PhotoPlan
    known : DataFrame, optional
        Earlier measurements, whose `accepted` column is carried over.
    pure : DataFrame, optional
        Colours of pure overlay from control patches: overlay, overlay_l, overlay_a, overlay_b.
    shown : Path, optional
        Folder for the pictures that show what was measured.
    workers : int
        Processes at once; -1 for one a core.
    progress : callable, optional
        Told in a sentence how far it has come.

    Returns
    -------
    FolderResult

    Raises
    ------
    Misuse
        When the folder is missing or a link.
    """
    tell = progress or (lambda _: None)
    pictures, refused = pictures_in(folder)
    memory = folder / MEMORY
    if memory.is_symlink():
        raise Misuse(f"{memory} is a link to another folder. Remove it.")
    memory.mkdir(exist_ok=True)
    if shown is not None:
        shown.mkdir(parents=True, exist_ok=True)
    tell(f"{len(pictures)} pictures: reading their slips.")
    pool = Parallel(n_jobs=workers, return_as="generator_unordered")
    found = dict(pool(delayed(_read_slips)(path, memory) for path in pictures))
    rows: list[dict[str, object]] = []
    unmeasured = [
        {"picture": name, "picture_sha256": "", "reason": reason}
        for name, reason in refused.items()
    ]
    done = 0
    jobs = (
        delayed(_measure_tile)(job, plan, pure, memory, shown) for job in _jobs(pictures, found)
    )
    for results in pool(jobs):
        for result in results:
            rows += result["rows"]
            if result["reason"]:
                unmeasured.append({c: result[c] for c in UNMEASURED_COLUMNS})
        done += len(results)
        tell(f"{done} of {len(pictures)} pictures measured.")
    return FolderResult(
        _in_order(_with_accepted(measurements_table(rows), known), plan),
        pd.DataFrame(unmeasured, columns=list(UNMEASURED_COLUMNS), dtype="str")
        .sort_values("picture")
        .reset_index(drop=True),
    )


def _jobs(pictures: list[Path], found: dict[Path, Slips | None]) -> Iterator[_Job]:
    read = [(path, slips) for path in pictures if (slips := found[path]) is not None]
    read.sort(key=lambda item: (item[1].tile, item[1].firing, item[0].name))
    for _, group in groupby(read, key=lambda item: item[1].tile):
        yield _Job(tuple(path for path, _ in group))
    yield from (_Job((path,)) for path in pictures if found[path] is None)


def _read_slips(path: Path, memory: Path) -> tuple[Path, Slips | None]:
    """Read what the slips say; None when they cannot be read, for whatever reason."""
    cv2.setNumThreads(1)
    kept = memory / f"{file_hash(path)}.slips.json"
    said = _recall(kept)
    if said is None:
        try:
            _, ids = find_marks(open_reduced(path, SEARCH_PX))
            slips = read_slips(ids)
            said = {"tile": slips.tile, "firing": slips.firing}
        except Unmeasurable:
            said = {}
        _keep(kept, said)
    return path, Slips(**said) if said else None


def _measure_tile(
    job: _Job,
    plan: PhotoPlan,
    pure: pd.DataFrame | None,
    memory: Path,
    shown: Path | None,
) -> list[dict]:
    """Measure pictures in turn, each knowing what the ones before it gave."""
    cv2.setNumThreads(1)
    results = []
    earlier = measurements_table([])
    for path in job.pictures:
        result = _measured(path, plan, earlier, pure, memory, shown)
        if result["rows"]:
            new = measurements_table(result["rows"])
            earlier = new if earlier.empty else pd.concat([earlier, new], ignore_index=True)
        results.append(result)
    return results


def _measured(
    path: Path,
    plan: PhotoPlan,
    earlier: pd.DataFrame,
    pure: pd.DataFrame | None,
    memory: Path,
    shown: Path | None,
) -> dict:
    drawn = None if shown is None else shown / f"{path.stem}-measured.png"
    kept = memory / f"{_fingerprint(path, plan, earlier, pure)}.json"
    result = _recall(kept)
    if result is not None and (drawn is None or drawn.exists() or result["reason"]):
        return result
    picture = measure_picture(path, plan, earlier, pure)
    result = {
        "picture": path.name,
        "picture_sha256": picture.sha256,
        "reason": picture.reason,
        "rows": json.loads(picture.patches.to_json(orient="records", double_precision=15)),
    }
    if drawn is not None and picture.shown is not None:
        strip_private(picture.shown, drawn)
    _keep(kept, result)
    return result


def _fingerprint(
    path: Path, plan: PhotoPlan, earlier: pd.DataFrame, pure: pd.DataFrame | None
) -> str:
    """Everything that a picture's measurements depend on, as one hash."""
    columns = ["patch", "tile", "position", "overlay", "before_firing"]
    parts = (
        str(MEASURING),
        path.name,
        file_hash(path),
        repr((plan.patches_per_tile, plan.blank, plan.stencil, plan.scale)),
        plan.patches[columns].to_csv(index=False),
        earlier.to_csv(index=False),
        "" if pure is None else pure.to_csv(index=False),
    )
    return sha256("\n".join(parts).encode()).hexdigest()


def _recall(kept: Path) -> dict | None:
    """Read what was kept; a file cut short by a power cut is as good as none."""
    try:
        return json.loads(kept.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def _keep(kept: Path, what: dict) -> None:
    draft = kept.with_suffix(f".{os.getpid()}.part")
    draft.write_text(json.dumps(what), encoding="utf-8")
    draft.replace(kept)


def _with_accepted(table: pd.DataFrame, known: pd.DataFrame | None) -> pd.DataFrame:
    """Carry over which measurements a person has struck out or agreed to."""
    if known is None or known.empty or table.empty:
        return table
    key = ["picture_sha256", "patch"]
    said = known.drop_duplicates(key, keep="last").set_index(key)["accepted"]
    index = pd.MultiIndex.from_frame(table[key])
    return table.assign(accepted=said.reindex(index).fillna("").astype(str).to_numpy())


def _in_order(table: pd.DataFrame, plan: PhotoPlan) -> pd.DataFrame:
    order = plan.patches.drop_duplicates("patch").set_index("patch")[["tile", "position"]]
    sorted_ = table.join(order, on="patch").sort_values(["tile", "firing", "position", "picture"])
    return sorted_[list(COLUMNS)].reset_index(drop=True)
