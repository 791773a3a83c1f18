"""Check that a report folder is whole: every file there, every picture and table readable."""

import base64
import io
import re
import sys
from pathlib import Path
from urllib.parse import unquote
from xml.etree import ElementTree

import pandas as pd
from pypdf import PdfReader

PICTURE = re.compile(r"data:image/(png|jpeg|svg\+xml);base64,([A-Za-z0-9+/=]+)")
FIGURE = re.compile(r'"data:image/svg\+xml,([^"]+)"')
DRAWING = re.compile(r"<svg class=\"drawing\".*?</svg>", re.DOTALL)
STARTS = {"png": b"\x89PNG\r\n\x1a\n", "jpeg": b"\xff\xd8", "svg+xml": b"<"}


def main(folder: Path) -> None:
    page = (folder / "report.html").read_text("utf-8")
    pictures, drawings = PICTURE.findall(page), DRAWING.findall(page)
    figures = [unquote(figure) for figure in FIGURE.findall(page)]
    expect(len(figures) >= 5, f"only {len(figures)} figures in report.html")
    expect(len(drawings) >= 10, f"only {len(drawings)} drawings in report.html")
    for drawing in (*drawings, *figures):
        ElementTree.fromstring(drawing)
    for kind, content in pictures:
        expect(base64.b64decode(content).startswith(STARTS[kind]), f"a broken {kind} picture")
    expect(page.count("<h2") >= 7, "report.html lacks parts")
    expect(not re.search(r'(src|href)="https?://', page), "report.html reaches for the network")
    expect(len(page) < 5_000_000, "report.html is over 5 MB")
    for name in ("report.pdf", "summary.pdf", "wall-chart.pdf"):
        expect(len(PdfReader(folder / name).pages) >= 1, f"{name} has no pages")
    pairs = pd.read_csv(io.BytesIO((folder / "pairs.csv").read_bytes()))
    named = pairs[["base", "overlay"]].drop_duplicates()
    expect(len(named) == 132 and pairs.notna().all().all(), "pairs.csv is not whole")
    expect((folder / "report.ipynb").stat().st_size > 0, "report.ipynb is empty")
    count = len(pictures) + len(figures) + len(drawings)
    print(f"{folder} is whole: {count} pictures, {len(named)} pairs.")


def expect(holds: bool, otherwise: str) -> None:
    if not holds:
        sys.exit(otherwise)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
