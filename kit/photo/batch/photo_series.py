"""The photographs of a series measured, and the table of measurements brought up to date."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from kit.errors import Misuse
from kit.photo.batch.one_picture import MEASURES
from kit.photo.batch.photo_folder import measure_folder
from kit.photo.tile.tile_plan import photo_plan
from kit.series import Series, inside, read_series

PHOTOS = "photos"
_DECIMALS = 4


@dataclass(frozen=True, eq=False)
class Measured:
    """A series with its measurements, and what could not be measured.

    Parameters
    ----------
    series : Series
    unmeasured : DataFrame
        picture, picture_sha256, reason.
    """

    series: Series
    unmeasured: pd.DataFrame

    def describe(self) -> str:
        """Say how much was measured, and name every picture that was not, with the reason."""
        table = self.series.measurements
        told = [
            f"{table['picture'].nunique()} pictures gave {len(table)} measurements of "
            f"{table['patch'].nunique()} patches."
        ]
        told += [f"{row.picture}: {row.reason}" for row in self.unmeasured.itertuples()]
        return "\n".join(told)


def measure_series(
    folder: Path, shown: Path | None = None, progress: Callable[[str], None] | None = None
) -> Measured:
    """Measure the pictures in a series' photos/ and write measurements.csv.

    Pictures that were measured before are not measured again. What a person wrote under
    `accepted` stays, and so do measurements of pictures that are no longer in the folder.

    Parameters
    ----------
    folder : Path
        Of the series.
    shown : Path, optional
        Folder for the pictures that show what was measured.
    progress : callable, optional

    Raises
    ------
    Misuse
        When there is no folder of photos, or nothing is planned.
    DataProblems
        When the series has problems.
    """
    series = read_series(folder)
    if series.patches.empty:
        raise Misuse(f"{series.name} is not planned yet, so there is nothing to measure.")
    photos = inside(folder, PHOTOS)
    if not photos.is_dir():
        raise Misuse(f"There is no folder {photos}. Make it and put the photographs there.")
    before = series.measurements
    found = measure_folder(photos, photo_plan(series), known=before, shown=shown, progress=progress)
    gone = before[~before["picture"].isin([path.name for path in photos.iterdir()])]
    table = pd.concat([gone, _rounded(found.measurements)], ignore_index=True)
    measured = replace(series, measurements=table)
    measured.write(folder)
    return Measured(measured, found.unmeasured)


def _rounded(table: pd.DataFrame) -> pd.DataFrame:
    columns = [c for name in MEASURES for c in (name, f"{name}_se")]
    return table.assign(**table[columns].round(_DECIMALS))
