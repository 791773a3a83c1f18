"""What a person can change at the bench: the order, the firings, a sifter, a coat, a colour.

No change breaks what lies on what, parts layers that the file says share a firing, or touches the
firings that it keeps for the end.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

from kit.piece.contact_draws import SEED, Knowledge
from kit.piece.orders import LogChances, best_order, log_chance, moves
from kit.piece.outlook import layer_log_chances
from kit.piece.recipe import Layer, Piece, groups
from kit.wording import listed, times

KINDS = ("move", "order", "firing", "order and firing", "sifter", "coat", "colour")

SIMPLER = {"order": ("move",), "order and firing": ("move", "order", "firing")}
"""What has to be beaten by a change that asks for more."""

MOST_FIRINGS = 5
"""Of one layer before the next goes on."""

_LEAST_STEP = 0.01
"""What one more shared or added firing must add to the log chance to be worth asking for."""


@dataclass(frozen=True)
class Change:
    """One change to a piece.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    place : str
        The layer that it is about; empty when it is about the whole piece.
    what : str
        The change as a request: 'put dots on before leaves'.
    piece : Piece
        With the change made.
    """

    kind: str
    place: str
    what: str
    piece: Piece


def changes(piece: Piece, known: Knowledge, stock: Sequence[str]) -> list[Change]:
    """List the changes that a person could make.

    Of the many orders and ways to share firings only those are listed that look best.

    Parameters
    ----------
    piece : Piece
    known : Knowledge
    stock : sequence of str
        Colours that the person owns.
    """
    chances = layer_log_chances(piece, known, SEED)
    found = [*_of_schedule(piece, chances), *_of_recipe(piece, known, stock)]
    return [change for change in found if change.piece != piece]


def _of_schedule(piece: Piece, chances: LogChances) -> Iterator[Change]:
    """Changes of order and of firings; the chance hangs on the count at the end alone."""
    score = partial(log_chance, log_chances=chances)
    most = min(len(counts) for counts in chances.values())
    best = best_order(piece, chances)
    moved = max([piece, *moves(piece)], key=score)
    yield Change("move", "", _told(piece, moved), moved)
    if best != moved:
        yield Change("order", "", _told(piece, best), best)
    together = _climbed(piece, score, _joined)
    yield Change("firing", "", _told(piece, together), together)
    for changed in _refired(piece, most):
        yield Change("firing", _told(piece, changed), _told(piece, changed), changed)
    both = _climbed(best, score, lambda one: [*_joined(one), *_refired(one, most)])
    if both not in (best, together):
        yield Change("order and firing", "", _told(piece, both), both)


def _climbed(
    piece: Piece, score: Callable[[Piece], float], near: Callable[[Piece], list[Piece]]
) -> Piece:
    """Take the best step again and again, until none is worth its trouble."""
    reached = score(piece)
    while options := near(piece):
        best = max(options, key=score)
        if score(best) <= reached + _LEAST_STEP:
            break
        piece, reached = best, score(best)
    return piece


def _joined(piece: Piece) -> list[Piece]:
    """Every way to fire one group together with the next, where none lies on the other."""
    each = groups(piece.layers)
    return [
        piece.with_layer(later[0].name, fires_with=earlier[-1].name)
        for earlier, later in pairwise(each)
        if not any(one.name in layer.on for one in earlier for layer in later)
    ]


def _refired(piece: Piece, most: int) -> list[Piece]:
    """Every way to fire one group once more or once less before the next goes on."""
    found = []
    for group in groups(piece.layers):
        often = max(layer.firings for layer in group)
        for fired in (often - 1, often + 1):
            if 1 <= fired <= MOST_FIRINGS and piece.trips + fired - often <= most:
                layers = (
                    replace(layer, firings=fired) if layer in group else layer
                    for layer in piece.layers
                )
                found.append(replace(piece, layers=tuple(layers)))
    return found


def _of_recipe(piece: Piece, known: Knowledge, stock: Sequence[str]) -> Iterator[Change]:
    for layer in piece.layers:
        own = partial(_with, piece, layer)
        for mesh in known.levels("mesh"):
            if mesh != layer.mesh:
                kind = "finer" if mesh > layer.mesh else "coarser"
                what = f"sift {layer.name} through the {kind} {mesh:g} mesh"
                yield own("sifter", what, mesh=int(mesh))
        for weight in known.levels("coat_weight"):
            if weight != layer.coat_weight:
                kind = "thicker" if weight > layer.coat_weight else "thinner"
                what = f"sift {layer.name} {kind}, {weight:g} mg/cm²"
                yield own("coat", what, coat_weight=float(weight))
        for colour in stock:
            if colour not in piece.colours:
                what = f"take {colour} for {layer.name} instead of {layer.overlay}"
                yield own("colour", what, overlay=colour)


def _with(piece: Piece, layer: Layer, kind: str, what: str, **changed: object) -> Change:
    return Change(kind, layer.name, what, piece.with_layer(layer.name, **changed))


def _told(piece: Piece, changed: Piece) -> str:
    """Say what differs in order and firings, as a request."""
    said = [_order_told(piece, changed)] if _names(piece) != _names(changed) else []
    kept = [set(_names_of(group)) for group in groups(piece.layers)]
    each = groups(changed.layers)
    for n, group in enumerate(each):
        names = _names_of(group)
        if len(names) > 1 and set(names) not in kept:
            said.append(f"fire {listed(names)} together, where they do not touch")
        was = max(piece.layer(name).firings for name in names)
        now = max(layer.firings for layer in group)
        if now != was:
            until = (
                f"before {listed(_names_of(each[n + 1]))}" if n + 1 < len(each) else "at the end"
            )
            said.append(f"fire {listed(names)} {times(now)} {until}, not {times(was)}")
    return "; ".join(said)


def _order_told(piece: Piece, changed: Piece) -> str:
    """Say a new order: as one layer put elsewhere where that is all, else layer by layer."""
    was, now = _names(piece), _names(changed)
    for group in groups(piece.layers):
        names = _names_of(group)
        others = [[name for name in order if name not in names] for order in (was, now)]
        if others[0] == others[1]:
            at = now.index(names[0])
            if at < was.index(names[0]):
                return f"put {listed(names)} on before {now[at + len(names)]}"
            return f"put {listed(names)} on after {now[at - 1]}"
    return f"put the layers on in this order: {', then '.join(now)}"


def _names(piece: Piece) -> list[str]:
    return _names_of(piece.layers)


def _names_of(group: Sequence[Layer]) -> list[str]:
    return [layer.name for layer in group]
