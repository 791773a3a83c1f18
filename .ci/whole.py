"""Check that a report folder is whole: every file there, every picture and table readable."""

import base64
import io
import re
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pandas as pd
from pypdf import PdfReader

PICTURE = re.compile(r"data:image/(png|svg\+xml);base64,([A-Za-z0-9+/=]+)")
DRAWN = re.compile(r"<svg class=\"drawing\".*?</svg>", re.DOTALL)
STARTS = {"png": b"\x89PNG\r\n\x1a\n", "svg+xml": b"<"}


def main(folder: Path) -> None:
    page = (folder / "report.html").read_text("utf-8")
    pictures = PICTURE.findall(page)
    drawn = DRAWN.findall(page)
    expect(len(drawn) >= 24, f"only {len(drawn)} drawings in report.html, fewer than tiles")
    for drawing in drawn:
        ET.fromstring(drawing)
    for kind, content in pictures:
        expect(base64.b64decode(content).startswith(STARTS[kind]), f"a broken {kind} picture")
    expect(page.count("<h2") >= 7, "report.html lacks parts")
    expect(not re.search(r'(src|href)="https?://', page), "report.html reaches for the network")
    expect(len(page) < 5_000_000, "report.html is over 5 MB")
    for name in ("report.pdf", "summary.pdf", "wall-chart.pdf"):
        expect(len(PdfReader(folder / name).pages) >= 1, f"{name} has no pages")
    pairs = pd.read_csv(io.BytesIO((folder / "pairs.csv").read_bytes()))
    named = pairs[["base", "overlay"]].drop_duplicates()
    counts = pairs["firings"].nunique()
    expect(len(named) == 132 and len(pairs) == 132 * counts, "pairs.csv is not whole")
    expect(pairs.notna().all().all(), "pairs.csv has empty cells")
    expect((folder / "report.ipynb").stat().st_size > 0, "report.ipynb is empty")
    expect((folder / "photos" / "contact-sheet.html").is_file(), "the photographs have no sheet")
    piece = folder.parent / "pieces" / "hedge-panel.html"
    expect(len(DRAWN.findall(piece.read_text("utf-8"))) >= 1, "the piece has no section")
    expect(len(PdfReader(piece.with_suffix(".pdf")).pages) >= 1, "the piece has no bench sheet")
    print(
        f"{folder} is whole: {len(drawn)} drawings, {len(pictures)} pictures, "
        f"{len(named)} pairs at {counts} firing counts."
    )


def expect(holds: bool, otherwise: str) -> None:
    if not holds:
        sys.exit(otherwise)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
