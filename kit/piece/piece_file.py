"""A piece written down: a small TOML file to `Piece` and back, with every problem named at once."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any

import tomlkit

from kit.errors import DataProblems, Misuse, Problem
from kit.piece.recipe import BASE, WISHES, BaseCoat, Layer, Piece
from kit.series import (
    OPENING_UM,
    checked_name,
    line_of,
    lines_of_keys,
    nearest,
    read_toml,
    studio_folder,
)
from kit.wording import listed

ENDING = ".toml"
MOST_LAYERS = 40
MOST_STENCILS = 500

_OF_PIECE = ("title", "series", "closing_firings", "base", "layer")
_LIMITS = {
    "coats": (1, 9),
    "closing_firings": (0, 10),
    "stencils": (1, MOST_STENCILS),
    "firings": (1, 5),
    "coat_weight": (1, 500),
}
_EXAMPLE = """\
# A piece: what lies on what, in the order that it is made. Lines with # are notes.

title = {title}
closing_firings = 0        # firings kept for the end, after the last layer's own
series = []                # whose grades speak; empty for all your series

[base]
colour = {base}
coats = 2
mesh = 80
coat_weight = 60           # dry enamel a coat, mg on each cm²

# One [[layer]] for each stencilled colour, the first one to go on at the top. Copy as needed.
[[layer]]
name = "first layer"       # your own word for it
overlay = {overlay}
on = ["base"]              # "base", the name of an earlier layer, or both where it crosses
mesh = 100
coat_weight = 40
stencils = 1               # how many such stencils there are
wanted = "fine edge"       # {wishes}
firings = 1                # before the next layer goes on; more make an edge softer
# fires_with = "..."       # the layer just before it, if the two share one firing
"""


def piece_path(name: str, start: Path | None = None) -> Path:
    """Return the file of a piece, given its name or a path to it."""
    if Path(name).name != name or name.endswith(ENDING):
        return Path(name).resolve()
    return studio_folder(start) / "data" / "pieces" / f"{checked_name(name)}{ENDING}"


def start_piece(path: Path, base: str, overlay: str) -> Path:
    """Write a piece to fill in, with a note beside every line.

    Raises
    ------
    Misuse
        When the file exists already.
    """
    if path.exists():
        raise Misuse(f"{path} exists already. Choose another name; nothing was changed.")
    filled = _EXAMPLE.format(
        title=_quoted(path.stem.replace("-", " ").capitalize()),
        base=_quoted(base),
        overlay=_quoted(overlay),
        wishes=listed(WISHES, "or"),
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(filled, "utf-8")
    return path


def _quoted(text: str) -> str:
    return tomlkit.item(text).as_string()


def series_named(path: Path) -> tuple[str, ...]:
    """Names of the series that a piece's file says it goes by; none when it cannot be read."""
    told, _ = read_toml(path.read_bytes(), path.name) if path.is_file() else (None, None)
    named = told.get("series") if told else None
    return tuple(one for one in named if isinstance(one, str)) if isinstance(named, list) else ()


def read_piece(path: Path, colours: Collection[str]) -> Piece:
    """Read a piece and check it against the colours in stock.

    Parameters
    ----------
    path : Path
    colours : collection of str
        Every colour of the series that the piece may use.

    Raises
    ------
    Misuse
        When there is no such file.
    DataProblems
        With everything that cannot be right.
    """
    if not path.is_file():
        meant = nearest(path.stem, [other.stem for other in path.parent.glob(f"*{ENDING}")])
        fix = meant or f" Start it: kit piece {path.stem} --start"
        raise Misuse(f"There is no piece {path}.{fix}")
    piece, problems = parse_piece(path.read_bytes(), path.stem, colours)
    if piece is None:
        raise DataProblems(problems)
    return piece


def parse_piece(
    content: bytes, name: str, colours: Collection[str]
) -> tuple[Piece | None, list[Problem]]:
    """Read the bytes of a piece's file.

    Returns
    -------
    Piece or None
        None when there is any problem.
    list of Problem
    """
    file = f"{name}{ENDING}"
    told, problem = read_toml(content, file)
    if told is None:
        return None, [problem] if problem else []
    check = _Check(file, colours, lines_of_keys(content.decode("utf-8-sig")))
    check.piece(told)
    if check.problems:
        return None, sorted(check.problems, key=lambda one: one.row or 0)
    return _built(told, name), []


def format_piece(piece: Piece) -> bytes:
    """Write a piece as the bytes of its file. The opposite of `parse_piece`."""
    document: dict[str, Any] = {
        "title": piece.title,
        "closing_firings": piece.closing_firings,
        "series": list(piece.series),
        "base": {f.name: getattr(piece.base, f.name) for f in fields(BaseCoat)},
        "layer": [_layer_said(layer) for layer in piece.layers],
    }
    return tomlkit.dumps(document).encode("utf-8")


def _layer_said(layer: Layer) -> dict[str, Any]:
    said = {f.name: getattr(layer, f.name) for f in fields(Layer)}
    said["on"] = list(layer.on)
    return {key: value for key, value in said.items() if value is not None}


def _built(told: Mapping[str, Any], name: str) -> Piece:
    return Piece(
        name=name,
        title=told["title"],
        base=BaseCoat(**told["base"]),
        layers=tuple(Layer(**{**one, "on": tuple(one["on"])}) for one in told["layer"]),
        closing_firings=told.get("closing_firings", 0),
        series=tuple(told.get("series", ())),
    )


class _Check:
    """Collects what cannot be right in a piece."""

    def __init__(self, file: str, colours: Collection[str], lines: Mapping[str, int]) -> None:
        self.file, self.lines = file, lines
        self.colours = colours
        self.problems: list[Problem] = []

    def piece(self, told: Mapping[str, Any]) -> None:
        self._known("", told, _OF_PIECE)
        self._text("title", told.get("title"))
        self._whole("closing_firings", told.get("closing_firings", 0))
        series = told.get("series", [])
        if not isinstance(series, list) or not all(isinstance(one, str) for one in series):
            self._wrong("series", "It does not fit.", 'Write a list of names: ["autumn"].')
        base = told.get("base")
        if isinstance(base, dict):
            self._part("base", base, BaseCoat)
        else:
            self._wrong("base", "It is missing.", 'Write [base] and below it colour = "...".')
        layers = told.get("layer")
        if not isinstance(layers, list) or not layers:
            self._wrong("layer", "There is no layer.", "Start each with [[layer]].")
        elif len(layers) > MOST_LAYERS:
            fix = f"A piece may have at most {MOST_LAYERS}."
            self._wrong("layer", f"There are {len(layers)} layers.", fix)
        else:
            self._layers(layers)

    def _layers(self, layers: Sequence[Any]) -> None:
        earlier: list[str] = []
        together: list[Any] = []
        names = [one.get("name") if isinstance(one, dict) else None for one in layers]
        for n, one in enumerate(layers, start=1):
            key = f"layer {n}"
            if not isinstance(one, dict):
                self._wrong(key, "It is not a table.", "Start each layer with [[layer]].")
                continue
            self._part(key, one, Layer)
            name = one.get("name")
            if name == BASE:
                wrong = f"No layer may be called '{BASE}'."
                self._wrong(f"{key}.name", wrong, "Choose another name.")
            elif isinstance(name, str) and name in earlier:
                wrong = f"'{name}' is the name of an earlier layer."
                self._wrong(f"{key}.name", wrong, "Give each layer a name of its own.")
            self._lies_on(key, one.get("on"), earlier, names)
            together = [*together, name] if "fires_with" in one else [name]
            self._shares(key, one, earlier, together)
            if one.get("wanted") not in WISHES:
                fix = f"Write one of: {', '.join(WISHES)}."
                self._wrong(f"{key}.wanted", _cannot(one.get("wanted")), fix)
            if isinstance(name, str):
                earlier.append(name)

    def _lies_on(self, key: str, on: Any, earlier: Sequence[str], names: Sequence[Any]) -> None:
        key = f"{key}.on"
        if not isinstance(on, list) or not on or not all(isinstance(u, str) for u in on):
            self._wrong(key, "It does not fit.", f'Write a list such as ["{BASE}"].')
            return
        if len(set(on)) < len(on):
            self._wrong(key, "It names the same thing twice.", "Name each once.")
        for under in on:
            if under == BASE or under in earlier:
                continue
            if under in names:
                wrong = f"'{under}' does not lie there yet: it comes later or is this layer."
                fix = "Lay it on the base or on an earlier layer, or change the order."
            else:
                wrong = f"There is no layer '{under}'."
                fix = f"Write one of: {', '.join([BASE, *earlier])}."
            self._wrong(key, wrong, fix)

    def _shares(
        self, key: str, one: Mapping[str, Any], earlier: Sequence[str], together: Sequence[Any]
    ) -> None:
        shared = one.get("fires_with")
        if shared is None:
            return
        key = f"{key}.fires_with"
        if not earlier or shared != earlier[-1]:
            wrong = f"{_shown(shared)} is not the layer directly before this one."
            self._wrong(key, wrong, "Only neighbours can share a firing; change the order.")
            return
        on = one.get("on")
        for under in on if isinstance(on, list) else ():
            if under in together[:-1]:
                wrong = (
                    f"It lies on '{under}', which has to be fired before anything is laid on it."
                )
                self._wrong(key, wrong, "Delete this line, or lay it on something else.")

    def _part(self, key: str, told: Mapping[str, Any], of: type) -> None:
        self._known(f"{key}.", told, [f.name for f in fields(of)])
        for needed in fields(of):
            must = needed.default is MISSING or needed.name in ("on", "wanted")
            if must and needed.name not in told:
                if needed.name not in ("on", "wanted"):
                    self._wrong(f"{key}.{needed.name}", "It is missing.", "Add the line.")
                continue
            if needed.name not in told:
                continue
            value = told[needed.name]
            if needed.name in ("name",):
                self._text(f"{key}.{needed.name}", value)
            elif needed.name in ("colour", "overlay"):
                self._colour(f"{key}.{needed.name}", value)
            elif needed.name == "mesh" and (isinstance(value, bool) or value not in OPENING_UM):
                fix = f"Write one of: {', '.join(map(str, OPENING_UM))}."
                self._wrong(f"{key}.mesh", _cannot(value), fix)
            elif needed.name == "coat_weight":
                self._number(f"{key}.coat_weight", value, "coat_weight")
            elif needed.name in _LIMITS:
                self._whole(f"{key}.{needed.name}", value)

    def _known(self, prefix: str, told: Mapping[str, Any], known: Sequence[str]) -> None:
        for key in told:
            if key not in known:
                fix = f"Delete it.{nearest(key, known)}"
                self._wrong(f"{prefix}{key}", "The kit does not know this.", fix)

    def _colour(self, key: str, value: Any) -> None:
        if not isinstance(value, str) or value not in self.colours:
            fix = f"Write it as in colours.csv.{nearest(str(value), self.colours)}"
            self._wrong(key, f"No series has the colour {_shown(value)}.", fix)

    def _text(self, key: str, value: Any) -> None:
        if not isinstance(value, str) or not value.strip():
            self._wrong(key, "It is missing or empty.", "Write a text in quotes.")

    def _number(self, key: str, value: Any, limit: str) -> None:
        low, high = _LIMITS[limit]
        good = isinstance(value, int | float) and not isinstance(value, bool)
        if not good or not low <= value <= high:
            self._wrong(key, _cannot(value), f"It must be a number from {low} to {high}.")

    def _whole(self, key: str, value: Any) -> None:
        low, high = _LIMITS[key.rsplit(".", 1)[-1]]
        good = isinstance(value, int) and not isinstance(value, bool)
        if not good or not low <= value <= high:
            self._wrong(key, _cannot(value), f"It must be a whole number from {low} to {high}.")

    def _wrong(self, key: str, wrong: str, fix: str) -> None:
        self.problems.append(Problem(self.file, line_of(key, self.lines), key, wrong, fix))


def _cannot(value: object) -> str:
    return "It is missing." if value is None else f"{_shown(value)} cannot stand here."


def _shown(value: object) -> str:
    return f"'{value}'" if isinstance(value, str) else str(value)
