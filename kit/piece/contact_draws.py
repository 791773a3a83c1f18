"""What the contacts of a piece come to, drawn from all that the graded series know."""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.mixed import Array
from kit.model import (
    ENDINGS,
    EndingDraws,
    PairSetting,
    ScaleFit,
    VerdictRule,
    ending_draws,
    fit_series,
    reasons_beyond,
    recipes,
    score_correlation,
    with_refirings,
)
from kit.piece.recipe import BASE, Piece, as_wanted
from kit.series import PULL_THROUGH, SPREAD, Series

DRAWS = 512
"""Equally likely states of knowledge; a power of two."""
TILES = 4
"""Pieces made in each state of knowledge where what is said has to be sure."""
SEED = 20
"""Of the draws that a change is chosen on; `CHECK_SEED` of those that it is scored on."""
CHECK_SEED = 41

ON_OVERLAY = "below lies one stencilled coat, where test tiles have a whole base"

_OF_BASE = ("base_coats", "base_mesh", "base_coat_weight")

OF_PIECE = "a piece"
"""The series that a piece counts as: its contacts share jars that were not sampled."""


@dataclass(frozen=True)
class ContactRow:
    """One contact with its recipe, at one firing count.

    Parameters
    ----------
    base, overlay : str
    base_coats, base_mesh, base_coat_weight, mesh, coat_weight
        As the piece has them; weights in mg/cm².
    firings : int
    on_overlay : bool
        Whether an earlier layer, and not the base coat, lies below.
    """

    base: str
    overlay: str
    base_coats: int
    base_mesh: int
    base_coat_weight: float
    mesh: int
    coat_weight: float
    firings: int
    on_overlay: bool = False


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
    doubts : tuple of str
        What the fits could not tell apart or did not reach.
    """

    fits: Mapping[str, ScaleFit]
    families: Mapping[str, str]
    rule: VerdictRule
    rho: float
    doubts: tuple[str, ...] = ()

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
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always")
            fits = {score: fit_series(graded, score) for score in (SPREAD.name, PULL_THROUGH.name)}
        stock = pd.concat([one.colours for one in several])
        families = dict(zip(stock["colour"], stock["family"], strict=True))
        rule = PairSetting.of(leading(graded).settings.verdict).rule
        doubts = dict.fromkeys(str(warning.message) for warning in said)
        return cls(fits, families, rule, score_correlation(*fits.values()), tuple(doubts))

    def levels(self, factor: str) -> list[float]:
        """Levels of a factor that were fired, in order."""
        seen = [fit.frame[factor] for fit in self.fits.values() if factor in fit.frame]
        return sorted(set(pd.concat(seen).astype(float))) if seen else []

    def frame(self, rows: Sequence[ContactRow]) -> pd.DataFrame:
        """The rows as the models need them; the piece counts as a series, with jars of its own."""
        own = pd.DataFrame([asdict(row) for row in rows]).drop(columns="on_overlay")
        pairs = own[["base", "overlay"]].assign(
            base_family=own["base"].map(self.families),
            overlay_family=own["overlay"].map(self.families),
        )
        usual = recipes(pairs, PairSetting(), [1], self.fits)
        return with_refirings(usual.assign(**own, series=OF_PIECE))

    def beyond(self, rows: Sequence[ContactRow]) -> list[tuple[str, ...]]:
        """What of each row lies beyond anything that was fired, in words."""
        frame = self.frame(rows)
        told = []
        for place, row in enumerate(rows):
            own = frame.iloc[[place]]
            if row.on_overlay:
                _, reasons = reasons_beyond(own.drop(columns=list(_OF_BASE)), self.fits)
                told.append((*reasons, ON_OVERLAY))
            else:
                told.append(reasons_beyond(own, self.fits)[1])
        return told

    def draws(
        self, rows: Sequence[ContactRow], seed: int, draws: int = DRAWS, tiles: Sequence[int] = (0,)
    ) -> EndingDraws:
        """Draw what the stencils of each row come to, all on one piece or one tile.

        Parameters
        ----------
        rows : sequence of ContactRow
        seed : int
            Of all that is not known of colours, factors and cuts.
        draws : int
            A power of two: states of knowledge.
        tiles : sequence of int
            Of each of these, a tile and session of its own is drawn in every state.

        Returns
        -------
        EndingDraws
            All states on the first tile, then all on the second, ...
        """
        recipe = self.frame(rows)
        return ending_draws(self.fits, recipe, self.rule, self.rho, draws, seed, tiles)


def leading(several: Sequence[Series]) -> Series:
    """The series whose settings speak for all: the one with most patches, which no sample is."""
    return max(several, key=lambda one: len(one.patches))


def chance_as_wanted(drawn: EndingDraws, wanted: str) -> Array:
    """Chance within each draw that one stencil ends as wanted, a (draws, n) array."""
    good = [ending for ending in ENDINGS if as_wanted(wanted, ending)]
    chance: Array = sum((drawn.chance(ending) for ending in good), np.zeros(1))
    return np.clip(chance, 0.0, 1.0)


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
        colour,
        upper.overlay,
        coats,
        mesh,
        weight,
        upper.mesh,
        upper.coat_weight,
        firings,
        on_overlay=under != BASE,
    )
