"""The honesty benchmark: its figures are what they say, and it runs unchanged on a cluster."""

import importlib.util
import sys
from pathlib import Path

import joblib
import numpy as np
import pandas as pd
import pytest
from dask.distributed import Client, LocalCluster

from kit.model import FINE_EDGE, HIT_OR_MISS, NOT_KNOWN, SOFT_EDGE

SCRIPT = Path(__file__).parents[1] / "benchmarks" / "bench_honesty.py"

pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(scope="module")
def bench():
    spec = importlib.util.spec_from_file_location("bench_honesty", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    sys.modules["bench_honesty"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def measured(bench):
    return bench.measure(range(6), [bench.Kind(48, 2)])


def test_a_dask_cluster_gives_the_same_figures_as_one_process(bench):
    kinds = [bench.Kind(36, 1)]
    alone = bench.measure(range(2), kinds)
    cluster = LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
    )
    with cluster, Client(cluster), joblib.parallel_config("dask"):
        together = bench.measure(range(2), kinds, jobs=2)
    numbers = alone.select_dtypes("number").columns
    assert np.allclose(alone[numbers], together[numbers])
    assert alone["verdict"].equals(together["verdict"])


def test_a_random_series_fires_distinct_pairs_and_no_colour_over_itself(bench):
    series = bench.random_series(bench.Kind(72, 2), seed=1)
    laid = series.patches.merge(series.tiles[["tile", "base"]], on="tile")
    assert len(laid) == 72
    assert (laid["base"] != laid["overlay"]).all()
    assert not laid.duplicated(["tile", "overlay"]).any()
    assert len(series.settings.graders) == 2


def test_calibration_error_is_the_mean_distance_from_the_truth(bench):
    stated = pd.Series([0.05, 0.05, 0.95, 0.95])
    table = bench.calibration(stated, pd.Series([0.15, 0.15, 0.95, 0.95]))
    assert bench.calibration_error(table) == pytest.approx(0.05)


def test_right_is_counted_strictly_and_leniently(bench, measured):
    rows = measured.iloc[:4].assign(
        verdict=[FINE_EDGE, NOT_KNOWN, NOT_KNOWN, SOFT_EDGE],
        true_verdict=[FINE_EDGE, HIT_OR_MISS, SOFT_EDGE, HIT_OR_MISS],
    )
    found = bench.figures(rows)
    assert found["given"] == 50
    assert found["right"] == 25
    assert found["right or rightly open"] == 50
    assert found["wrong of given"] == 50


def test_chances_over_a_few_studios_are_near_the_truth(bench, measured):
    found = bench.figures(measured)
    assert max(v for name, v in found.items() if name.startswith("error")) < 0.08
    assert found["cover"] > 75
    assert found["wrong of given"] < 20
    assert found["log score"] > -0.6
    assert "| 48 patches, 2 graders |" in bench.report(measured)


def test_the_reliability_picture_repeats_exactly(bench, measured, tmp_path):
    for name in ("one.svg", "two.svg"):
        bench.draw_reliability(measured, tmp_path / name)
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()
