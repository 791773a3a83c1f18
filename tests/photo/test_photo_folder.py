import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from kit.errors import Misuse
from kit.photo import COLUMNS, measure_folder, photo_folder
from kit.studio import Setting


@pytest.fixture(scope="module")
def shots(good_shot, shoot, small_camera):
    """One tile after its first and its second firing."""
    small = replace(small_camera, width_px=1600, height_px=1200)
    later, _ = shoot("later.jpg", camera=small, setting=Setting(firing=2))
    return good_shot[0].read_bytes(), later.read_bytes()


@pytest.fixture(scope="module")
def once(tmp_path_factory, shots, plan):
    """A folder of good and bad files, measured once."""
    photos = tmp_path_factory.mktemp("series") / "photos"
    photos.mkdir()
    (photos / "a.jpg").write_bytes(shots[1])
    (photos / "b.jpg").write_bytes(shots[0])
    (photos / "cut.jpg").write_bytes(shots[0][:-20_000])
    (photos / "notes.txt").write_text("fired at dusk")
    (photos / "link.jpg").symlink_to("a.jpg")
    said: list[str] = []
    result = measure_folder(photos, plan, workers=1, progress=said.append)
    return photos, result, said


@pytest.fixture
def photos(once, tmp_path):
    """The same folder, elsewhere, with its memory."""
    return Path(shutil.copytree(once[0], tmp_path / "photos", symlinks=True))


@pytest.fixture
def count(monkeypatch):
    """How often a picture was really measured."""
    measured = []
    real = photo_folder.measure_picture

    def counting(path, *rest):
        measured.append(path.name)
        return real(path, *rest)

    monkeypatch.setattr(photo_folder, "measure_picture", counting)
    return measured


def test_a_folder_is_measured_in_order_of_firing_and_the_rest_is_named(once):
    _, result, said = once
    table = result.measurements
    assert tuple(table.columns) == COLUMNS
    assert table["picture"].tolist() == ["b.jpg"] * 4 + ["a.jpg"] * 4
    assert table["firing"].tolist() == [1] * 4 + [2] * 4
    assert table["patch"].tolist() == ["1-1", "1-2", "1-3", "1-4"] * 2
    # The second picture knows the first: the patches did not change, so neither did their colour.
    assert table["colour_shift"][:4].isna().all()
    assert table["colour_shift"][4:].max() < 2.5
    reasons = result.unmeasured.set_index("picture")["reason"]
    assert list(reasons.index) == ["cut.jpg", "link.jpg", "notes.txt"]
    assert "cut short" in reasons["cut.jpg"]
    assert "link" in reasons["link.jpg"]
    assert "not a picture" in reasons["notes.txt"]
    assert said[-1] == "4 of 4 pictures measured."


def test_nothing_is_measured_twice(once, photos, plan, count):
    again = measure_folder(photos, plan, workers=1)
    assert count == []
    pd.testing.assert_frame_equal(again.measurements, once[1].measurements)
    pd.testing.assert_frame_equal(again.unmeasured, once[1].unmeasured)


def test_work_that_was_stopped_goes_on_where_it_was(once, photos, plan, count, monkeypatch):
    for kept in (photos / photo_folder.MEMORY).iterdir():
        kept.unlink()
    counting = photo_folder.measure_picture

    def stopped(path, *rest):
        if path.name == "a.jpg":
            raise KeyboardInterrupt
        return counting(path, *rest)

    monkeypatch.setattr(photo_folder, "measure_picture", stopped)
    with pytest.raises(KeyboardInterrupt):
        measure_folder(photos, plan, workers=1)
    monkeypatch.setattr(photo_folder, "measure_picture", counting)
    count.clear()
    after = measure_folder(photos, plan, workers=1)
    assert "b.jpg" not in count
    pd.testing.assert_frame_equal(after.measurements, once[1].measurements)


def test_what_was_kept_but_cut_short_is_measured_again(once, photos, plan, count):
    for kept in (photos / photo_folder.MEMORY).glob("*.json"):
        if json.loads(kept.read_text()).get("rows"):
            kept.write_text(kept.read_text()[:-10])
    again = measure_folder(photos, plan, workers=1)
    assert sorted(count) == ["a.jpg", "b.jpg"]
    pd.testing.assert_frame_equal(again.measurements, once[1].measurements)


def test_two_workers_find_what_one_finds(once, photos, plan):
    again = measure_folder(photos, plan, workers=2)
    pd.testing.assert_frame_equal(again.measurements, once[1].measurements)


def test_another_print_scale_measures_anew(once, photos, plan, count):
    (photos / "a.jpg").unlink()
    scale = plan.card.print_scale(plan.card.across_mm * 0.98, plan.card.down_mm * 0.98)
    anew = measure_folder(photos, replace(plan, scale=scale), workers=1).measurements
    assert "b.jpg" in count
    smaller = once[1].measurements["spread_mm"][:4] - anew["spread_mm"]
    assert smaller.mean() == pytest.approx(0.15, abs=0.05)


def test_a_picture_shows_what_was_measured_and_says_nothing_private(once):
    _, result, _ = once
    sound = result.pictures[result.pictures["reason"] == ""]
    for row in sound.itertuples():
        with Image.open(row.shown) as image:
            assert not image.getexif()
            assert np.asarray(image).std() > 20
        assert set(row.spots) == {"1-1", "1-2", "1-3", "1-4"}


def test_renaming_moving_and_copying_measure_nothing_again(once, photos, plan, count):
    (photos / "anna").mkdir()
    (photos / "a.jpg").rename(photos / "anna" / "IMG_0001.jpg")
    shutil.copy(photos / "b.jpg", photos / "anna" / "IMG_0002.jpg")
    again = measure_folder(photos, plan, workers=1)
    assert count == []
    assert again.copies == {"b.jpg": "anna/IMG_0002.jpg"}
    assert set(again.measurements["picture"]) == {"anna/IMG_0001.jpg", "anna/IMG_0002.jpg"}
    pd.testing.assert_frame_equal(
        again.measurements.drop(columns="picture"), once[1].measurements.drop(columns="picture")
    )


def test_a_name_that_says_another_tile_is_refused_under_that_name_only(photos, plan):
    (photos / "b.jpg").rename(photos / "tile09-firing1.jpg")
    wrong = measure_folder(photos, plan, workers=1).unmeasured.set_index("picture")
    assert "file's name says tile 9" in wrong.at["tile09-firing1.jpg", "reason"]
    (photos / "tile09-firing1.jpg").rename(photos / "tile01-firing1.jpg")
    right = measure_folder(photos, plan, workers=1)
    assert "tile01-firing1.jpg" in set(right.measurements["picture"])


def test_an_empty_folder_gives_empty_tables(tmp_path, plan):
    (tmp_path / "photos").mkdir()
    result = measure_folder(tmp_path / "photos", plan, workers=1)
    assert result.measurements.empty and result.unmeasured.empty
    assert tuple(result.measurements.columns) == COLUMNS


def test_a_memory_that_leads_elsewhere_is_refused(tmp_path, plan):
    photos = tmp_path / "photos"
    photos.mkdir()
    (photos / photo_folder.MEMORY).symlink_to(tmp_path)
    with pytest.raises(Misuse, match="link"):
        measure_folder(photos, plan, workers=1)
