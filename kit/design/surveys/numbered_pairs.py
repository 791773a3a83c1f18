"""The colours of a survey, and the numbers of their ordered pairs."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.errors import Misuse
from kit.wording import listed

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def pair_numbers(colours: Sequence[str], pairs: pd.DataFrame) -> Ints:
    """Numbers of ordered pairs: base i and overlay j of c colours have number i * c + j.

    Parameters
    ----------
    colours : sequence of str
    pairs : DataFrame
        Columns base and overlay.

    Raises
    ------
    Misuse
        When a colour is not in the list.
    """
    place = {colour: i for i, colour in enumerate(colours)}
    unknown = sorted({*pairs["base"], *pairs["overlay"]} - set(place))
    if unknown:
        raise Misuse(
            f"{listed([str(name) for name in unknown])}: not in the list of colours. "
            "Check the spelling, or add the colour to the list."
        )
    base = pairs["base"].map(place).to_numpy(dtype=np.intp)
    overlay = pairs["overlay"].map(place).to_numpy(dtype=np.intp)
    numbers: Ints = base * len(colours) + overlay
    return numbers


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
