"""Which prior foretells new patches best, over a wide population of invented studios?

Each prior is given to the same studios (`bench_honesty.py`), and scored by the mean log of the
chance that it gave to what a new patch then comes to. The one that the kit takes is the best of
them that also covers as stated.

    python tests/benchmarks/bench_prior.py 24
"""

import sys

import pandas as pd
from bench_honesty import Kind, by_kind, measure

from kit.mixed import Prior

PRIORS = [(2.0, 2.0), (4.0, 3.0), (4.0, 3.5), (4.0, 4.0), (3.0, 3.5), (6.0, 3.5)]
"""Standard deviation of effects, and rate of standard deviations."""

KINDS = (Kind(36, 2), Kind(72, 1), Kind(72, 2))
SHOWN = ["log score", "error fine edge", "cover", "given", "right or rightly open"]


def compare(studios: int) -> pd.DataFrame:
    """The figures of each prior, a row for each kind of series."""
    rows = []
    for effect_sd, rate in PRIORS:
        pairs = measure(range(studios), KINDS, Prior(effect_sd=effect_sd, spread_rate=rate))
        found = by_kind(pairs)[SHOWN].reset_index(names="series")
        rows.append(found.assign(effect_sd=effect_sd, spread_rate=rate))
    return pd.concat(rows, ignore_index=True)


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    table = compare(count)
    print(table[["effect_sd", "spread_rate", "series", *SHOWN]].round(3).to_string(index=False))
