"""The button by which a notebook writes a plan into its series."""

from dataclasses import replace
from types import SimpleNamespace

import pandas as pd

from kit.record import plan_saver
from kit.series import new_series, read_series


def test_plan_is_written_by_a_tap_and_never_over_another(series, tmp_path):
    planned = SimpleNamespace(series=series)
    folder = new_series("fresh", series.settings, series.colours).write(tmp_path / "fresh")
    button, told = plan_saver(folder, planned).children
    assert read_series(folder).tiles.empty
    button.click()
    assert "Written." in told.value
    assert len(read_series(folder).tiles) == len(series.tiles)
    again, _ = plan_saver(folder, planned).children
    assert again.description.startswith("Replace")
    fired = read_series(folder)
    told = {"tile": 1, "firing": 1, "session": 1, "heat": "", "accident": "", "note": ""}
    firings = pd.DataFrame([{**told, "minutes": 1.5}])[list(fired.firings)]
    firings = firings.astype(fired.firings.dtypes)
    replace(fired, firings=firings).write(folder)
    other = series.patches.assign(overlay=series.patches["overlay"].iloc[::-1].to_numpy())
    planned = SimpleNamespace(series=replace(series, patches=other))
    button, told = plan_saver(folder, planned).children
    button.click()
    assert "planned already" in told.value
