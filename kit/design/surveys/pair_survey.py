"""Pair surveys before anything is fired: which bases, and which overlays lie on them."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.design.surveys.deal_over_stripes import Task
from kit.design.surveys.pair_knowledge import Floats, PairKnowledge, checked_colours
from kit.design.surveys.pairs_beforehand import known_beforehand
from kit.design.surveys.patch_exchange import Places
from kit.design.surveys.verdict_search import Chosen, best_patches
from kit.errors import Misuse
from kit.model import LearnedPrior, PairSetting

FULL_SIZE_ONE_IN = 4
"""Of so many tiles one carries patches of full size on a single base, so that what a small patch
says about the real work is known."""


@dataclass(frozen=True)
class TileFormat:
    """How tiles are divided.

    Parameters
    ----------
    patches : int
        Patches of full size on a tile with a single base.
    stripes : int
        Base stripes on the other tiles; 1 for none.
    per_stripe : int
        Small patches on each stripe.
    full_size_one_in : int
        Of so many tiles one carries patches of full size on a single base.
    """

    patches: int = 4
    stripes: int = 1
    per_stripe: int = 3
    full_size_one_in: int = FULL_SIZE_ONE_IN

    def fitted(self, colours: int, bases: int) -> "TileFormat":
        """No more patches on a base, nor stripes on a tile, than there are different colours for.

        Parameters
        ----------
        colours : int
            In use; all but the base's own can lie on it.
        bases : int
            Of them, those that may be a base.
        """
        overlays = max(1, colours - 1)
        return replace(
            self,
            patches=min(self.patches, overlays),
            stripes=min(self.stripes, max(1, bases)),
            per_stripe=min(self.per_stripe, overlays),
        )

    def places(self, tiles: int) -> Places:
        """Lay out so many tiles; those of full size come last."""
        if tiles < 1 or self.patches < 1 or self.per_stripe < 1:
            raise Misuse("A survey needs at least one tile with one patch.")
        full = tiles if self.stripes == 1 else max(1, tiles // self.full_size_one_in)
        striped = tiles - full
        sizes = [self.per_stripe] * (striped * self.stripes) + [self.patches] * full
        tile_of = [*np.repeat(np.arange(striped), self.stripes), *range(striped, tiles)]
        stripe = np.repeat(np.arange(len(sizes)), sizes)
        return Places(stripe, np.array(tile_of, dtype=np.intp), stripe < striped * self.stripes)


def survey(
    colours: pd.DataFrame,
    tiles: int,
    tile_format: TileFormat,
    *,
    setting: PairSetting | None = None,
    counts: Sequence[int] = (1, 2, 3),
    graders: int = 1,
    targets: pd.DataFrame | None = None,
    wrong_costs: float = 0.0,
    not_bases: Collection[str] = (),
    seed: int = 1,
    learned: Mapping[str, LearnedPrior] | None = None,
    progress: Callable[[str], None] | None = None,
) -> pd.DataFrame:
    """Choose bases and overlays so that the most pairs can be expected to be judged rightly.

    Every colour appears as base and as overlay when the budget allows; no overlay lies twice on a
    stripe, and none on its own colour. The same seed gives the same plan.

    Parameters
    ----------
    colours : DataFrame
        Columns colour and family.
    tiles : int
    tile_format : TileFormat
    setting : PairSetting, optional
    counts : sequence of int
        Firing counts that pairs are judged at, and patches graded at.
    graders : int
    targets : DataFrame, optional
        Columns base, overlay and weight: the pairs that matter. All count alike by default.
    wrong_costs : float
        What a wrong 'fine edge' costs, in right verdicts missed.
    not_bases : collection of str
        Colours that are laid under nothing.
    seed : int
    learned : mapping of str to LearnedPrior, optional
        As for `known_beforehand`.
    progress : callable, optional
        Called with a sentence now and then.

    Returns
    -------
    DataFrame
        Columns tile, stripe (of its tile, from 1), small, base, overlay; a row per patch.

    Raises
    ------
    Misuse
        When no such plan exists; the message says what would.
    """
    known = known_beforehand(
        checked_colours(colours), setting or PairSetting(), counts, len(counts) * graders, learned
    )
    task = survey_task(known, targets, wrong_costs, not_bases)
    return survey_plan(known, task, tile_format.places(tiles), seed, progress).frame(known)


def survey_task(
    known: PairKnowledge,
    targets: pd.DataFrame | None,
    wrong_costs: float = 0.0,
    not_bases: Collection[str] = (),
) -> Task:
    """Weights of the pairs; every colour of a pair that matters should appear."""
    c = len(known.colours)
    may_be_base = np.array([name not in set(not_bases) for name in known.colours])
    allowed = may_be_base[:, None] & ~np.eye(c, dtype=bool)
    weight = pair_weights(known, targets)
    wanted = weight.reshape(c, c) > 0
    bases, overlays = (np.asarray(wanted.any(axis=axis), dtype=bool) for axis in (1, 0))
    return Task(weight, allowed, bases & may_be_base, overlays, wrong_costs)


def pair_weights(known: PairKnowledge, targets: pd.DataFrame | None) -> Floats:
    """How much each pair matters, (c²,); a colour on itself does not.

    Raises
    ------
    Misuse
        When no pair matters.
    """
    c = len(known.colours)
    apart = (~np.eye(c, dtype=bool)).ravel().astype(float)
    if targets is None:
        return apart
    weight = np.zeros(c * c)
    weight[known.numbers(targets)] = targets.get("weight", 1.0)
    if not (weight * apart).any():
        raise Misuse("Wish for at least one pair of two different colours.")
    wished: Floats = weight * apart
    return wished


def survey_plan(
    known: PairKnowledge,
    task: Task,
    places: Places,
    seed: int,
    progress: Callable[[str], None] | None = None,
) -> Chosen:
    """Search from several beginnings, fewer where the plan is large."""
    rng = np.random.default_rng(seed)
    starts = int(np.clip(200 // len(places.stripe), 1, 3))
    found = []
    for start in range(starts):
        if progress:
            progress(f"Choosing patches: plan {start + 1} of {starts}.")
        found.append(best_patches(known, task, places, rng))
    return max(found, key=lambda plan: plan.value)
