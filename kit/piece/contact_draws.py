"""Joint draws of what the contacts of a piece come to, under everything that is not known.

Within one draw the contacts share what is not known of colours, families and firings, and the one
tile and one session that the piece is; what is left to each stencil is what varies from patch to
patch. So a piece's chance is worked out inside each draw and averaged last, and no two contacts
are taken for independent that are not.
"""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr

from kit.errors import ExtrapolationWarning, Misuse
from kit.mixed import Array
from kit.model import (
    BROKEN_THROUGH,
    FINE_EDGE,
    PairSetting,
    ScaleFit,
    VerdictRule,
    beyond_what_was_fired,
    both_below,
    fit_series,
    recipes,
    score_correlation,
)
from kit.piece.recipe import BASE, NOT_BROKEN, Piece
from kit.series import PULL_THROUGH, SPREAD, Series

SCORES = (SPREAD.name, PULL_THROUGH.name)
SHARED = ("tile", "session")
OWN = ("patch",)
DRAWS = 512
"""Equally likely states of knowledge; a power of two."""

_LEAST_SD = 1e-6


@dataclass(frozen=True)
class ContactRow:
    """One contact with its recipe, at one firing count.

    Parameters
    ----------
    base, overlay : str
    base_coats, base_mesh, base_coat_weight, mesh, coat_weight
        As the piece has them; weights in mg/cm².
    firings : int
    """

    base: str
    overlay: str
    base_coats: int
    base_mesh: int
    base_coat_weight: float
    mesh: int
    coat_weight: float
    firings: int


@dataclass(frozen=True, eq=False)
class EndingShares:
    """What a stencil of each row comes to, draw by draw.

    Parameters
    ----------
    fine, broken : (draws, n) arrays
        Chance within the draw that a stencil keeps a fine edge, and that it is broken through.
    """

    fine: Array
    broken: Array

    def wanted(self, wish: str, row: int) -> Array:
        """Chance, draw by draw, that one stencil of a row ends as wanted."""
        chance = {
            FINE_EDGE: self.fine[:, row],
            BROKEN_THROUGH: self.broken[:, row],
            NOT_BROKEN: 1 - self.broken[:, row],
        }.get(wish)
        return np.maximum(1 - self.fine - self.broken, 0)[:, row] if chance is None else chance

    def chances(self, row: int) -> tuple[float, float, float]:
        """Chances of fine edge, soft edge and broken through for one stencil of a row."""
        fine, broken = float(self.fine[:, row].mean()), float(self.broken[:, row].mean())
        return fine, max(0.0, 1 - fine - broken), broken


@dataclass(frozen=True, eq=False)
class Knowledge:
    """All that the graded series know, in the form that pieces are judged by.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
        Of spread and pull-through.
    families : mapping of str to str
        Family of every colour in stock.
    rule : VerdictRule
    rho : float
        Correlation of a patch's states on the two scores.
    """

    fits: Mapping[str, ScaleFit]
    families: Mapping[str, str]
    rule: VerdictRule
    rho: float

    @classmethod
    def of(cls, several: Sequence[Series]) -> "Knowledge":
        """Fit both scores to the series together.

        Raises
        ------
        Misuse
            When nothing was graded yet.
        """
        graded = [one for one in several if len(one.grades)]
        if not graded:
            raise Misuse(
                "No series was graded yet, so nothing can be said about a piece. Fire and grade "
                "a series first: kit new"
            )
        fits = {score: fit_series(graded, score) for score in SCORES}
        stock = pd.concat([one.colours for one in several])
        families = dict(zip(stock["colour"], stock["family"], strict=True))
        rule = PairSetting.of(graded[-1].settings.verdict).rule
        return cls(fits, families, rule, score_correlation(*(fits[s] for s in SCORES)))

    def frame(self, rows: Sequence[ContactRow]) -> pd.DataFrame:
        """The rows as the models need them."""
        parts = []
        for row in rows:
            pair = pd.DataFrame(
                {
                    "base": [row.base],
                    "overlay": [row.overlay],
                    "base_family": [self.families[row.base]],
                    "overlay_family": [self.families[row.overlay]],
                }
            )
            setting = PairSetting(
                mesh=row.mesh,
                coat_weight=row.coat_weight,
                base_mesh=row.base_mesh,
                base_coat_weight=row.base_coat_weight,
            )
            recipe = recipes(pair, setting, [row.firings], self.fits)
            parts.append(recipe.assign(base_coats=row.base_coats))
        return pd.concat(parts, ignore_index=True)

    def beyond(self, rows: Sequence[ContactRow]) -> Array:
        """Which rows lie beyond anything that was fired, an (n,) array of bool."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ExtrapolationWarning)
            return beyond_what_was_fired(self.frame(rows), self.fits)

    def shares(
        self, rows: Sequence[ContactRow], seed: int, draws: int = DRAWS
    ) -> EndingShares:
        """Draw what the stencils of each row come to.

        Parameters
        ----------
        rows : sequence of ContactRow
            All on one piece: one tile, fired in one session.
        seed : int
        draws : int
            A power of two.
        """
        frame = self.frame(rows)
        shared = np.random.default_rng(seed).standard_normal((draws, 2))
        shared[:, 1] = self.rho * shared[:, 0] + np.sqrt(1 - self.rho**2) * shared[:, 1]
        bounds = {}
        for k, score in enumerate(SCORES):
            results = self.fits[score].results
            new = dict(zip(results.random_sd, results.posterior.new_var, strict=True))
            groups = [name for name in (*SHARED, *OWN) if name in new]
            drawn = results.latent_draws(frame, groups, draws=draws, seed=2 * seed + k)
            total = sum(new[name] for name in groups)
            common = sum(new[name] for name in groups if name in SHARED) / max(total, _LEAST_SD)
            value = drawn.value + np.sqrt(common) * drawn.noise_sd * shared[:, [k]]
            own = np.maximum(np.sqrt(1 - common) * drawn.noise_sd, _LEAST_SD)
            bounds[score] = [
                (drawn.cuts[:, [step]] - value) / own
                for step in (self.rule.fine_edge_at_most, self.rule.breaks_through_from - 1)
            ]
        fine = both_below(bounds[SPREAD.name][0], bounds[PULL_THROUGH.name][0], self.rho)
        broken = 1 - _below(bounds[PULL_THROUGH.name][1])
        return EndingShares(fine, np.minimum(broken, 1 - fine))


def contact_row(piece: Piece, layer: str, under: str, firings: int) -> ContactRow:
    """A contact of a piece with its recipe, fired so often.

    What lies below a layer counts as the base of the pair; an earlier layer has one coat only.
    """
    upper = piece.layer(layer)
    if under == BASE:
        colour, coats = piece.base.colour, piece.base.coats
        mesh, weight = piece.base.mesh, piece.base.coat_weight
    else:
        lower = piece.layer(under)
        colour, coats, mesh, weight = lower.overlay, 1, lower.mesh, lower.coat_weight
    return ContactRow(
        colour, upper.overlay, coats, mesh, weight, upper.mesh, upper.coat_weight, firings
    )


def _below(bound: Array) -> Array:
    chance: Array = ndtr(bound)
    return chance
