"""Who shares a tile, a patch and a sitting, and what that does to the precision."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kit.errors import Misuse


@dataclass(frozen=True)
class Spread:
    """How much tiles, sessions and patches differ, as ratios to one patch's own variance.

    Parameters
    ----------
    tile : float
        Variance between tiles over the variance of a grade within a tile.
    session : float
        Likewise between sessions.
    patch : float
        Likewise between patches, where a patch is graded more than once.
    """

    tile: float = 1.0
    session: float = 0.0
    patch: float = 0.0

    def __post_init__(self) -> None:
        for name, ratio in vars(self).items():
            if not (np.isfinite(ratio) and ratio >= 0):
                raise Misuse(f"The {name} variance ratio must be 0 or more, not {ratio}.")


@dataclass(frozen=True)
class Structure:
    """The grades of a plan, each with the tile, patch and session that it belongs to.

    Parameters
    ----------
    tile, patch, session : numpy.ndarray of int, shape (n,)
        Rows of the same tile lie together.
    spread : Spread
    """

    tile: np.ndarray
    patch: np.ndarray
    session: np.ndarray
    spread: Spread

    @property
    def n(self) -> int:
        return len(self.tile)

    @cached_property
    def precision(self) -> np.ndarray:
        """W, the inverse of V = I + sum of ratio x Z Z' over tiles, sessions and patches, (n, n).

        Notes
        -----
        The split plot's V = I + d Z Z' is that of Jones and Goos (2007), A candidate-set-free
        algorithm for generating D-optimal split-plot designs, Applied Statistics 56.
        """
        v = np.eye(self.n)
        for group, ratio in (
            (self.tile, self.spread.tile),
            (self.session, self.spread.session),
            (self.patch, self.spread.patch),
        ):
            v += ratio * (group[:, None] == group)
        return np.linalg.inv(v)

    def block(self, rows: np.ndarray) -> np.ndarray:
        """Rows whose grades are correlated with those of the rows given."""
        group = self.session if self.spread.session else self.tile
        return np.flatnonzero(np.isin(group, group[rows]))


def structure(
    tile_sizes: list[int], repeats: int, tiles_per_session: int | None, spread: Spread
) -> Structure:
    """Lay out tiles of so many patches, each graded `repeats` times, fired in sessions."""
    tile = np.repeat(np.arange(len(tile_sizes)), np.array(tile_sizes) * repeats)
    patch = np.repeat(np.arange(sum(tile_sizes)), repeats)
    session = tile // (tiles_per_session or len(tile_sizes))
    return Structure(tile, patch, session, spread)
