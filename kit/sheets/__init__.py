"""Paper for the bench: what to buy, how to make each tile, what to do when, how to grade."""

from kit.sheets.bench_paper import wall_chart, write_photo_card, write_sheets
from kit.sheets.labels import LABEL_SHEETS, LabelSheet, Stickers, labels_on
from kit.sheets.paper import PAPERS, Paper, checked_paper, font_options, typeset

__all__ = [
    "LABEL_SHEETS",
    "PAPERS",
    "LabelSheet",
    "Paper",
    "Stickers",
    "checked_paper",
    "font_options",
    "labels_on",
    "typeset",
    "wall_chart",
    "write_photo_card",
    "write_sheets",
]
