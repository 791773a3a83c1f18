"""The button by which a notebook writes a plan into its series."""

from kit.record import plan_saver
from kit.series import new_series, read_series


def test_plan_is_written_by_a_tap_and_never_over_another(series, tmp_path):
    folder = new_series("fresh", series.settings, series.colours).write(tmp_path / "fresh")
    button, told = plan_saver(folder, series).children
    assert read_series(folder).tiles.empty
    button.click()
    assert "Written." in told.value
    assert len(read_series(folder).tiles) == len(series.tiles)
    assert "already" in plan_saver(folder, series).value
