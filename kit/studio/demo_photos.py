"""Photographs for the demo series: small files, drawn by the invented studio and said to be."""

from collections.abc import Callable
from pathlib import Path

from kit.photo import Measured, measure_series, write_contact_sheet
from kit.series import read_series, report_folder
from kit.studio.demo import FIRING_SEED, demo_truth
from kit.studio.photo_shoot import photograph_series
from kit.studio.picture import Camera

TILES = (1, 3, 7)
_CAMERA = Camera(width_px=1280, height_px=960, contrast=0.1)
_QUALITY = 80


def demo_photographs(folder: Path, progress: Callable[[str], None] | None = None) -> Measured:
    """Photograph three tiles of the demo series after their first and last firing, and measure.

    Photographs that are there are left as they are.

    Parameters
    ----------
    folder : Path
        Of the demo series, as `demo_series` wrote it.
    progress : callable, optional

    Returns
    -------
    Measured
        As `kit.photo.measure_series` gives it; the contact sheet is written beside the report.
    """
    series = read_series(folder)
    if not any((folder / "photos").glob("drawn-*.jpg")):
        photograph_series(
            series,
            demo_truth(),
            folder,
            FIRING_SEED,
            tiles=TILES,
            firings=(1, series.settings.last_firing),
            camera=_CAMERA,
            quality=_QUALITY,
            progress=progress,
        )
    measured = measure_series(folder, progress=progress)
    write_contact_sheet(measured, report_folder(folder) / "photos", folder / "photos")
    return measured
