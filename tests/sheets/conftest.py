"""A planned series, and what a PDF says and draws."""

import io
from dataclasses import dataclass, replace

import pandas as pd
import pytest
from pypdf import PdfReader

from kit.series import Series, Settings, new_series, patch_name, places_on_tile

MM = 72 / 25.4
NAMES = ("Fog", "Slate", "Amber", "Moss", "Rust", "Plum")


def planned(names=NAMES, tiles: int = 6, places: int = 4, **settings: object) -> Series:
    told = {"title": "Which over which?", "question": "Which of mine?", "patches_per_tile": places}
    stock = pd.DataFrame(
        {
            "colour": names,
            "family": ["leaded", "unleaded"] * (len(names) // 2),
            "opacity": "",
            "grain": "",
            "notes": "",
        }
    ).astype("str")
    series = new_series("trial", Settings(**{**told, **settings}), stock)
    tile_rows = pd.DataFrame(
        {
            "tile": range(1, tiles + 1),
            "base": [names[t % len(names)] for t in range(tiles)],
            "coats": 2,
            "mesh": 80,
            "coat_weight": 60.0,
            "session": [1 + t // 3 for t in range(tiles)],
        }
    ).astype({"base": "str"})
    patch_rows = pd.DataFrame(
        [
            {
                "patch": patch_name(tile, place),
                "tile": tile,
                "position": place,
                "overlay": names[(tile + place) % len(names)],
                "mesh": 100,
                "coat_weight": 40.0,
                "before_firing": 2 if place == places else 1,
                "accident": "",
            }
            for tile in range(1, tiles + 1)
            for place in range(1, places + 1)
        ]
    ).astype({"patch": "str", "overlay": "str", "accident": "str"})
    return replace(series, tiles=tile_rows, patches=patch_rows)


def striped(stripes: int = 3) -> Series:
    """Two tiles of stripes with two rows of small patches, and one of a single base."""
    series = planned(tiles=3, places=4, stripes=stripes, small_stencil_mm=10)
    first = series.patches[series.patches["tile"] == 3]
    small = pd.DataFrame(
        [
            {
                "patch": patch_name(tile, place),
                "tile": tile,
                "position": place,
                "overlay": NAMES[(tile + place) % len(NAMES)],
                "mesh": 100,
                "coat_weight": 40.0,
                "before_firing": 1,
                "accident": "",
            }
            for tile in (1, 2)
            for place in range(1, len(places_on_tile(series.settings, stripes)) + 1)
        ]
    )
    bases = pd.DataFrame(
        [
            {"tile": tile, "stripe": n, "base": NAMES[(tile - 1 + n - 1) % len(NAMES)]}
            for tile in (1, 2)
            for n in range(1, stripes + 1)
        ]
    ).astype({"base": "str"})
    patches = pd.concat([small, first], ignore_index=True)
    told = {"patch": "str", "overlay": "str", "accident": "str"}
    return replace(series, patches=patches.astype(told), stripes=bases)


@dataclass(frozen=True)
class Shape:
    """A drawn path's outer box, in mm from the bottom left of the page."""

    left: float
    bottom: float
    width: float
    height: float
    curved: bool


class Pdf:
    """A PDF opened for looking at."""

    def __init__(self, content: bytes) -> None:
        self.reader = PdfReader(io.BytesIO(content))

    @property
    def text(self) -> str:
        return "\n".join(self.page_text(n) for n in range(len(self.reader.pages)))

    def page_text(self, number: int) -> str:
        return self.reader.pages[number].extract_text().replace("\u200b", "")

    def size_mm(self, number: int = 0) -> tuple[float, float]:
        box = self.reader.pages[number].mediabox
        return float(box.width) / MM, float(box.height) / MM

    @property
    def fonts(self) -> set[str]:
        """Names of the fonts that any page uses."""
        return {
            str(font.get_object()["/BaseFont"])
            for page in self.reader.pages
            for font in page["/Resources"].get("/Font", {}).values()
        }

    def smallest(self, words: str) -> float:
        """Smallest size, in pt, of any run of text that has the words in it."""
        sizes: list[float] = []

        def look(text, matrix, text_matrix, _font, size) -> None:
            if words in text.replace("\u200b", ""):
                sizes.append(abs(size * text_matrix[3] * matrix[3]))

        for page in self.reader.pages:
            page.extract_text(visitor_text=look)
        return min(sizes)

    def every_shape(self) -> list[Shape]:
        """Every path of every page."""
        return [shape for n in range(len(self.reader.pages)) for shape in self.shapes(n)]

    def shapes(self, number: int = 0) -> list[Shape]:
        """Every path on a page."""
        found: list[Shape] = []
        points: list[tuple[float, float]] = []
        curved = False

        def look(operator, operands, matrix, _text) -> None:
            nonlocal points, curved
            numbers = [float(o) for o in operands if isinstance(o, (int, float))]
            if operator in (b"m", b"l", b"c"):
                points += [at(matrix, *numbers[i : i + 2]) for i in range(0, len(numbers), 2)]
                curved = curved or operator == b"c"
            elif operator == b"re":
                x, y, w, h = numbers
                points += [at(matrix, x, y), at(matrix, x + w, y + h)]
            elif operator in (b"S", b"s", b"f", b"f*", b"B", b"b", b"n", b"W", b"B*", b"b*"):
                if points:
                    xs, ys = zip(*points, strict=True)
                    found.append(
                        Shape(min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys), curved)
                    )
                points, curved = [], False

        self.reader.pages[number].extract_text(visitor_operand_before=look)
        return found


def at(matrix: list[float], x: float, y: float) -> tuple[float, float]:
    a, b, c, d, e, f = matrix
    return (a * x + c * y + e) / MM, (b * x + d * y + f) / MM


@pytest.fixture
def plan():
    return planned


@pytest.fixture
def stripes():
    return striped


@pytest.fixture
def pdf():
    return Pdf


@pytest.fixture(scope="session")
def series() -> Series:
    return planned(graders=("Ada", "Ben"))


@pytest.fixture(scope="session")
def sheets(series, tmp_path_factory) -> dict[str, Pdf]:
    from kit.sheets import write_photo_card, write_sheets

    folder = tmp_path_factory.mktemp("sheets")
    paths = [*write_sheets(series, folder), write_photo_card(series, folder)]
    return {path.stem: Pdf(path.read_bytes()) for path in paths}
