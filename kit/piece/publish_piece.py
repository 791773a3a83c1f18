"""From a piece's name to its answer, its page and its sheet for the bench."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from kit.errors import DataProblems, Misuse
from kit.piece.contact_draws import Knowledge, leading
from kit.piece.improvements import Advice, advice, changes, open_ways
from kit.piece.outlook import PieceOutlook, piece_outlook
from kit.piece.piece_file import format_piece, piece_path, read_piece, series_named
from kit.piece.piece_page import help_told, piece_document, piece_sheet, section_of
from kit.piece.recipe import Piece
from kit.piece.sample import PieceSample, best_sample
from kit.report import Document, series_folders, write_page
from kit.series import Series, read_series, studio_folder, write_whole

Say = Callable[[str], None]

SAMPLE_TILES = 2
FOLDER = "pieces"


@dataclass(frozen=True, eq=False)
class PieceAnswer:
    """All that is said about a piece.

    Parameters
    ----------
    outlook : PieceOutlook
    advised : tuple of Advice
    ways : tuple of Piece
        Ways to make the piece that are still to be decided between, itself the first.
    sample : PieceSample
    series : tuple of Series
        That the answer was worked out from.
    doubts : tuple of str
        What the models could not tell apart.
    """

    outlook: PieceOutlook
    advised: tuple[Advice, ...]
    ways: tuple[Piece, ...]
    sample: PieceSample
    series: tuple[Series, ...]
    doubts: tuple[str, ...] = ()

    @property
    def piece(self) -> Piece:
        """The piece that was asked about."""
        return self.outlook.piece

    @property
    def like(self) -> Series:
        """The leading series with the colours of all, which a sample and the piece go by."""
        lead = leading(self.series)
        colours = pd.concat([lead.colours, *(one.colours for one in self.series)])
        return replace(lead, colours=colours.drop_duplicates("colour", ignore_index=True))

    def describe(self) -> str:
        """The answer first, then what would help, contact by contact, and the sample."""
        return "\n".join(
            [
                *self.outlook.sentences()[:2],
                "",
                "What would help most:",
                *(f"  {said}" for said in help_told(self.advised)),
                "",
                "Contact by contact:",
                *(f"  {contact.sentence}" for contact in self.outlook.contacts),
                "",
                "The sample to fire first:",
                *(f"  {said}" for said in self.sample.sentences()),
            ]
        )

    def __repr__(self) -> str:
        return f"<PieceAnswer: {self.outlook.sentences()[0]}>"

    def _repr_html_(self) -> str:
        return "".join(section._repr_html_() for section in self.document().sections)

    def document(self) -> Document:
        """The page of the piece."""
        return piece_document(self.outlook, self.advised, self.sample, self.doubts)


def series_of_studio(studio: Path, say: Say, named: Sequence[str] = ()) -> list[Series]:
    """Read every series of a studio, and the invented one too where it is named.

    Which cannot be read is said, and why.
    """
    found = []
    data = studio / "data"
    asked_for = [data / name for name in named if (data / name / "series.toml").is_file()]
    for folder in dict.fromkeys([*series_folders(data), *asked_for]):
        try:
            found.append(read_series(folder))
        except (Misuse, DataProblems) as problem:
            say(f"{folder.name} is left out. {problem}")
    return found


def colours_of(several: Sequence[Series]) -> list[str]:
    """Every colour of the series, each once."""
    return list(dict.fromkeys(colour for one in several for colour in one.colours["colour"]))


def stock_of_studio(studio: Path, say: Say) -> list[str]:
    """Colours that a piece may be laid out with.

    Raises
    ------
    Misuse
        When there are fewer than two.
    """
    stock = colours_of(series_of_studio(studio, say))
    if len(stock) < 2:
        raise Misuse(
            "A piece needs two colours. List your jars in the colours.csv of a series: kit new"
        )
    return stock


def ask_about(name: str, studio: Path | None = None, progress: Say | None = None) -> PieceAnswer:
    """Answer for the piece of this name whether it will hold.

    Parameters
    ----------
    name : str
        Of data/pieces/<name>.toml, or a path.
    studio : Path, optional
        Folder that holds data/; the current one or the nearest above it by default.
    progress : callable, optional

    Raises
    ------
    Misuse, DataProblems
        When there is no such piece, it has problems, or nothing was graded yet.
    """
    say = progress or (lambda text: None)
    folder = studio_folder(studio)
    say("Reading the series")
    path = piece_path(name, folder)
    named = series_named(path)
    chosen = _chosen(named, series_of_studio(folder, say, named))
    piece = read_piece(path, colours_of(chosen))
    say("Fitting the models")
    known = Knowledge.of(chosen)
    say("Working out contacts, orders and a sample")
    outlook = piece_outlook(piece, known)
    stock = sorted({colour for one in chosen for colour in one.stock["colour"]})
    options = changes(piece, known, stock)
    ways = open_ways(piece, known, stock, options)
    places = leading(chosen).settings.patches_per_tile
    return PieceAnswer(
        outlook,
        tuple(advice(outlook, known, options)),
        tuple(ways),
        best_sample(ways, known, places, SAMPLE_TILES),
        tuple(chosen),
        known.doubts,
    )


def write_answer(answer: PieceAnswer, reports: Path, paper: str = "a4") -> list[Path]:
    """Write the page, the bench sheet and the section of a piece into reports/pieces.

    Returns
    -------
    list of Path
    """
    outlook = answer.outlook
    page = reports / FOLDER / f"{answer.piece.name}.html"
    write_page(answer.document(), page)
    sheet = page.with_suffix(".pdf")
    settings = answer.like.settings
    drawn = section_of(outlook)
    write_whole(sheet, piece_sheet(outlook, drawn, settings, paper))
    section = page.with_name(f"{answer.piece.name}-section.svg")
    write_whole(section, drawn.svg)
    return [page, sheet, section]


def follow_advice(answer: PieceAnswer, path: Path) -> Path:
    """Write the piece with the first advice done, in a file of its own.

    Raises
    ------
    Misuse
        When nothing is advised, or the file exists already.
    """
    if not answer.advised:
        raise Misuse(f"Nothing that was tried helps {answer.piece.title}; it stays as it is.")
    if path.exists():
        raise Misuse(f"{path} exists already. Choose another name; nothing was changed.")
    write_whole(path, format_piece(answer.advised[0].change.piece))
    return path


def _chosen(named: Sequence[str], every: Sequence[Series]) -> list[Series]:
    """The series that a piece names, or all."""
    names = {one.name for one in every}
    if missing := sorted(set(named) - names):
        raise Misuse(
            f"There is no series {', '.join(missing)}; there is {', '.join(sorted(names))}."
        )
    return [one for one in every if not named or one.name in named]
