"""How well photographs of the demo series carry its truth into the models.

Photographs the tiles of the demo series in the invented studio, measures them as anyone would,
and prints how far the measurements are off, what a step of each scale comes to, and how the
verdicts from photographs compare with those from grades and with the truth's own.

Run: python tests/benchmarks/bench_measured.py [tiles]
"""

import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from kit.model import (
    BROKEN_THROUGH,
    ENDINGS,
    FINE_EDGE,
    MEASURE_OF,
    NOT_KNOWN,
    SOFT_EDGE,
    PairSetting,
    grades_against_measurements,
)
from kit.photo import measure_series
from kit.report import analyse
from kit.series import Series, read_series
from kit.studio import Camera, Truth, demo_truth, photograph_series
from kit.studio.demo import FIRING_SEED
from kit.studio.photo_shoot import pull_through_share, spread_mm

DEMO = Path(__file__).parents[2] / "data" / "demo"
CAMERA = Camera(width_px=1600, height_px=1200)
DRAWS = 4000


def true_shares(truth: Truth, pairs: pd.DataFrame, setting: PairSetting) -> pd.DataFrame:
    """Share of each pair's patches that come to each ending, by the rule that drew the pictures."""
    recipe = pairs.assign(mesh=setting.mesh, coat_weight=setting.coat_weight)
    random = np.random.default_rng(0)
    shown = {}
    for scale, rule in (("spread", spread_mm), ("pull_through", pull_through_share)):
        own = truth.scales[scale]
        varies = np.sqrt(own.tile_sd**2 + own.patch_sd**2 + own.session_sd**2)
        patches = varies * random.normal(size=DRAWS)
        shown[scale] = rule(truth.latent(recipe, scale)[:, None] + patches)
    covered = shown["pull_through"] <= setting.fine_edge_share
    fine = (covered & (shown["spread"] <= setting.fine_edge_mm)).mean(axis=1)
    shares = {FINE_EDGE: fine, SOFT_EDGE: covered.mean(axis=1) - fine}
    return pairs.assign(**shares, **{BROKEN_THROUGH: 1 - covered.mean(axis=1)})


def say_errors(measurements: pd.DataFrame, truth: pd.DataFrame) -> None:
    both = measurements.merge(truth, on=["patch", "picture"], suffixes=("", "_true"))
    print(both["quality"].value_counts().to_dict())
    kept = both[both["quality"].isin(["good", "fair"])]
    for measure in MEASURE_OF.values():
        off = kept[measure] - kept[f"{measure}_true"]
        rms = float(np.sqrt((off**2).mean()))
        print(f"{measure}: bias {off.mean():+.4f}, rms {rms:.4f}, of {len(off)}")


def say_meaning(series: Series, truth: Truth) -> None:
    analysis = analyse(series)
    for scale, measure in MEASURE_OF.items():
        told = grades_against_measurements(
            analysis.observations, analysis.photographs.measurements, scale, measure
        )
        print("\n".join(told.sentences))
    pairs = analysis.photographs.judged.table
    true = true_shares(truth, pairs, PairSetting.of(series.settings.verdict))
    for ending in ENDINGS:
        mine = true.loc[pairs["verdict"] == ending, ending]
        print(f"{ending}: {len(mine)} verdicts, the true share of patches {mine.mean():.3f}")
    keys = ["base", "overlay", "firings"]
    graded = analyse(series, photographs=False).pairs
    both = pairs.merge(graded, on=keys, suffixes=("", "_graded"))
    known = (both["verdict"] != NOT_KNOWN) & (both["verdict_graded"] != NOT_KNOWN)
    same = int((both["verdict"] == both["verdict_graded"])[known].sum())
    left = [int((both[name] == NOT_KNOWN).sum()) for name in ("verdict", "verdict_graded")]
    print(f"not known: {left[0]} by photographs, {left[1]} by grades, of {len(both)}")
    print(f"a verdict by both: {known.sum()}, the same for {same}")


def main(tiles: int) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "data" / "demo"
        shutil.copytree(DEMO, folder)
        series, truth = read_series(folder), demo_truth()
        start = time.process_time()
        chosen = series.tiles["tile"].head(tiles)
        taken = photograph_series(series, truth, folder, FIRING_SEED, tiles=chosen, camera=CAMERA)
        spent = time.process_time() - start
        print(f"{len(taken.pictures)} photographs drawn, {spent / len(taken.pictures):.1f} s each")
        measured = measure_series(folder)
        print(measured.describe())
        say_errors(measured.series.measurements, taken.truth)
        say_meaning(measured.series, truth)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 24)
