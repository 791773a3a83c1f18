"""Processor time of pair surveys, and what their search is worth.

Right verdicts to expect, in per cent of all pairs, from the models' prior: of bases and overlays
drawn at random, of colours dealt evenly, of patches exchanged until the mean variance of pairs is
least, and of the survey, which weighs each pair's variance by what less of it is worth in verdicts.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_survey.py
"""

import time

import numpy as np
import pandas as pd

from kit.design.surveys import (
    TileFormat,
    dealt_evenly,
    known_beforehand,
    survey_plan,
    survey_task,
)
from kit.design.surveys.patch_exchange import AverageVariance, Bench, SurveySearch, View
from kit.design.surveys.verdict_search import value_of
from kit.model import PairSetting

SIZES = ((12, 9), (12, 12), (12, 18), (40, 40))
FORMATS = {"one base": TileFormat(), "stripes": TileFormat(stripes=3)}
RANDOM = 10


def stock(colours: int) -> pd.DataFrame:
    family = np.where(np.arange(colours) < colours / 2, "leaded", "unleaded")
    return pd.DataFrame({"colour": [f"colour {n}" for n in range(colours)], "family": family})


def row(colours: int, tiles: int, name: str) -> dict[str, object]:
    known = known_beforehand(stock(colours), PairSetting(), (1, 2, 3), 3)
    task, places = survey_task(known, None), FORMATS[name].places(tiles)
    rng = np.random.default_rng(1)

    def right(pair: np.ndarray) -> float:
        return round(100 * value_of(known, task, pair, places) / len(known.judged), 1)

    def at_random() -> np.ndarray:
        base = rng.integers(0, colours, places.stripes)[places.stripe]
        return base * colours + (base + rng.integers(1, colours, len(base))) % colours

    even = dealt_evenly(known, task, places, rng)
    score = known.scores[0]
    view = View(
        score.covariance,
        score.tile_variance,
        score.stripe_variance,
        score.noise_variance,
        score.small_variance,
        AverageVariance(score.covariance, task.weight / task.weight.sum()),
    )
    _, first = np.unique(places.stripe, return_index=True)
    bench = Bench((view,), places, task.allowed, task.bases, task.overlays)
    search = SurveySearch(bench, even[first] // colours, even % colours)
    search.improve(rng, 8, 200)
    start = time.process_time()
    chosen = survey_plan(known, task, places, 1).pair(colours)
    seconds = time.process_time() - start
    return {
        "colours": colours,
        "tiles": tiles,
        "format": name,
        "patches": len(places.stripe),
        "random": np.mean([right(at_random()) for _ in range(RANDOM)]).round(1),
        "even": right(even),
        "least variance": right(search.pair),
        "survey": right(chosen),
        "survey, CPU s": round(seconds, 1),
    }


def main() -> None:
    rows = [row(colours, tiles, name) for colours, tiles in SIZES for name in FORMATS]
    print(pd.DataFrame(rows).to_string(index=False))


if __name__ == "__main__":
    main()
