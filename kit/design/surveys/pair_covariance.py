"""All ordered pairs as one normal vector: what is known of one pair tells of the others.

With base family B, overlay family O, base colour b and overlay colour o, the value of a pair is

    f[b, o] = family[B, O] + u_base[b] + u_overlay[o] + u_pair[b, o]

and a patch of it on tile t shows y = f[b, o] + u_tile[t] + e. Before anything is fired every term
is normal about zero, so f has a covariance matrix; after a fit f has another. A plan is judged by
what firing it leaves of that covariance (Henderson 1975, Biometrics 31, 423-447, gives the same
variances by the mixed-model equations).
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.design.standard_deviations import StandardDeviations
from kit.errors import Misuse
from kit.wording import listed

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class PairField:
    """The values of all ordered pairs and how sure they are.

    Parameters
    ----------
    colours : tuple of str
        Their order; the pair of base i and overlay j of c colours has number i * c + j.
    covariance : (c², c²) array
        Covariance of the pairs' values, in grades².
    """

    colours: tuple[str, ...]
    covariance: Floats

    @property
    def pairs(self) -> pd.DataFrame:
        """The base and overlay of each pair, in the order of the covariance."""
        c = len(self.colours)
        names = np.array(self.colours, dtype=object)
        frame = pd.DataFrame({"base": np.repeat(names, c), "overlay": np.tile(names, c)})
        return frame.astype("str")

    def numbers(self, pairs: pd.DataFrame) -> Ints:
        """Pair numbers of the rows of a frame with columns base and overlay.

        Raises
        ------
        Misuse
            When a colour is not one of the field's.
        """
        place = {colour: i for i, colour in enumerate(self.colours)}
        unknown = sorted({*pairs["base"], *pairs["overlay"]} - set(place))
        if unknown:
            raise Misuse(
                f"{listed([str(name) for name in unknown])}: not in the list of colours. "
                "Check the spelling, or add the colour to the list."
            )
        base = pairs["base"].map(place).to_numpy(dtype=np.intp)
        overlay = pairs["overlay"].map(place).to_numpy(dtype=np.intp)
        return base * len(self.colours) + overlay


def checked_colours(colours: pd.DataFrame) -> pd.DataFrame:
    """Return the colours if each has a name of its own and a family.

    Raises
    ------
    Misuse
    """
    missing = {"colour", "family"} - set(colours.columns)
    if missing:
        raise Misuse(f"The colours need the column {listed(sorted(missing))}.")
    twice = sorted(colours.loc[colours["colour"].duplicated(), "colour"].unique())
    if twice:
        raise Misuse(f"Each colour is listed once; {listed(twice)} is there more than once.")
    if colours["family"].isna().any():
        names = listed(colours.loc[colours["family"].isna(), "colour"].tolist())
        raise Misuse(f"Every colour has a family, leaded or unleaded; {names} has none.")
    if len(colours) < 2:
        raise Misuse("A pair needs two colours: list at least two.")
    return colours


def unfired_field(colours: pd.DataFrame, sds: StandardDeviations) -> PairField:
    """The pairs as they stand before anything is fired.

    Parameters
    ----------
    colours : DataFrame
        Columns colour and family.
    sds : StandardDeviations
    """
    c = len(colours)
    base, overlay = np.divmod(np.arange(c * c), c)
    family = pd.factorize(colours["family"])[0]
    cell = family[base] * (family.max() + 1) + family[overlay]
    covariance = (
        sds.family**2 * _alike(cell)
        + sds.base**2 * _alike(base)
        + sds.overlay**2 * _alike(overlay)
        + sds.pair**2 * np.eye(c * c)
    )
    return PairField(tuple(colours["colour"].astype("str")), covariance)


def fired_field(
    field: PairField, patches: pd.DataFrame, sds: StandardDeviations, grades_per_patch: int = 3
) -> PairField:
    """The pairs as they would stand after firing and grading patches.

    Parameters
    ----------
    field : PairField
        As they stand now.
    patches : DataFrame
        Columns tile, base and overlay.
    sds : StandardDeviations
    grades_per_patch : int

    Returns
    -------
    PairField
        Its covariance is V - C' K⁻¹ C, with V the covariance now, C that of patches with pairs
        and K that of patches with each other.
    """
    if patches.empty:
        return field
    fired = field.numbers(patches)
    tile = patches["tile"].to_numpy()
    seen = field.covariance[np.ix_(fired, fired)] + sds.tile**2 * _alike(tile)
    seen += sds.noise_variance(grades_per_patch) * np.eye(len(fired))
    shared = field.covariance[fired]
    half = np.linalg.solve(np.linalg.cholesky(seen), shared)
    return PairField(field.colours, field.covariance - half.T @ half)


def _alike(labels: NDArray) -> Floats:
    return (labels[:, None] == labels[None, :]).astype(float)
