"""What the pictures say: a telephone photograph of a tile turned into millimetres and shares."""

from kit.photo.card import SLIP_MM, Box, Card, PrintScale, card_for
from kit.photo.drawing import (
    Label,
    Mark,
    Rectangle,
    card_drawing,
    firing_slip_drawing,
    tile_slip_drawing,
)
from kit.photo.folder import FolderResult, measure_folder
from kit.photo.joined import join_measurements
from kit.photo.marker import firing_marker, tile_marker
from kit.photo.measure_series import Measured, measure_series
from kit.photo.opening import Unmeasurable, picture_path
from kit.photo.picture import COLUMNS, MEASURES, PictureResult, measure_picture
from kit.photo.plan import PhotoPlan, photo_plan
from kit.photo.private import strip_private
from kit.photo.raster import Raster
from kit.photo.usable import usable_measurements

__all__ = [
    "COLUMNS",
    "MEASURES",
    "SLIP_MM",
    "Box",
    "Card",
    "FolderResult",
    "Label",
    "Mark",
    "Measured",
    "PhotoPlan",
    "PictureResult",
    "PrintScale",
    "Raster",
    "Rectangle",
    "Unmeasurable",
    "card_drawing",
    "card_for",
    "firing_marker",
    "firing_slip_drawing",
    "join_measurements",
    "measure_folder",
    "measure_picture",
    "measure_series",
    "photo_plan",
    "picture_path",
    "strip_private",
    "tile_marker",
    "tile_slip_drawing",
    "usable_measurements",
]
