"""Who shares a tile and a sitting, and what that does to the precision."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kit.errors import Misuse


@dataclass(frozen=True)
class VarianceRatios:
    """How much tiles, sessions and patches differ, as ratios to one patch's own variance.

    Parameters
    ----------
    tile : float
        Variance between tiles over the variance of a grade within a tile.
    session : float
        Likewise between sessions.
    """

    tile: float = 1.0
    session: float = 0.0

    def __post_init__(self) -> None:
        for name, ratio in vars(self).items():
            if not (np.isfinite(ratio) and ratio >= 0):
                raise Misuse(f"The {name} variance ratio must be 0 or more, not {ratio}.")


@dataclass(frozen=True)
class CovarianceStructure:
    """The patches of a plan, each with the tile and session that it belongs to.

    Parameters
    ----------
    tile, session : numpy.ndarray of int, shape (n,)
        Rows of the same tile lie together.
    ratios : VarianceRatios
    """

    tile: np.ndarray
    session: np.ndarray
    ratios: VarianceRatios

    @property
    def n(self) -> int:
        return len(self.tile)

    @cached_property
    def precision(self) -> np.ndarray:
        """W, the inverse of V = I + sum of ratio x Z Z' over tiles and sessions, (n, n).

        Notes
        -----
        The split plot's V = I + d Z Z' is that of Jones and Goos (2007), A candidate-set-free
        algorithm for generating D-optimal split-plot designs, Applied Statistics 56.
        """
        v = np.eye(self.n)
        for group, ratio in (
            (self.tile, self.ratios.tile),
            (self.session, self.ratios.session),
        ):
            v += ratio * (group[:, None] == group)
        return np.linalg.inv(v)

    def block(self, rows: np.ndarray) -> np.ndarray:
        """Rows whose grades are correlated with those of the rows given."""
        group = self.session if self.ratios.session else self.tile
        return np.flatnonzero(np.isin(group, group[rows]))


def structure(
    tiles: int, patches_per_tile: int, tiles_per_session: int | None, ratios: VarianceRatios
) -> CovarianceStructure:
    """Lay out tiles of so many patches, fired in sessions."""
    tile = np.repeat(np.arange(tiles), patches_per_tile)
    return CovarianceStructure(tile, tile // (tiles_per_session or tiles), ratios)
