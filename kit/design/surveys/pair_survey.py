"""Pair surveys: which base each tile gets, and which overlays lie on it.

The plan is chosen so that all ordered pairs, fired or not, can be foretold as surely as possible
under the kit's model with stated sds: the criterion is the prediction variance of the pairs,
on average or at worst (I- and G-optimality in the words of the textbooks).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from kit.design.standard_deviations import TYPICAL, StandardDeviations
from kit.design.surveys.average_variance import CRITERIA
from kit.design.surveys.pair_covariance import (
    Floats,
    Ints,
    PairField,
    checked_colours,
    unfired_field,
)
from kit.design.surveys.patch_exchange import Bench, Flags, SurveySearch, View, parts
from kit.errors import Misuse

SWEEPS = 12
SWAPS = 300
DEALS = 40


def survey(
    colours: pd.DataFrame,
    tiles: int,
    patches_per_tile: int,
    *,
    wishes: pd.DataFrame | None = None,
    leave_out: Sequence[str] = (),
    known: pd.DataFrame | None = None,
    sds: StandardDeviations = TYPICAL,
    criterion: Literal["average", "worst"] = "average",
    grades_per_patch: int = 3,
    seed: int = 1,
    starts: int | None = None,
    progress: Callable[[str], None] | None = None,
) -> pd.DataFrame:
    """Choose bases and overlays so that every ordered pair can be foretold.

    Every colour appears as base and as overlay when the budget allows; no overlay lies twice on a
    tile, and none on its own colour. The same seed gives the same plan.

    Parameters
    ----------
    colours : DataFrame
        Columns colour and family.
    tiles, patches_per_tile : int
    wishes : DataFrame, optional
        Columns base, overlay and, if some matter more than others, weight. With wishes only
        those pairs count; without, all count alike.
    leave_out : sequence of str
        Colours not to be fired.
    known : DataFrame, optional
        Columns base, overlay and, if they lay on one tile, tile: pairs fired before. They are not
        fired again and need not be foretold, but what they tell of other pairs is counted.
    sds : StandardDeviations
        How much each source of variation is thought to differ, in grades.
    criterion : {'average', 'worst'}
        Make the mean prediction variance of the pairs small, or the largest.
    grades_per_patch : int
        How often each patch will be graded (firings times graders).
    seed : int
    starts : int, optional
        Plans to improve, of which the best is kept; fewer when the plan is large by default.
    progress : callable, optional
        Called with a sentence now and then.

    Returns
    -------
    DataFrame
        Columns tile, base, overlay; a row per patch, in order of tile.

    Raises
    ------
    Misuse
        When no such plan exists; the message says what would.
    """
    if criterion not in CRITERIA:
        raise Misuse(f"criterion is one of {', '.join(CRITERIA)}, not '{criterion}'.")
    field = unfired_field(checked_colours(colours), sds)
    task = _task(field, wishes, leave_out, known)
    _check_budget(task, tiles, patches_per_tile, field)
    bench = _bench(field, task, sds, criterion, grades_per_patch)
    rng = np.random.default_rng(seed)
    best: SurveySearch | None = None
    starts = starts or int(np.clip(600 // (tiles * patches_per_tile), 1, 12))
    for start in range(starts):
        search = SurveySearch(bench, *_deal(bench, tiles, patches_per_tile, rng))
        search.improve(rng, SWEEPS, SWAPS)
        if best is None or search.value < best.value:
            best = search
        if progress:
            progress(f"Plan {start + 1} of {starts} improved.")
    assert best is not None
    return _frame(best, field)


@dataclass(frozen=True, eq=False)
class _Task:
    """Weight of each pair, which pairs may be fired, and what was fired before."""

    weight: Floats
    allowed: Flags
    known_pair: Ints
    known_tile: Ints


def _task(
    field: PairField,
    wishes: pd.DataFrame | None,
    leave_out: Sequence[str],
    known: pd.DataFrame | None,
) -> _Task:
    c = len(field.colours)
    strangers = sorted(set(leave_out) - set(field.colours))
    if strangers:
        raise Misuse(f"To leave out {', '.join(strangers)}, it must be in the list of colours.")
    stays = np.array([colour not in set(leave_out) for colour in field.colours])
    allowed = stays[:, None] & stays[None, :] & ~np.eye(c, dtype=bool)
    known_pair = known_tile = np.empty(0, dtype=np.intp)
    if known is not None and not known.empty:
        known_pair = field.numbers(known)
        alone = known["tile"] if "tile" in known else pd.Series(range(len(known)))
        known_tile = -1 - pd.factorize(alone)[0]
        allowed.ravel()[known_pair] = False
    weight = allowed.astype(float).ravel()
    if wishes is not None:
        wished = np.zeros(c * c)
        amount = wishes["weight"].to_numpy(float) if "weight" in wishes else 1.0
        wished[field.numbers(wishes)] = amount
        weight = weight * wished
    if not weight.any():
        raise Misuse(
            "No pair is left to learn about: every wish is known already, left out, or a colour "
            "on itself. Wish for other pairs, or leave out fewer colours."
        )
    return _Task(weight / weight.sum(), allowed, known_pair, known_tile)


def _check_budget(task: _Task, tiles: int, patches_per_tile: int, field: PairField) -> None:
    if tiles < 1 or patches_per_tile < 1:
        raise Misuse("A survey needs at least one tile with one patch.")
    room = int(task.allowed.sum(axis=1).max())
    if patches_per_tile > room:
        raise Misuse(
            f"{patches_per_tile} patches on a tile need {patches_per_tile} different overlays that "
            f"are new to its base; {room} is the most these {len(field.colours)} colours give. "
            f"Put {room} patches on a tile, or add colours."
        )


def _bench(
    field: PairField, task: _Task, sds: StandardDeviations, criterion: str, grades_per_patch: int
) -> Bench:
    wanted = task.weight.reshape(task.allowed.shape) > 0
    noise = np.full(task.weight.shape, sds.noise_variance(grades_per_patch))
    view = View(
        V=field.covariance,
        tile_variance=sds.tile**2,
        noise_variance=noise,
        criterion=CRITERIA[criterion](field.covariance, task.weight),
    )
    return Bench(
        views=(view,),
        allowed=task.allowed,
        bases=np.array(wanted.any(axis=1)),
        overlays=np.array(wanted.any(axis=0)),
        known_pair=task.known_pair,
        known_tile=task.known_tile,
    )


def _deal(bench: Bench, tiles: int, m: int, rng: np.random.Generator) -> tuple[Ints, Ints]:
    """Deal colours as evenly as they go; of several deals, keep one that misses fewest."""

    def fault(deal: tuple[Ints, Ints]) -> tuple[int, int]:
        base, overlay = deal
        c = len(bench.allowed)
        missing = set(np.flatnonzero(bench.overlays)) - set(overlay.ravel())
        pair = np.concatenate([(base[:, None] * c + overlay).ravel(), bench.known_pair])
        return len(missing), parts(pair, c)

    return min((_one_deal(bench, tiles, m, rng) for _ in range(DEALS)), key=fault)


def _one_deal(bench: Bench, tiles: int, m: int, rng: np.random.Generator) -> tuple[Ints, Ints]:
    roomy = bench.allowed.sum(axis=1) >= m
    wanted = np.flatnonzero(bench.bases & roomy)
    base = np.resize(rng.permutation(wanted if len(wanted) else np.flatnonzero(roomy)), tiles)
    overlay = np.empty((tiles, m), dtype=np.intp)
    count = rng.random(len(bench.allowed))
    count[~bench.overlays] += tiles * m
    for tile in rng.permutation(tiles):
        options = np.flatnonzero(bench.allowed[base[tile]])
        overlay[tile] = options[np.argsort(count[options])[:m]]
        count[overlay[tile]] += 1
    return base, overlay


def _frame(search: SurveySearch, field: PairField) -> pd.DataFrame:
    tiles, m = search.overlay.shape
    order = np.argsort(search.base, kind="stable")
    names = np.array(field.colours, dtype=object)
    frame = pd.DataFrame(
        {
            "tile": np.repeat(np.arange(1, tiles + 1), m),
            "base": np.repeat(names[search.base[order]], m),
            "overlay": names[search.overlay[order]].ravel(),
        }
    )
    return frame.astype({"base": "str", "overlay": "str"})
