"""Laying out a piece by picking instead of typing: a small form for the notebook."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import ipywidgets

from kit.errors import DataProblems, Misuse
from kit.piece.piece_file import format_piece, parse_piece, piece_path
from kit.piece.publish_piece import ask_about, stock_of_studio
from kit.piece.recipe import BASE, WISHES, BaseCoat, Layer, Piece
from kit.series import studio_folder, write_whole
from kit.wording import escape

_WIDE = ipywidgets.Layout(width="11rem")
_NARROW = ipywidgets.Layout(width="5rem")
ROWS = 6
"""Layers that the form has room for; a longer piece is written in its file."""


def piece_form(name: str, studio: Path | None = None) -> ipywidgets.Widget:
    """Offer to lay out the piece of this name, write its file and ask whether it will hold.

    A file that is there is shown as it is, and what the form does not speak of (sifters, coats,
    shared firings) stays as the file says.

    Parameters
    ----------
    name : str
    studio : Path, optional
        Folder that holds data/.
    """
    folder = studio_folder(studio)
    stock = stock_of_studio(folder, print)
    path = piece_path(name, folder)
    kept = parse_piece(path.read_bytes(), name, stock)[0] if path.is_file() else None
    shown = kept or Piece(name, name.replace("-", " ").capitalize(), BaseCoat(stock[0]), ())
    base = ipywidgets.Dropdown(
        options=stock, value=shown.base.colour, description="Base", layout=_WIDE
    )
    rows = [_Row(n, stock, shown.layers) for n in range(max(ROWS, len(shown.layers)))]
    button = ipywidgets.Button(description="Write it and ask", layout=_WIDE)
    told = ipywidgets.HTML()

    def ask(_: ipywidgets.Button) -> None:
        layers = tuple(layer for row in rows if (layer := row.layer()) is not None)
        piece = replace(shown, base=replace(shown.base, colour=base.value), layers=layers)
        content = format_piece(piece)
        _, problems = parse_piece(content, name, stock)
        try:
            if problems:
                raise DataProblems(problems)
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, content)
            told.value = ask_about(name, folder)._repr_html_()
        except (Misuse, DataProblems) as problem:
            told.value = f"<pre>{escape(str(problem))}</pre>"

    button.on_click(ask)
    return ipywidgets.VBox([base, *(row.box for row in rows), button, told])


class _Row:
    """The widgets of one layer; a row without a name is not a layer."""

    def __init__(self, place: int, stock: Sequence[str], layers: Sequence[Layer]) -> None:
        self.was = layers[place] if place < len(layers) else None
        layer = self.was or Layer("", stock[-1])
        self.name = ipywidgets.Text(value=layer.name, placeholder="layer", layout=_WIDE)
        self.overlay = ipywidgets.Dropdown(options=stock, value=layer.overlay, layout=_WIDE)
        self.on = ipywidgets.Text(value=", ".join(layer.on), layout=_WIDE)
        self.stencils = ipywidgets.BoundedIntText(value=layer.stencils, min=1, layout=_NARROW)
        self.wanted = ipywidgets.Dropdown(options=WISHES, value=layer.wanted, layout=_WIDE)
        self.box = ipywidgets.HBox([self.name, self.overlay, self.on, self.stencils, self.wanted])

    def layer(self) -> Layer | None:
        name = self.name.value.strip()
        if not name:
            return None
        on = tuple(part.strip() for part in self.on.value.split(",") if part.strip()) or (BASE,)
        return replace(
            self.was or Layer(name, self.overlay.value),
            name=name,
            overlay=self.overlay.value,
            on=on,
            stencils=self.stencils.value,
            wanted=self.wanted.value,
        )
