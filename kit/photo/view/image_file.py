"""Picture files: opening them safely, and writing them with nothing private in them."""

import datetime as dt
import functools
import hashlib
import io
import warnings
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from kit.errors import Misuse
from kit.photo.raster import Raster
from kit.series import MOST_PICTURE_BYTES, MOST_PIXELS

FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")
HEIC = "HEIF"
"""As the kept library that reads it calls the format."""

LEAST_PIXELS_ACROSS = 600

DEFAULT_FOCAL_35MM = 26.0
"""The wide lens of most telephones, for pictures that do not say (common practice, no source)."""

_FOCAL_35MM = (10.0, 200.0)


class Unmeasurable(Exception):
    """A picture cannot be measured. The message is the reason, in words for a person."""


@dataclass(frozen=True)
class Opened:
    """A picture in memory.

    Parameters
    ----------
    pixels : ndarray of uint8 (height, width, 3)
        RGB, as the chip saw it: not turned as the file may ask.
    focal_35mm : float
        Focal length as for 35 mm film.
    taken : datetime or None
        When, by the camera's own clock.
    camera : str
        Maker and model as the file gives them; blank if it does not.
    """

    pixels: Raster
    focal_35mm: float
    taken: dt.datetime | None = None
    camera: str = ""


def pictures_in(
    folder: Path, passed_over: Collection[str] = ()
) -> tuple[list[Path], dict[str, str]]:
    """List the picture files that lie in a folder and the folders within it, such as one a phone.

    Links are not followed, hidden files and folders are passed over.

    Parameters
    ----------
    folder : Path
    passed_over : collection of str
        Names of files in it that are no pictures and are known not to be.

    Returns
    -------
    pictures : list of Path
        In the order of their names.
    refused : dict of str to str
        Name, from the folder on, and reason of what looks like a picture but will not be opened.

    Raises
    ------
    Misuse
        When the folder is missing or is itself a link.
    """
    if folder.is_symlink():
        raise Misuse(f"{folder} is a link to another folder. Put the pictures in a real folder.")
    if not folder.is_dir():
        raise Misuse(f"There is no folder {folder}. Make it and put the pictures there.")
    pictures, refused = [], {}
    for path in sorted(folder.rglob("*")):
        inside = path.relative_to(folder)
        if any(part.startswith(".") for part in inside.parts) or inside.as_posix() in passed_over:
            continue
        if path.is_symlink():
            refused[inside.as_posix()] = (
                "It is a link to another place: copy the picture itself here."
            )
        elif path.is_file():
            pictures.append(path)
    return pictures, refused


def file_hash(path: Path) -> str:
    """SHA-256 of a file's content."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def open_picture(path: Path) -> Opened:
    """Read a picture whole.

    Raises
    ------
    Unmeasurable
        With the reason: too large, cut short, or not a picture.
    """
    with _header(path) as image:
        details = _details(image)
        return Opened(_decoded(image), _focal(details), _taken(details), _camera(details))


def open_reduced(path: Path, longest: int) -> Raster:
    """Read a picture quickly, in grey and no longer than asked for (height, width).

    Raises
    ------
    Unmeasurable
        As `open_picture`.
    """
    with _header(path) as image:
        part = longest / max(image.size)
        image.draft("L", (int(image.width * part), int(image.height * part)))
        grey = _decoded(image, "L")
    shrink = longest / max(grey.shape)
    if shrink >= 1:
        return grey
    return cv2.resize(grey, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)


def _header(path: Path) -> Image.Image:
    """Read what the file says of itself, and turn it away before its pixels are unpacked."""
    size = path.stat().st_size
    if size > MOST_PICTURE_BYTES:
        raise Unmeasurable(
            f"The file is {size / 1e6:.0f} MB. The kit opens pictures up to "
            f"{MOST_PICTURE_BYTES / 1e6:.0f} MB: save it smaller, as JPEG."
        )
    if size == 0:
        raise Unmeasurable("The file is empty.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(path, formats=_formats())
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError) as error:
        raise Unmeasurable(_why_unread(path, error)) from error
    if image.width * image.height > MOST_PIXELS:
        megapixels = image.width * image.height / 1e6
        image.close()
        raise Unmeasurable(
            f"The picture has {megapixels:.0f} million pixels. The kit opens up to "
            f"{MOST_PIXELS / 1e6:.0f} million: save it smaller."
        )
    if max(image.size) < LEAST_PIXELS_ACROSS:
        across = max(image.size)
        image.close()
        raise Unmeasurable(
            f"The picture is only {across} pixels across. Send the original, not a preview."
        )
    return image


def _why_unread(path: Path, error: Exception) -> str:
    if isinstance(error, Image.DecompressionBombError):
        return "The picture has far too many pixels to open: save it smaller."
    with path.open("rb") as file:
        start = file.read(12)
    if start[4:8] == b"ftyp":
        if HEIC in _formats():
            return "It is cut short, or a film: copy the picture from the telephone again."
        return (
            "It is in the HEIC format, which needs one more package. Install it with "
            "'python -m pip install pillow-heif', or set the telephone to 'most compatible' "
            "(JPEG) from now on."
        )
    return "It is not a picture that the kit can read. Use JPEG, HEIC, PNG, TIFF or WebP."


@functools.cache
def _formats() -> tuple[str, ...]:
    """Formats that can be opened here: HEIC only where its package is installed."""
    try:
        import pillow_heif
    except ImportError:
        return FORMATS
    pillow_heif.register_heif_opener()
    return (*FORMATS, HEIC)


def _details(image: Image.Image) -> dict[int, Any]:
    try:
        exif = image.getexif()
        return dict(exif) | dict(exif.get_ifd(ExifTags.IFD.Exif))
    except (OSError, SyntaxError, ValueError, TypeError, KeyError):
        return {}


def _focal(details: dict[int, Any]) -> float:
    """Focal length as the file gives it, if it makes sense."""
    try:
        focal = float(details.get(ExifTags.Base.FocalLengthIn35mmFilm, 0))
    except (ValueError, TypeError):
        return DEFAULT_FOCAL_35MM
    return focal if _FOCAL_35MM[0] <= focal <= _FOCAL_35MM[1] else DEFAULT_FOCAL_35MM


def _taken(details: dict[int, Any]) -> dt.datetime | None:
    said = details.get(ExifTags.Base.DateTimeOriginal) or details.get(ExifTags.Base.DateTime)
    try:
        return dt.datetime.strptime(str(said).strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None


def _camera(details: dict[int, Any]) -> str:
    words = (details.get(tag, "") for tag in (ExifTags.Base.Make, ExifTags.Base.Model))
    return " ".join(str(word).strip("\0 ") for word in words if isinstance(word, str)).strip()


def _decoded(image: Image.Image, mode: str = "RGB") -> Raster:
    try:
        if image.mode in ("I;16", "I;16B", "I", "F"):
            raise Unmeasurable("It has more than 8 bits a channel and no colour: save as JPEG.")
        return np.asarray(image if image.mode == mode else image.convert(mode))
    except (OSError, SyntaxError, ValueError) as error:
        raise Unmeasurable(
            "The file is cut short or damaged: copy it from the telephone again."
        ) from error


def thumbnail(path: Path, longest: int) -> Raster:
    """Read a picture small and upright, to be looked at, (height, width, 3) in RGB.

    Raises
    ------
    Unmeasurable
        As `open_picture`.
    """
    with _header(path) as image:
        image.draft("RGB", (longest, longest))
        turned = image.getexif().get(ExifTags.Base.Orientation, 1)
        bare = Image.fromarray(_decoded(image))
    bare.thumbnail((longest, longest))
    bare.getexif()[ExifTags.Base.Orientation] = turned
    return np.asarray(ImageOps.exif_transpose(bare))


def bare_jpeg(pixels: Raster, quality: int = 80) -> bytes:
    """Give pixels as a JPEG that says nothing else: no place, time, owner, camera or comment.

    Parameters
    ----------
    pixels : ndarray of uint8 (height, width, 3)
        RGB.
    quality : int
    """
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=quality)
    return file.getvalue()
