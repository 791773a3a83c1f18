"""What the pictures say: a telephone photograph of a tile turned into millimetres and shares."""

from typing import TYPE_CHECKING, Any

from kit.photo.card.card_geometry import SLIP_MM, Box, Card, PrintScale, card_for
from kit.photo.card.printed_marks import (
    Label,
    Mark,
    Rectangle,
    card_drawing,
    firing_marker,
    firing_slip_drawing,
    tile_marker,
    tile_slip_drawing,
)
from kit.photo.one_picture import COLUMNS, PictureResult, measure_picture
from kit.photo.photo_folder import FolderResult, measure_folder
from kit.photo.photo_series import Measured, decide, enter_decisions, measure_series
from kit.photo.picture_memory import PatchPicture, patch_pictures
from kit.photo.raster import (
    SRGB_TO_LINEAR,
    Raster,
    linear_light,
    srgb_values,
    to_lab,
    to_linear,
)
from kit.photo.review.contact_sheet import write_contact_sheet
from kit.photo.review.decisions import Decision, read_decisions
from kit.photo.tile_plan import PhotoPlan, photo_plan
from kit.photo.view.image_file import Unmeasurable

if TYPE_CHECKING:
    from kit.photo.review.review_form import PhotoReviewForm

__all__ = [
    "COLUMNS",
    "SLIP_MM",
    "SRGB_TO_LINEAR",
    "Box",
    "Card",
    "Decision",
    "FolderResult",
    "Label",
    "Mark",
    "Measured",
    "PatchPicture",
    "PhotoPlan",
    "PhotoReviewForm",
    "PictureResult",
    "PrintScale",
    "Raster",
    "Rectangle",
    "Unmeasurable",
    "card_drawing",
    "card_for",
    "decide",
    "enter_decisions",
    "firing_marker",
    "firing_slip_drawing",
    "linear_light",
    "measure_folder",
    "measure_picture",
    "measure_series",
    "patch_pictures",
    "photo_plan",
    "read_decisions",
    "srgb_values",
    "tile_marker",
    "tile_slip_drawing",
    "to_lab",
    "to_linear",
    "write_contact_sheet",
]


def __getattr__(name: str) -> Any:
    """Load the form when it is first asked for: only notebooks need the widgets."""
    if name == "PhotoReviewForm":
        from kit.photo.review.review_form import PhotoReviewForm

        return PhotoReviewForm
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
