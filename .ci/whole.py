"""Check that a report folder is whole: every file there, every picture and table readable."""

import base64
import html
import io
import re
import sys
import xml.etree.ElementTree as ET
from pathlib import Path
from urllib.parse import unquote

import pandas as pd
from pypdf import PdfReader

PHOTOGRAPH = re.compile(r"data:image/jpeg;base64,([A-Za-z0-9+/=]+)")
PICTURE = re.compile(r'"data:image/svg\+xml,([^"]+)"')
DRAWN = re.compile(r"<svg class=\"drawing\".*?</svg>", re.DOTALL)


def main(folder: Path) -> None:
    page = (folder / "report.html").read_text("utf-8")
    pictures = PICTURE.findall(page)
    drawn = DRAWN.findall(page)
    expect(len(drawn) >= 24, f"only {len(drawn)} drawings in report.html, fewer than tiles")
    for drawing in drawn:
        ET.fromstring(drawing)
    expect(len(pictures) >= 10, f"only {len(pictures)} statistical pictures in report.html")
    for picture in pictures:
        ET.fromstring(unquote(html.unescape(picture)))
    photographs = PHOTOGRAPH.findall(page)
    expect(len(photographs) >= 12, f"only {len(photographs)} photographs of patches in report.html")
    for content in photographs:
        expect(base64.b64decode(content).startswith(b"\xff\xd8"), "a broken photograph")
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
        f"{len(photographs)} photographs, "
        f"{len(named)} pairs at {counts} firing counts."
    )


def expect(holds: bool, otherwise: str) -> None:
    if not holds:
        sys.exit(otherwise)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
