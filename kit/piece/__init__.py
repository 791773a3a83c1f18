"""Will a piece hold: layers in an order, and what the graded series say about them."""

from kit.piece.contact_draws import ContactRow, Knowledge, contact_row
from kit.piece.improvements import Advice, Change, advice, changes, open_ways
from kit.piece.layer_picker import piece_form
from kit.piece.outlook import ContactOutlook, PieceOutlook, piece_outlook
from kit.piece.piece_file import format_piece, piece_path, read_piece, start_piece
from kit.piece.publish_piece import (
    PieceAnswer,
    ask_about,
    follow_advice,
    stock_of_studio,
    write_answer,
)
from kit.piece.recipe import (
    BASE,
    NOT_BROKEN,
    WISHES,
    BaseCoat,
    Contact,
    Layer,
    Piece,
    as_wanted,
)
from kit.piece.sample import PieceSample, best_sample, made_series, sample_series

__all__ = [
    "BASE",
    "NOT_BROKEN",
    "WISHES",
    "Advice",
    "BaseCoat",
    "Change",
    "Contact",
    "ContactOutlook",
    "ContactRow",
    "Knowledge",
    "Layer",
    "Piece",
    "PieceAnswer",
    "PieceOutlook",
    "PieceSample",
    "advice",
    "as_wanted",
    "ask_about",
    "best_sample",
    "changes",
    "contact_row",
    "follow_advice",
    "format_piece",
    "made_series",
    "open_ways",
    "piece_form",
    "piece_outlook",
    "piece_path",
    "read_piece",
    "sample_series",
    "start_piece",
    "stock_of_studio",
    "write_answer",
]
