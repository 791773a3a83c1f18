"""Picture files: opening them safely, and writing them with nothing private in them."""

import hashlib
import warnings
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from kit.errors import Misuse
from kit.photo.raster import Raster

FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")
SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp")
MOST_PIXELS = 120_000_000
MOST_BYTES = 80_000_000
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
    """

    pixels: Raster
    focal_35mm: float


def pictures_in(folder: Path) -> tuple[list[Path], dict[str, str]]:
    """List the picture files that lie in a folder.

    Links are not followed, hidden files and other folders are passed over.

    Returns
    -------
    pictures : list of Path
        In the order of their names.
    refused : dict of str to str
        Name and reason of what looks like a picture but will not be opened.

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
    for path in sorted(folder.iterdir()):
        if path.name.startswith("."):
            continue
        if path.is_symlink():
            refused[path.name] = "It is a link to another file: copy the picture itself here."
        elif path.is_file():
            pictures.append(path)
    return pictures, refused


def picture_path(folder: Path, name: str) -> Path:
    """Give the path of a picture named in a table, when it lies directly in the folder.

    Raises
    ------
    Misuse
        When the name leads out of the folder, or through a link.
    """
    path = folder / name
    if Path(name).name != name or name in ("", ".", "..") or "\\" in name:
        raise Misuse(f"'{name}' is not the name of a file in {folder}: leave folders out of it.")
    if path.is_symlink():
        raise Misuse(f"'{name}' is a link to another file: copy the picture itself to {folder}.")
    return path


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
        return Opened(_decoded(image), _focal(image))


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
    if size > MOST_BYTES:
        raise Unmeasurable(
            f"The file is {size / 1e6:.0f} MB. The kit opens pictures up to "
            f"{MOST_BYTES / 1e6:.0f} MB: save it smaller, as JPEG."
        )
    if size == 0:
        raise Unmeasurable("The file is empty.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(path, formats=FORMATS)
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
        return "It is in the HEIC format. Set the telephone to 'most compatible', or save as JPEG."
    return "It is not a picture that the kit can read. Use JPEG, PNG, TIFF or WebP."


def _focal(image: Image.Image) -> float:
    """Focal length as the file gives it, if it makes sense."""
    try:
        details = image.getexif().get_ifd(ExifTags.IFD.Exif)
        focal = float(details.get(ExifTags.Base.FocalLengthIn35mmFilm, 0))
    except (OSError, SyntaxError, ValueError, TypeError, KeyError):
        return DEFAULT_FOCAL_35MM
    return focal if _FOCAL_35MM[0] <= focal <= _FOCAL_35MM[1] else DEFAULT_FOCAL_35MM


def _decoded(image: Image.Image, mode: str = "RGB") -> Raster:
    try:
        if image.mode in ("I;16", "I;16B", "I", "F"):
            raise Unmeasurable("It has more than 8 bits a channel and no colour: save as JPEG.")
        return np.asarray(image.convert(mode))
    except (OSError, SyntaxError, ValueError) as error:
        raise Unmeasurable(
            "The file is cut short or damaged: copy it from the telephone again."
        ) from error


def strip_private(source: Path | Raster, target: Path) -> None:
    """Write a picture to be published, with its pixels and nothing else.

    Place, time, owner, camera, thumbnails and comments stay behind; the picture is turned the way
    the file asked for first, because that wish is left behind too.

    Parameters
    ----------
    source : Path or ndarray of uint8 (height, width, 3)
        A picture file, or the pixels themselves in RGB.
    target : Path
        Where to write; its suffix gives the format (.jpg or .png).

    Raises
    ------
    Unmeasurable
        When the file is not a picture the kit can open.
    """
    if isinstance(source, Path):
        pixels = open_picture(source).pixels
        with Image.open(source) as original:
            turn = original.getexif().get(0x0112, 1)
        bare = Image.fromarray(pixels)
        bare.getexif()[0x0112] = turn
        upright = ImageOps.exif_transpose(bare)
    else:
        upright = Image.fromarray(source)
    clean = Image.fromarray(np.asarray(upright))
    clean.save(target, quality=90)
