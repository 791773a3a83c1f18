"""The demo series: an invented community workshop, from stock to grades.

Every name and every grade in it is invented; nothing in it is a measurement.
"""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from kit.design import plan
from kit.photo import Measured, measure_series, write_contact_sheet
from kit.series import (
    DEFAULT_FACTORS,
    Series,
    Settings,
    Wish,
    new_series,
    read_series,
    replace_files,
    report_folder,
    write_whole,
)
from kit.studio.camera import Camera
from kit.studio.kiln import fire
from kit.studio.photo_shoot import photograph_series
from kit.studio.truth import Truth, draw_truth

NAME = "demo"
PIECE = "hedge-panel"
TRUTH_SEED = 10
FIRING_SEED = 36
PHOTOGRAPHED_TILES = (4, 5, 15, 22)
_CAMERA = Camera(width_px=1280, height_px=960, contrast=0.1)
_JPEG_QUALITY = 80

_STOCK = (
    ("Attic Rose", "leaded", "opaque", "fine", "turns greyer when fired often"),
    ("Ferry Blue", "leaded", "transparent", "medium", ""),
    ("Hedge Green", "leaded", "transparent", "medium", ""),
    ("Lamp Yellow", "leaded", "opaque", "fine", ""),
    ("Puddle Grey", "leaded", "opalescent", "medium", "old jar, coarse tail"),
    ("Jam Violet", "leaded", "transparent", "fine", "shifts when fired often"),
    ("Plaster White", "unleaded", "opaque", "fine", "the workshop's usual base"),
    ("Tunnel Black", "unleaded", "opaque", "fine", ""),
    ("Pond Green", "unleaded", "transparent", "coarse", ""),
    ("Mitten Red", "unleaded", "opaque", "medium", ""),
    ("Custard", "unleaded", "opaque", "medium", ""),
    ("Anvil Blue", "unleaded", "transparent", "medium", ""),
)


_PIECE = """\
# A small panel of the invented workshop: five stencils on white, in the order they are to go on.

title = "Hedge panel"
closing_firings = 0        # firings kept for the end, after the last layer's own
series = ["demo"]          # whose grades speak

[base]
colour = "Plaster White"
coats = 2
mesh = 80
coat_weight = 60           # dry enamel a coat, mg on each cm²

[[layer]]
name = "leaves"
overlay = "Pond Green"
on = ["base"]
stencils = 3
wanted = "fine edge"

[[layer]]
name = "berries"
overlay = "Mitten Red"
on = ["base"]
stencils = 2
wanted = "fine edge"

[[layer]]
name = "veins"
overlay = "Tunnel Black"
on = ["leaves"]
wanted = "not broken through"

[[layer]]
name = "halo"
overlay = "Ferry Blue"
on = ["base"]
wanted = "soft edge"

[[layer]]
name = "stalks"
overlay = "Custard"
on = ["base", "leaves"]
stencils = 2
wanted = "fine edge"
"""


def demo_settings() -> Settings:
    """Return what the invented workshop wants to know, and what it can make."""
    return Settings(
        title="Community workshop: stencils over a base",
        question="Which of our twelve colours can we stencil over which, in fine lines or at all?",
        ask="which pairs work",
        started=dt.date(2026, 3, 14),
        seed=20260314,
        tiles=24,
        patches_per_tile=4,
        tiles_per_session=8,
        factors={**DEFAULT_FACTORS, "mesh": (80, 100), "coat_weight": (30.0, 50.0)},
        wishes=(Wish("Plaster White", "Attic Rose"), Wish("Lamp Yellow", "Tunnel Black")),
        graders=("Wren", "Otis"),
    )


def demo_colours() -> pd.DataFrame:
    """Return the invented workshop's jars."""
    columns = ["colour", "family", "opacity", "grain", "notes"]
    return pd.DataFrame(_STOCK, columns=columns).astype("str")


def demo_truth() -> Truth:
    """Return how the invented workshop's colours really behave."""
    return draw_truth(demo_colours(), TRUTH_SEED, loss_rate=0.02)


def demo_series(data: Path, progress: Callable[[str], None]) -> Path:
    """Plan the demo series, fire it in the invented studio, write and check it.

    Files of a demo series that is there already are kept: someone may have changed them, and
    another machine may have planned otherwise.

    Parameters
    ----------
    data : Path
        The folder that holds all series.
    progress : callable

    Returns
    -------
    Path
        The folder of the demo series.
    """
    folder = data / NAME
    settings, colours = demo_settings(), demo_colours()
    chosen = plan(new_series(NAME, settings, colours))
    progress(f"Planned: {chosen.why}")
    fired = fire(chosen.series, demo_truth(), FIRING_SEED)
    progress(f"Fired {len(fired.firings)} times and graded {len(fired.grades)} times")
    _write_where_absent(fired, folder, progress)
    kept = read_series(folder)
    progress(f"Checked: {len(kept.grades)} grades on {len(kept.patches)} patches are in order")
    return folder


def demo_piece(data: Path) -> Path:
    """Lay out the invented workshop's piece, where it has none yet.

    Parameters
    ----------
    data : Path
        The folder that holds all series.

    Returns
    -------
    Path
        Of the piece's file.
    """
    path = data / "pieces" / f"{PIECE}.toml"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, _PIECE.encode("utf-8"))
    return path


def demo_photographs(folder: Path, progress: Callable[[str], None] | None = None) -> Measured:
    """Photograph four tiles of the demo series after each firing, and measure.

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
            tiles=PHOTOGRAPHED_TILES,
            camera=_CAMERA,
            quality=_JPEG_QUALITY,
            progress=progress,
        )
    measured = measure_series(folder, progress=progress)
    write_contact_sheet(measured, report_folder(folder) / "photos", folder / "photos")
    return measured


def _write_where_absent(series: Series, folder: Path, progress: Callable[[str], None]) -> None:
    files = series.files()
    there = {n: (folder / n).read_bytes() for n in files if (folder / n).is_file()}
    # What describes the folder changes with every table that joins it, as measurements do.
    changed = sorted(n for n, kept in there.items() if kept != files[n] and n != "datapackage.json")
    if changed:
        progress(f"Kept as they are on disk: {', '.join(changed)}")
    replace_files(folder, {n: files[n] for n in files if n not in there}, seen={})
