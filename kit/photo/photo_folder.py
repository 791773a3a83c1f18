"""All the photographs of a series measured, in parallel, without doing any twice."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path

import cv2
import pandas as pd
from joblib import Parallel, delayed

from kit.errors import Misuse
from kit.photo.card.card_detection import SEARCH_PX, Slips, find_marks, read_slips
from kit.photo.one_picture import (
    COLUMNS,
    PictureResult,
    measure_picture,
    measurements_table,
)
from kit.photo.picture_memory import MEMORY, PictureMemory, fingerprint_of
from kit.photo.review.colour_memory import Question, colour_questions, untold_questions
from kit.photo.review.contradictions import agreement_questions, firing_questions
from kit.photo.review.print_witness import BY_TILES, corrected_scale
from kit.photo.tile_plan import PhotoPlan
from kit.photo.view.image_file import Unmeasurable, file_hash, open_reduced, pictures_in

DECISIONS = "decisions.csv"
"""File among the pictures that keeps what a person decided on them."""

_MOST_OTHERS = 3

PICTURES = (
    "picture", "picture_sha256", "tile", "firing", "camera", "at", "width_mm", "height_mm",
    "borrowed", "shown", "spots", "reason",
)  # fmt: skip


@dataclass(frozen=True)
class FolderResult:
    """What a folder of pictures gave.

    Parameters
    ----------
    measurements : DataFrame
        One row per patch and picture, as `measure_picture` gives them; what does not fit is
        'poor', with the question about it as its remark.
    unmeasured : DataFrame
        picture, picture_sha256, reason: the pictures that could not be measured.
    pictures : DataFrame
        One row per picture, with `PICTURES`: what its slips say, when and by what camera it was
        taken, the tile's size, the picture of what was measured and where its patches lie in it.
    copies : dict of str to str
        Pictures that are the same as another, and which.
    questions : tuple of Question
        What does not fit, to be asked of a person.
    notes : tuple of str
        What else a person should know, in finished sentences.
    """

    measurements: pd.DataFrame
    unmeasured: pd.DataFrame
    pictures: pd.DataFrame
    copies: dict[str, str]
    questions: tuple[Question, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Job:
    """Pictures of one tile in order of firing; or one picture whose slips cannot be read."""

    pictures: tuple[tuple[Path, Slips | None], ...]

    def others(self, path: Path, slips: Slips | None) -> list[Path]:
        """Other pictures of the same tile after the same firing."""
        if slips is None:
            return []
        alike = [other for other, said in self.pictures if said == slips and other != path]
        return alike[:_MOST_OTHERS]


def measure_folder(
    folder: Path,
    plan: PhotoPlan,
    pure: pd.DataFrame | None = None,
    workers: int = -1,
    progress: Callable[[str], None] | None = None,
    turned: Mapping[str, float] | None = None,
) -> FolderResult:
    """Measure every picture in a folder and the folders within it, and hold them together.

    Stopped half way and started again, it goes on where it was. A picture is measured again only
    when it, the plan of its tile, or an earlier picture of the same tile has changed.

    Parameters
    ----------
    folder : Path
        A series' photos. What each picture gave is remembered in `MEMORY` within it.
    plan : PhotoPlan
    pure : DataFrame, optional
        Colours of pure overlay from control patches: overlay, overlay_l, overlay_a, overlay_b.
    workers : int
        Processes at once; -1 for one a core.
    progress : callable, optional
        Told in a sentence how far it has come.
    turned : mapping of str to float, optional
        Pictures, by their fingerprint, of which a person found how the tile lies: turned clockwise
        by so many degrees, 0 where it lies as the card says.

    Returns
    -------
    FolderResult

    Raises
    ------
    Misuse
        When the folder is missing or a link.
    """
    tell = progress or (lambda _: None)
    paths, refused = pictures_in(folder, passed_over=[DECISIONS])
    if (folder / MEMORY).is_symlink():
        raise Misuse(f"{folder / MEMORY} is a link to another folder. Remove it.")
    memory = PictureMemory(folder / MEMORY)
    memory.folder.mkdir(exist_ok=True)
    pictures, copies = _without_copies(paths, folder)
    tell(f"{len(pictures)} pictures: reading their slips.")
    pool = Parallel(n_jobs=workers, return_as="generator_unordered")
    found = dict(pool(delayed(_read_slips)(path, memory) for path in pictures))

    def measured(with_plan: PhotoPlan) -> pd.DataFrame:
        rows: list[dict[str, object]] = []
        work = (
            delayed(_measure_tile)(job, folder, with_plan, pure, memory, turned or {})
            for job in _jobs(pictures, found)
        )
        for results in pool(work):
            rows += results
            tell(f"{len(rows)} of {len(pictures)} pictures measured.")
        return pd.DataFrame(rows, columns=[*PICTURES, "patches"])

    table = measured(plan)
    scale, notes = corrected_scale(table, plan)
    if scale != plan.scale:
        tell(notes[-1])
        table = measured(replace(plan, scale=scale, scale_error=BY_TILES))
    return _held_together(table, plan, refused, copies, notes, turned or {})


def _held_together(
    table: pd.DataFrame,
    plan: PhotoPlan,
    refused: dict[str, str],
    copies: dict[str, str],
    notes: list[str],
    turned: Mapping[str, float],
) -> FolderResult:
    """Put the pictures' results together, and ask about what does not fit."""
    patches = [rows for rows in table["patches"] if len(rows)]
    rows = pd.concat(patches, ignore_index=True) if patches else measurements_table([])
    pictures = table.drop(columns="patches").sort_values("picture", ignore_index=True)
    places = plan.patches.drop_duplicates("patch").set_index("patch")[["tile", "position"]]
    placed = rows.join(places, on="patch").sort_values(["tile", "firing", "position", "picture"])
    placed = placed.reset_index(drop=True)
    sound = pictures[pictures["reason"] == ""]
    questions = colour_questions(placed, plan) + firing_questions(sound, plan)
    doubted = _with_questions(placed, questions)
    more = agreement_questions(doubted, sound)
    doubted = _with_questions(doubted, more)
    untold = untold_questions(doubted, plan, turned)
    doubted = _with_questions(doubted, untold)
    borrowed = pictures[pictures["borrowed"] > 0.002]
    if len(borrowed):
        names = ", ".join(borrowed["picture"])
        told = f"Reflections in {names} were replaced from another picture of the same tile."
        notes = [*notes, told]
    nowhere = pd.DataFrame(
        [{"picture": name, "picture_sha256": "", "reason": why} for name, why in refused.items()],
        columns=["picture", "picture_sha256", "reason"],
        dtype="str",
    )
    failed = pictures.loc[pictures["reason"] != "", list(nowhere.columns)]
    return FolderResult(
        doubted[list(COLUMNS)],
        pd.concat([failed, nowhere]).sort_values("picture", ignore_index=True),
        pictures,
        copies,
        (*questions, *more, *untold),
        tuple(notes),
    )


def _with_questions(table: pd.DataFrame, questions: list[Question]) -> pd.DataFrame:
    """Call what is asked about poor, so that it counts only when a person says so."""
    quality, remark = table["quality"].copy(), table["remark"].copy()
    for question in questions:
        about = table["picture_sha256"].isin(question.pictures)
        if question.patches:
            about &= table["patch"].isin(question.patches)
        remark[about] = question.words
        quality[about & (quality != "not measured")] = "poor"
    return table.assign(quality=quality, remark=remark)


def _without_copies(paths: list[Path], folder: Path) -> tuple[list[Path], dict[str, str]]:
    """Leave out pictures whose content is that of another, whatever they are called."""
    first: dict[str, Path] = {}
    copies = {}
    for path in paths:
        kept = first.setdefault(file_hash(path), path)
        if kept is not path:
            copies[path.relative_to(folder).as_posix()] = kept.relative_to(folder).as_posix()
    return list(first.values()), copies


def _jobs(pictures: list[Path], found: dict[Path, Slips | None]) -> Iterator[_Job]:
    read = [(path, slips) for path in pictures if (slips := found[path]) is not None]
    read.sort(key=lambda item: (item[1].tile, item[1].firing, item[0].name))
    for _, group in groupby(read, key=lambda item: item[1].tile):
        yield _Job(tuple(group))
    yield from (_Job(((path, None),)) for path in pictures if found[path] is None)


def _read_slips(path: Path, memory: PictureMemory) -> tuple[Path, Slips | None]:
    """Read what the slips say; None when they cannot be read, for whatever reason."""
    cv2.setNumThreads(1)
    sha256 = file_hash(path)
    said = memory.slips(sha256)
    if said is None:
        try:
            _, ids = find_marks(open_reduced(path, SEARCH_PX))
            slips = read_slips(ids)
            said = {"tile": slips.tile, "firing": slips.firing}
        except Unmeasurable:
            said = {}
        memory.keep_slips(sha256, said)
    return path, Slips(**said) if said else None


def _measure_tile(
    job: _Job,
    folder: Path,
    plan: PhotoPlan,
    pure: pd.DataFrame | None,
    memory: PictureMemory,
    turned: Mapping[str, float],
) -> list[dict[str, object]]:
    """Measure pictures in turn, each knowing what the ones before it gave."""
    cv2.setNumThreads(1)
    rows = []
    earlier = measurements_table([])
    for path, slips in job.pictures:
        name = path.relative_to(folder).as_posix()
        others = job.others(path, slips)
        tile = slips.tile if slips else None
        degrees = turned.get(file_hash(path), 0.0)
        fingerprint = fingerprint_of(path, plan, earlier, pure, others, tile, degrees)
        result = memory.result(fingerprint, name)
        if result is None:
            made = measure_picture(path, plan, earlier, pure, others, degrees)
            made = replace(made, picture=name, patches=made.patches.assign(picture=name))
            result = memory.keep_result(fingerprint, made)
        if len(result.patches):
            known = [part for part in (earlier, result.patches) if len(part)]
            earlier = pd.concat(known, ignore_index=True)
        rows.append(_as_row(result, str(memory.shown(fingerprint))))
    return rows


def _as_row(result: PictureResult, shown: str) -> dict[str, object]:
    width, height = result.size_mm or (float("nan"), float("nan"))
    return {
        "picture": result.picture,
        "picture_sha256": result.sha256,
        "tile": result.tile,
        "firing": result.firing,
        "camera": result.camera,
        "at": pd.Timestamp(result.taken) if result.taken else pd.NaT,
        "width_mm": width,
        "height_mm": height,
        "borrowed": result.borrowed,
        "shown": "" if result.reason else shown,
        "spots": dict(result.spots),
        "reason": result.reason,
        "patches": result.patches,
    }
