"""A series is found by its name from anywhere inside the studio's folder."""

import pytest

from kit.errors import Misuse
from kit.series import report_folder, series_folder


def test_by_name_from_below(tmp_path):
    (tmp_path / "data").mkdir()
    (tmp_path / "notebooks" / "deep").mkdir(parents=True)
    found = series_folder("autumn", tmp_path / "notebooks" / "deep")
    assert found == tmp_path / "data" / "autumn"
    assert report_folder(found) == tmp_path / "reports" / "autumn"


def test_a_name_that_climbs_is_refused(tmp_path):
    with pytest.raises(Misuse):
        series_folder("..", tmp_path)


def test_a_report_needs_a_place(tmp_path):
    with pytest.raises(Misuse, match="data"):
        report_folder(tmp_path / "elsewhere" / "autumn")
