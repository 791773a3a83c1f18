"""Photographs of a series that the invented studio fired: they show what was graded.

How millimetres and shares follow from the latent values of the truth is invented, like the sizes
of the tendencies; only that both rise with them is common practice, no source.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from PIL import ExifTags, Image
from scipy.special import expit
from skimage.color import lab2rgb

from kit.errors import Misuse
from kit.photo import Card, PhotoPlan, photo_plan
from kit.series import Series
from kit.studio.camera import Camera
from kit.studio.fired_tile import PatchLook, TileLook
from kit.studio.kiln import latent_truth
from kit.studio.scene import Setting, photograph
from kit.studio.truth import Truth

MM_PER_UNIT = 0.35
HALF_GONE, SHARE_UNIT = 5.0, 1.4
_LIKE = {
    "white": (90.0, 3.0, 95.0), "black": (16.0, 2.0, 280.0), "grey": (58.0, 3.0, 260.0),
    "red": (40.0, 58.0, 32.0), "rose": (62.0, 34.0, 10.0), "orange": (63.0, 62.0, 60.0),
    "yellow": (80.0, 66.0, 88.0), "custard": (84.0, 30.0, 85.0), "brown": (36.0, 26.0, 60.0),
    "green": (44.0, 38.0, 145.0), "blue": (38.0, 40.0, 275.0), "violet": (32.0, 42.0, 315.0),
}  # fmt: skip
"""CIELAB lightness, chroma and hue (degrees) of what a word makes one think of; invented."""
_HAND_DEG = 4.0
"""How far a hand-held camera leans from straight above, as a standard deviation."""


@dataclass(frozen=True)
class Photographed:
    """What was photographed.

    Parameters
    ----------
    pictures : tuple of Path
    truth : DataFrame
        One row per patch and picture, with what a perfect measurement would read: picture, tile,
        firing, then the columns of `Photograph.truth`.
    """

    pictures: tuple[Path, ...]
    truth: pd.DataFrame


def spread_mm(latent: NDArray[np.floating]) -> NDArray[np.float64]:
    """Distance of the edge beyond the stencil's line for latent spread eta.

        mm = 0.35 log(1 + exp(eta))

    It is 0.04 mm at -2, 0.24 mm at 0 (where grade 0 passes to 1) and 2.3 mm at 6.6 (3 to 4).
    """
    mm: NDArray[np.float64] = MM_PER_UNIT * np.logaddexp(0.0, np.asarray(latent, float))
    return mm


def pull_through_share(latent: NDArray[np.floating]) -> NDArray[np.float64]:
    """Share of the patch in which the base shows for latent pull-through eta.

        share = 1 / (1 + exp(-(eta - 5) / 1.4))

    It is 0.7 % at -2, 3 % at 0 (where grade 0 passes to 1) and 76 % at 6.6 (3 to 4).
    """
    share: NDArray[np.float64] = expit((np.asarray(latent, float) - HALF_GONE) / SHARE_UNIT)
    return share


def invented_rgb(colour: str) -> tuple[float, float, float]:
    """A colour to paint a name with, sRGB from 0 to 1: the same for the same name.

    A name that holds a word for a colour is painted near it, any other in a colour of its own.
    """
    own = np.frombuffer(sha256(colour.encode("utf-8")).digest(), np.uint8) / 255
    known = [_LIKE[word] for word in colour.lower().split() if word in _LIKE]
    if known:
        lightness, chroma, degrees = known[-1]
        lightness += 30 * (own[7] - 0.5)
        hue = np.deg2rad(degrees + 40 * (own[3] - 0.5))
    else:
        lightness, chroma, hue = 30 + 50 * own[1], 20 + 35 * own[2], 2 * np.pi * own[0]
    lab = np.array([lightness, chroma * np.cos(hue), chroma * np.sin(hue)])
    red, green, blue = np.clip(lab2rgb(lab[None, None]), 0, 1)[0, 0].tolist()
    return red, green, blue


def photograph_series(
    series: Series,
    truth: Truth,
    folder: Path,
    seed: int,
    tiles: Iterable[int] | None = None,
    firings: Iterable[int] | None = None,
    camera: Camera | None = None,
    quality: int = 92,
    progress: Callable[[str], None] | None = None,
) -> Photographed:
    """Photograph the tiles of a fired series after each firing, one picture each.

    A patch looks as its latent values say, the wobble of its tile and of itself included, so that
    pictures and grades tell of the same patches. Spoiled tiles and lost patches are left out.

    Parameters
    ----------
    series : Series
        As `fire` gave it.
    truth : Truth
        It must know the scales spread and pull_through.
    folder : Path
        Of the series; pictures go to photos/ in it, such as drawn-tile07-firing2.jpg.
    seed : int
        That the series was fired with.
    tiles, firings : iterable of int, optional
        Which to photograph; all when None.
    camera : Camera, optional
        Its lean varies from picture to picture.
    quality : int
        Of the JPEG files.
    progress : callable, optional

    Raises
    ------
    Misuse
        When the series was not fired with this truth and seed, or there is nothing of the kind
        asked for.
    """
    beneath = latent_truth(series, truth, seed)
    asked = beneath
    for column, wanted in (("tile", tiles), ("firing", firings)):
        if wanted is not None:
            asked = asked[asked[column].isin(list(wanted))]
    if asked.empty:
        raise Misuse("There is no sound patch on the tiles and after the firings asked for.")
    tell = progress or (lambda _: None)
    photos = folder / "photos"
    photos.mkdir(parents=True, exist_ok=True)
    plan = photo_plan(series)
    pictures, truths = [], []
    for (tile, firing), seen in asked.groupby(["tile", "firing"]):
        path = photos / f"drawn-tile{tile:02d}-firing{firing}.jpg"
        look = _tile_look(series, plan, int(tile), seen)
        hand = np.random.default_rng([seed, int(tile), int(firing)]).normal(0, _HAND_DEG, 2)
        taken = photograph(
            look,
            plan.card,
            seed * 10_000 + int(tile),
            retake=int(firing),
            camera=_held(camera or Camera(), plan.card, hand),
            setting=Setting(int(tile), int(firing), print_scale=plan.scale),
        )
        taken.save(path, quality, _said_to_be_drawn())
        pictures.append(path)
        truths.append(taken.truth.assign(picture=path.name, tile=tile, firing=firing))
        tell(f"Photographed tile {tile} after firing {firing}.")
    table = pd.concat(truths, ignore_index=True)
    first = ["picture", "tile", "firing"]
    return Photographed(tuple(pictures), table[[*first, *table.columns.drop(first)]])


def _said_to_be_drawn() -> Image.Exif:
    exif = Image.Exif()
    exif[ExifTags.Base.ImageDescription] = "Drawn by an invented studio; no real tile."
    return exif


def _held(camera: Camera, card: Card, lean_deg: NDArray[np.float64]) -> Camera:
    """Hold the camera by hand, as near as the whole card is in the picture."""
    tilt, pan = lean_deg.tolist()
    upright = camera.height_px / camera.width_px * card.width_mm / card.height_mm
    return replace(
        camera,
        fill=camera.fill * min(1.0, upright),
        tilt_deg=camera.tilt_deg + tilt,
        pan_deg=camera.pan_deg + pan,
    )


def _tile_look(series: Series, plan: PhotoPlan, tile: int, seen: pd.DataFrame) -> TileLook:
    spots = series.patches.set_index("patch").loc[seen["patch"]]
    creep, shows = spread_mm(seen["spread"]), pull_through_share(seen["pull_through"])
    patches = tuple(
        PatchLook(
            patch,
            int(spot.position),
            invented_rgb(spot.overlay),
            spread_mm=float(mm),
            roughness_mm=0.05 + 0.1 * float(mm),
            edge_width_mm=0.25 + 0.2 * float(mm),
            pull_through_share=float(share),
            mottle_fine=1.0,
            mottle_coarse=1.0,
        )
        for (patch, spot), mm, share in zip(spots.iterrows(), creep, shows, strict=True)
    )
    layout = plan.layout(tile)
    further = zip(layout.edges_mm, layout.bases[1:], strict=True)
    return TileLook(
        plan.blank,
        layout.stencil,
        invented_rgb(layout.bases[0]),
        patches,
        plan.patches_per_tile,
        stripes=tuple((edge, invented_rgb(base)) for edge, base in further),
        places=tuple(layout.places.values()),
    )
