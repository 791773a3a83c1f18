"""Joint draws of what patches come to that share a tile and a session, as those of one piece do.

Within one draw the rows share what is not known of colours, families and firings, and one tile and
one session; what is left to each patch is what varies from patch to patch. A chance about several
patches is worked out inside each draw and averaged last, so that none are taken for independent
that are not.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr

from kit.mixed import Array
from kit.model.correlated_scores import both_below
from kit.model.pair_states import variance_anew
from kit.model.right_hand_side import NOISE
from kit.model.series_fit import ScaleFit
from kit.model.verdict_rule import ENDINGS, VerdictRule
from kit.series import PULL_THROUGH, SPREAD

OWN = "patch"
"""The one source of variation that patches of one tile do not share."""

_LEAST_SD = 1e-6


@dataclass(frozen=True, eq=False)
class EndingDraws:
    """What a new patch of each row comes to, draw by draw.

    Parameters
    ----------
    shares : (draws, n, 3) array
        Within each draw, the chance of each of `ENDINGS`; the three sum to one.
    """

    shares: Array

    def chance(self, ending: str) -> Array:
        """Chance of one ending, a (draws, n) array."""
        return self.shares[:, :, ENDINGS.index(ending)]


def ending_draws(
    fits: Mapping[str, ScaleFit],
    recipe: pd.DataFrame,
    rule: VerdictRule,
    rho: float,
    draws: int,
    seed: int,
    tiles: Sequence[int] = (0,),
) -> EndingDraws:
    """Draw what new patches of one new tile, fired in one new session, come to.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
        Of 'spread' and 'pull_through'.
    recipe : DataFrame, n rows
        As `recipes` gives it.
    rule : VerdictRule
    rho : float
        Correlation of a patch's states on the two scores.
    draws : int
        A power of two.
    seed : int
        Of all that is not known of colours, factors and cuts.
    tiles : sequence of int
        Of each, a tile and session of its own is drawn in every draw of the rest.

    Returns
    -------
    EndingDraws
        All draws on the first tile, then all on the second, ...
    """
    eyes = np.random.default_rng(seed)
    each = [np.random.default_rng((seed, tile)).standard_normal((draws, 2)) for tile in tiles]
    shared = np.concatenate(each)
    shared[:, 1] = rho * shared[:, 0] + np.sqrt(1 - rho**2) * shared[:, 1]
    fine: list[Array] = []
    broken: list[Array] = []
    for k, score in enumerate((SPREAD.name, PULL_THROUGH.name)):
        results = fits[score].results
        seen = [name for name in NOISE if name in results.random_sd]
        drawn = results.latent_draws(recipe, seen, draws=draws, seed=2 * seed + k)
        never_seen, _ = variance_anew(results, [name for name in NOISE if name not in seen])
        anew, own = (variance_anew(results, names)[0] for names in (NOISE, [OWN]))
        total = np.maximum(drawn.noise_sd**2 + never_seen, _LEAST_SD)
        own /= max(anew, _LEAST_SD)
        once = [] if "grader" in results.random_sd else ["grader"]
        grader = np.sqrt(variance_anew(results, once)[0]) * eyes.standard_normal((draws, 1))
        total = np.tile(total, (len(tiles), 1))
        off = np.sqrt((1 - own) * total) * shared[:, [k]]
        patch_sd = np.sqrt(np.maximum(own * total, _LEAST_SD))
        for step, bounds in (
            (rule.fine_edge_at_most, fine),
            (rule.breaks_through_from - 1, broken),
        ):
            room = np.tile(drawn.cuts[:, [step]] - drawn.value - grader, (len(tiles), 1))
            bounds.append((room - off) / patch_sd)
    held = both_below(fine[0], fine[1], rho)
    through = np.minimum(ndtr(-broken[1]), 1 - held)
    return EndingDraws(np.stack([held, 1 - held - through, through], axis=2))
