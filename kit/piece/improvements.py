"""What would help a piece most: what a person can change at the bench, and how surely it helps.

Order, firings, a sifter, a coat, a colour: no change breaks what lies on what, parts layers that
the file says share a firing, or touches the firings that it keeps for the end. A change is chosen
on one set of draws and scored on another, so that what is said to be gained is not luck of the
draw. How surely it helps is the share of all that may be true in which the piece ends as wanted
more often with the change than without.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np

from kit.mixed import Array
from kit.piece.contact_draws import CHECK_SEED, SEED, TILES, Knowledge
from kit.piece.orders import LogChances, best_order, log_chance, moves
from kit.piece.outlook import PieceOutlook, layer_log_chances, state_chances
from kit.piece.recipe import Layer, Piece, groups
from kit.wording import adverb, coat_weight, listed, percent, times, upper_first

KINDS = ("move", "order", "firing", "order and firing", "sifter", "coat", "colour", "several")

SIMPLER = {
    "order": ("move",),
    "order and firing": ("move", "order", "firing"),
    "several": KINDS[:-1],
}
"""What has to be beaten by a change that asks for more."""

MOST_FIRINGS = 5
"""Of one layer before the next goes on."""

MOST_STEPS = 4
"""Changes that are asked for at once."""
MOST_OPEN = 12
"""Ways to make a piece that are still to be decided between."""

_LEAST_STEP = 0.01
"""What one more shared or added firing must add to the log chance to be worth asking for."""
_LEAST_CHANGE = 0.05
"""The same for one more change of any kind."""


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

    Of the many orders, ways to share firings and ways to change several things at once only those
    are listed that look best.

    Parameters
    ----------
    piece : Piece
    known : Knowledge
    stock : sequence of str
        Colours that the person owns.
    """
    found = [*_of_schedule(piece, layer_log_chances(piece, known, SEED))]
    found += _of_recipe(piece, known, stock)
    starts = [piece, _likeliest([piece, *(change.piece for change in found)], known)]
    several = _likeliest([_improved(one, known, stock) for one in starts], known)
    if several not in (change.piece for change in found):
        found.append(Change("several", "", _told(piece, several), several))
    return [change for change in found if change.piece != piece]


def open_ways(
    piece: Piece, known: Knowledge, stock: Sequence[str], options: Sequence[Change]
) -> list[Piece]:
    """List the ways to make a piece that are still to be decided between.

    Parameters
    ----------
    piece : Piece
    known : Knowledge
    stock : sequence of str
    options : sequence of Change
        As `changes` lists them.

    Returns
    -------
    list of Piece
        The piece as it is, the best way that is known, and those that could prove better than that
        by most: they may be changes of the best way as well.
    """
    ways = [piece, *(option.piece for option in options)]
    best = _likeliest(ways, known)
    ways += [change.piece for change in _of_recipe(best, known, stock)]
    ways = list(dict.fromkeys([piece, best, *ways]))
    chances = state_chances(ways, known, SEED)
    better = np.maximum(chances - chances[ways.index(best)], 0.0).mean(axis=1)
    kept = {piece, best}
    others = [ways[n] for n in np.argsort(-better, kind="stable") if ways[n] not in kept]
    return [*dict.fromkeys([piece, best]), *others][:MOST_OPEN]


def _likeliest(pieces: Sequence[Piece], known: Knowledge) -> Piece:
    """The piece that most probably ends as wanted, the first of equals."""
    return pieces[int(state_chances(pieces, known, SEED).mean(axis=1).argmax())]


def _improved(piece: Piece, known: Knowledge, stock: Sequence[str]) -> Piece:
    """Make the change that does most, and the next, while each does enough."""
    for _ in range(MOST_STEPS):
        near = [*moves(piece), *_joined(piece), *_refired(piece, piece.trips + 1)]
        near += [change.piece for change in _of_recipe(piece, known, stock)]
        ways = [piece, *near]
        scores = np.log(np.maximum(state_chances(ways, known, SEED).mean(axis=1), 1e-300))
        if scores.max() <= scores[0] + _LEAST_CHANGE:
            break
        piece = ways[int(scores.argmax())]
    return piece


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
    """Another sifter, coat or colour for one layer."""
    for layer in piece.layers:
        tried: list[tuple[str, str, float | str]] = [
            *(("sifter", "mesh", int(mesh)) for mesh in known.levels("mesh")),
            *(("coat", "coat_weight", weight) for weight in known.levels("coat_weight")),
            *(("colour", "overlay", one) for one in stock if one not in piece.colours),
        ]
        for kind, part, value in tried:
            other = piece.with_layer(layer.name, **{part: value})
            yield Change(kind, layer.name, _told(piece, other), other)


def _told(piece: Piece, changed: Piece) -> str:
    """Say all that differs, as a request."""
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
            later = listed(_names_of(each[n + 1])) if n + 1 < len(each) else ""
            until = f"before {later}" if later else "at the end"
            said.append(f"fire {listed(names)} {times(now)} {until}, not {times(was)}")
    for layer in changed.layers:
        said += _recipe_told(piece.layer(layer.name), layer)
    return "; ".join(said)


def _recipe_told(was: Layer, now: Layer) -> Iterator[str]:
    if now.overlay != was.overlay:
        yield f"take {now.overlay} for {now.name} instead of {was.overlay}"
    if now.mesh != was.mesh:
        kind = "finer" if now.mesh > was.mesh else "coarser"
        yield f"sift {now.name} through the {kind} {now.mesh} mesh"
    if now.coat_weight != was.coat_weight:
        kind = "thicker" if now.coat_weight > was.coat_weight else "thinner"
        yield f"sift {now.name} {kind}, {coat_weight(now.coat_weight)}"


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


WORTH_SAYING = 0.02
"""Least gain of the whole piece's chance that is named."""


@dataclass(frozen=True)
class Advice:
    """One change and what it would do.

    Parameters
    ----------
    change : Change
    before, after : float
        Chance of the whole piece.
    sure : float
        Chance that it helps.
    """

    change: Change
    before: float
    after: float
    sure: float

    @property
    def gain(self) -> float:
        """How much the chance of the whole piece rises."""
        return self.after - self.before

    @property
    def sentence(self) -> str:
        """The change and what it does, as a person would say it."""
        return (
            f"{upper_first(self.change.what)}: the whole piece then ends as wanted with a chance "
            f"of {percent(self.after)}, not {percent(self.before)}. "
            f"This {adverb(self.sure)} helps ({percent(self.sure)})."
        )


def advice(outlook: PieceOutlook, known: Knowledge, options: Sequence[Change]) -> list[Advice]:
    """Find the changes that would help most, at most one of each kind for each layer.

    Parameters
    ----------
    outlook : PieceOutlook
    known : Knowledge
    options : sequence of Change
        What a person could do, as `changes` lists it.

    Returns
    -------
    list of Advice
        The most helpful first; empty when nothing gains enough.
    """
    piece = outlook.piece
    before, *after = state_chances([piece, *(o.piece for o in options)], known, SEED).mean(axis=1)
    best: dict[tuple[str, str], int] = {}
    for n in sorted(range(len(options)), key=lambda n: -after[n]):
        if after[n] - before >= WORTH_SAYING:
            best.setdefault((options[n].kind, options[n].place), n)
    chosen = [options[n] for n in best.values()]
    fresh = state_chances(
        [piece, *(one.piece for one in chosen)], known, CHECK_SEED, tiles=range(TILES)
    )
    found = [
        _advice(outlook, change, own - fresh[0])
        for change, own in zip(chosen, fresh[1:], strict=True)
    ]
    worth = [one for one in found if one.gain >= WORTH_SAYING and _beats_simpler(one, found)]
    return sorted(worth, key=lambda one: -one.gain)


def _advice(outlook: PieceOutlook, change: Change, gain: Array) -> Advice:
    """Claim what a change does, from its gain in each state of knowledge."""
    after = np.clip(outlook.chance + gain.mean(), 0.0, 1.0)
    return Advice(change, outlook.chance, float(after), float(np.mean(gain > 0)))


def _beats_simpler(one: Advice, found: Sequence[Advice]) -> bool:
    """Whether no change that asks for less does as much, within what is worth saying."""
    simpler = SIMPLER.get(one.change.kind, ())
    return all(
        one.after >= other.after + WORTH_SAYING for other in found if other.change.kind in simpler
    )
