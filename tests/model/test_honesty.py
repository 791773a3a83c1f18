"""The honesty benchmark runs unchanged on a cluster, here a local one."""

import importlib.util
import sys
from pathlib import Path

import joblib
import numpy as np
import pandas as pd
import pytest
from dask.distributed import Client, LocalCluster

SCRIPT = Path(__file__).parents[1] / "benchmarks" / "bench_honesty.py"

pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(scope="module")
def bench():
    spec = importlib.util.spec_from_file_location("bench_honesty", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    sys.modules["bench_honesty"] = module
    spec.loader.exec_module(module)
    return module


def test_a_dask_cluster_gives_the_same_figures_as_one_process(bench, monkeypatch):
    monkeypatch.setattr(bench, "KINDS", (bench.Kind("small", 6, 8, 2),))
    monkeypatch.setattr(bench, "PLANS", 1)
    alone = bench.measure(range(2), jobs=1)
    cluster = LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
    )
    with cluster, Client(cluster), joblib.parallel_config("dask"):
        together = bench.measure(range(2), jobs=2)
    numbers = alone.select_dtypes("number").columns
    assert np.allclose(alone[numbers], together[numbers])
    assert alone["verdict"].equals(together["verdict"])
    assert "90 % intervals" in bench.report(alone)


def test_calibration_error_is_the_mean_distance_from_the_truth(bench):
    stated = pd.Series([0.05, 0.05, 0.95, 0.95])
    table = bench.calibration(stated, pd.Series([0.15, 0.15, 0.95, 0.95]))
    assert bench.calibration_error(table) == pytest.approx(0.05)
