"""Taking out of a picture whatever a stranger should not read in it."""

from pathlib import Path

import numpy as np
from PIL import Image, ImageOps

from kit.photo.opening import open_picture
from kit.photo.raster import Raster


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
