"""Colours dealt as evenly as they go over the stripes of tiles and the patches on them.

A search for better plans starts from such a deal.
"""

from dataclasses import dataclass

import numpy as np

from kit.design.surveys.pair_knowledge import Floats, Ints
from kit.design.surveys.patch_exchange import Flags, Places, parts
from kit.errors import Misuse

DEALS = 40


@dataclass(frozen=True, eq=False)
class Task:
    """What a plan is for, and what it may use.

    Parameters
    ----------
    weight : (c²,) array
        How much each pair matters; not negative.
    allowed : (c, c) bool array
        Whether overlay j may lie on base i.
    bases, overlays : (c,) bool array
        Colours that should appear in that place.
    wrong_costs : float
        What a wrong 'fine edge' costs, in right verdicts missed.
    """

    weight: Floats
    allowed: Flags
    bases: Flags
    overlays: Flags
    wrong_costs: float = 0.0


def deal(task: Task, places: Places, rng: np.random.Generator) -> tuple[Ints, Ints]:
    """Deal colours as evenly as they go; of several deals, keep one that misses fewest.

    Returns
    -------
    base : (stripes,) array
    overlay : (n,) array

    Raises
    ------
    Misuse
        When the places need more different colours than there are.
    """
    _check_room(task, places)

    def fault(deal: tuple[Ints, Ints]) -> tuple[int, int]:
        base, overlay = deal
        missing = set(np.flatnonzero(task.overlays)) - set(overlay)
        pair = base[places.stripe] * len(task.allowed) + overlay
        return len(missing), parts(pair, len(task.allowed))

    return min((_one_deal(task, places, rng) for _ in range(DEALS)), key=fault)


def _check_room(task: Task, places: Places) -> None:
    room = int(task.allowed.sum(axis=1).max())
    most = int(np.bincount(places.stripe).max())
    if most > room:
        raise Misuse(
            f"{most} patches on one base need {most} different overlays besides the base's own "
            f"colour; {room} is the most these colours give. Put {room} patches on a base."
        )
    stripes = int(np.bincount(places.tile_of).max())
    usable = int((task.allowed.sum(axis=1) >= most).sum())
    if stripes > usable:
        raise Misuse(f"{stripes} stripes need {stripes} different bases; there are {usable}.")


def _one_deal(task: Task, places: Places, rng: np.random.Generator) -> tuple[Ints, Ints]:
    c = len(task.allowed)
    sizes = np.bincount(places.stripe, minlength=places.stripes)
    # Colours that need not appear come in only where their pairs matter.
    matter = np.where(task.allowed, task.weight.reshape(c, c), 0.0)
    as_base, as_overlay = rng.random(c), rng.random(c)
    as_base += np.where(task.bases | (matter.sum(axis=1) > 0), 0.0, places.stripes)
    as_overlay += np.where(task.overlays | (matter.sum(axis=0) > 0), 0.0, len(places.stripe))
    base = np.empty(places.stripes, dtype=np.intp)
    overlay = np.empty(len(places.stripe), dtype=np.intp)
    for stripe in range(places.stripes):
        taken = base[:stripe][places.tile_of[:stripe] == places.tile_of[stripe]]
        fits = task.allowed.sum(axis=1) >= sizes[stripe]
        fits[taken] = False
        options = np.flatnonzero(fits)
        base[stripe] = options[np.argmin(as_base[options])]
        as_base[base[stripe]] += 1
    met = np.zeros((c, c))
    for stripe in rng.permutation(places.stripes):
        rows = places.rows(int(stripe))
        options = np.flatnonzero(task.allowed[base[stripe]])
        # Pairs not met yet first, then colours used least.
        order = np.lexsort((as_overlay[options], met[base[stripe], options]))
        if not met[base[stripe]].any():
            order = np.argsort(as_overlay[options])
        overlay[rows] = options[order[: len(rows)]]
        as_overlay[overlay[rows]] += 1
        met[base[stripe], overlay[rows]] += 1
    return base, overlay
