"""Which files are refused as too large: how much may come in at once.

What a person can have typed stays far below it. What lies above is refused in one sentence before
anything is built from it, within two seconds and 300 MB.
"""

import re
import zipfile
from io import BytesIO
from xml.parsers import expat

MOST_BYTES = 20_000_000
MOST_SETTINGS_BYTES = 200_000
MOST_JOURNAL_BYTES = 200_000_000
MOST_ROWS = 50_000
MOST_CELLS = 1_000_000
MOST_XML_BYTES = 24_000_000
MOST_XML_CELLS = 60_000
DEEPEST_XML = 40
LONGEST_CELL = 20_000
MOST_PICTURE_BYTES = 80_000_000
MOST_PIXELS = 120_000_000

_CELLS = {"c", "table-cell", "covered-table-cell"}
_ROWS = {"row", "table-row"}
_RANGE = re.compile(r"\$?([A-Z]{1,3})\$?(\d{1,7}):\$?([A-Z]{1,3})\$?(\d{1,7})")
_CHUNK = 200_000


def text_excess(content: bytes) -> str:
    """Say what of a table's bytes is more than anybody can have typed; blank when nothing is."""
    if len(content) > MOST_BYTES:
        return f"It is larger than {MOST_BYTES // 1_000_000} MB."
    rows = max(content.count(b"\n"), content.count(b"\r"))
    if rows > MOST_ROWS:
        return f"It has {rows:,} rows; {MOST_ROWS:,} can be read.".replace(",", " ")
    cells = max(content.count(mark) for mark in (b",", b";", b"\t")) + rows
    if cells > MOST_CELLS:
        return f"It has about {cells:,} cells; {MOST_CELLS:,} can be read.".replace(",", " ")
    return ""


def packed_excess(content: bytes) -> str:
    """Say what of a packed spreadsheet's bytes is too much; blank when nothing is.

    The XML is looked through as it is unpacked, whatever sizes the package claims.

    Raises
    ------
    zipfile.BadZipFile, expat.ExpatError, and others of zipfile
        When it is not a spreadsheet at all.
    """
    if len(content) > MOST_BYTES:
        return f"It is larger than {MOST_BYTES // 1_000_000} MB."
    with zipfile.ZipFile(BytesIO(content)) as packed:
        if len(packed.infolist()) > 1000:
            return "It holds more than 1000 parts."
        watch = _Watch()
        for member in packed.infolist():
            if member.filename.endswith((".xml", ".rels", ".vml")):
                with packed.open(member) as part:
                    watch.begin()
                    while chunk := part.read(_CHUNK):
                        watch.feed(chunk)
                        if watch.excess:
                            return watch.excess
            elif member.file_size > MOST_BYTES:
                return "It holds a picture or another part that is far too large."
    return ""


class _Watch:
    """Counts what the XML of a spreadsheet would come to."""

    def __init__(self) -> None:
        self.excess = ""
        self._bytes = self._cells = self._depth = 0
        self._rows = 0

    def begin(self) -> None:
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.StartDoctypeDeclHandler = self._doctype
        self._depth = 0

    def feed(self, chunk: bytes) -> None:
        self._bytes += len(chunk)
        if self._bytes > MOST_XML_BYTES:
            self.excess = f"Unpacked it is larger than {MOST_XML_BYTES // 1_000_000} MB."
            return
        try:
            self._parser.Parse(chunk, False)
        except expat.ExpatError:
            if not self.excess:
                raise

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        if self._depth > DEEPEST_XML:
            self.excess = f"Its parts are nested deeper than {DEEPEST_XML}."
        plain = name.rpartition(" ")[2]
        if plain in _CELLS:
            self._cells += 1
        elif plain in _ROWS:
            self._rows += 1
        elif plain == "mergeCell":
            self._cells += _area(attributes.get("ref", ""))
        if self._cells > MOST_XML_CELLS:
            self.excess = f"It has more than {MOST_XML_CELLS} cells."
        if self._rows > MOST_ROWS:
            self.excess = f"It has more than {MOST_ROWS} rows."
        if self.excess:
            self._stop()

    def _end(self, _: str) -> None:
        self._depth -= 1

    def _doctype(self, *_: object) -> None:
        self.excess = "It defines entities of its own, which no spreadsheet needs."
        self._stop()

    def _stop(self) -> None:
        self._parser.StartElementHandler = None
        self._parser.EndElementHandler = None


def _area(cells: str) -> int:
    """How many cells a range such as B2:D9 has."""
    match = _RANGE.fullmatch(cells)
    if match is None:
        return 1
    across = abs(_column(match[3]) - _column(match[1])) + 1
    return across * (abs(int(match[4]) - int(match[2])) + 1)


def _column(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number
