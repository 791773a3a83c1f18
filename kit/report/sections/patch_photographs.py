"""The photographs of single patches: as many as a page can carry, the last firing first."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence

import pandas as pd

from kit.photo import PatchPicture
from kit.report.analysis import Analysis
from kit.report.page.document import Photo, PhotoStrip
from kit.series import patches_in_full
from kit.wording import counted

MOST = 300
MOST_BYTES = 1_000_000
"""All photographs of a page together; written into it they take a third more."""


def on_the_page(pictures: Collection[PatchPicture]) -> list[PatchPicture]:
    """Those that fit: of every patch its last firing, then the one before it, and so on."""
    turn: dict[str, int] = defaultdict(int)
    ranked: list[tuple[int, PatchPicture]] = []
    for picture in sorted(pictures, key=lambda p: (p.patch, -p.firing)):
        ranked.append((turn[picture.patch], picture))
        turn[picture.patch] += 1
    kept: list[PatchPicture] = []
    size = 0
    for _, picture in sorted(ranked, key=lambda place: place[0]):
        size += len(picture.jpeg)
        if len(kept) == MOST or size > MOST_BYTES:
            break
        kept.append(picture)
    return sorted(kept, key=lambda p: (p.patch, p.firing))


def left_out(analysis: Analysis) -> str:
    """Say what is seen in the photographs, and how many of them the page leaves out."""
    every = analysis.pictures
    if not every:
        return ""
    more = len(every) - len(on_the_page(every))
    rest = (
        f" To keep this page light {counted(more, 'photograph of', 'photographs of')} earlier "
        "firings and further patches are left out; the folder of photographs has them."
        if more
        else ""
    )
    return (
        "On a photograph the dashed line is the stencil's, the full line the edge that was found."
        f"{rest}"
    )


def strip(pictures: Sequence[PatchPicture], patches: pd.DataFrame) -> tuple[PhotoStrip, ...]:
    """Put the photographs of some patches in a row; nothing when there are none.

    Parameters
    ----------
    pictures : sequence of PatchPicture
        As `on_the_page` gives them.
    patches : DataFrame
        As `patches_in_full` gives them.
    """
    named = {row.patch: f"{row.overlay} over {row.base}" for row in patches.itertuples()}
    photos = tuple(
        Photo(
            photo_name(picture),
            f"{picture.patch}, firing {picture.firing}",
            f"{named[picture.patch]}, patch {picture.patch} after firing {picture.firing}",
            picture.jpeg,
        )
        for picture in pictures
        if picture.patch in named
    )
    return (PhotoStrip(photos),) if photos else ()


def photographs_of_pairs(analysis: Analysis) -> Mapping[tuple[str, str], list[str]]:
    """Names of the photographs of each pair (base, overlay)."""
    patches = patches_in_full(analysis.series).set_index("patch")
    found: dict[tuple[str, str], list[str]] = {}
    for picture in on_the_page(analysis.pictures):
        pair = (patches.at[picture.patch, "base"], patches.at[picture.patch, "overlay"])
        found.setdefault(pair, []).append(photo_name(picture))
    return found


def photo_name(picture: PatchPicture) -> str:
    """Name a photograph within its page."""
    return f"photo-{picture.patch}-{picture.firing}"
