"""Pictures of single patches for a report: the right patch, and nothing of what was struck out."""

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from kit.photo import PictureResult, patch_pictures
from kit.photo.one_picture import measurements_table
from kit.photo.picture_memory import PictureMemory

SPOTS = {"T1-1": (0.25, 0.25), "T1-2": (0.75, 0.25), "T1-3": (0.25, 0.75), "T1-4": (0.75, 0.75)}
GREYS = dict(zip(SPOTS, (40, 100, 160, 220), strict=True))


def remembered(folder, fingerprint, sha256, firing, spots=SPOTS, shift=0.0):
    """Keep a straightened picture of tile 1: each patch a square of its own grey."""
    shown = np.full((504, 504, 3), 255, np.uint8)
    for patch, (x, y) in spots.items():
        left, top = (int(504 * place) for place in (x, y))
        shown[top - 60 : top + 60, left - 60 : left + 60] = GREYS[patch]
    rows = measurements_table(
        [
            {"patch": patch, "firing": firing, "picture": "a.jpg", "picture_sha256": sha256}
            | {"spread_mm": 0.1 * n + shift, "quality": "good", "remark": ""}
            for n, patch in enumerate(spots)
        ]
    )
    found = PictureResult(
        "a.jpg", sha256, 1, firing, patches=rows, shown=shown, spots=spots, size_mm=(50.0, 50.0)
    )
    memory = PictureMemory(folder / ".measured")
    memory.folder.mkdir(parents=True, exist_ok=True)
    memory.keep_result(fingerprint, found)
    return rows


def measured(series, rows):
    table = series.measurements.reindex(range(len(rows)))
    told = {name: rows[name].to_numpy() for name in rows.columns if name in table}
    return replace(series, measurements=table.assign(**told | {"accepted": ""}))


def grey(picture):
    return np.asarray(Image.open(io.BytesIO(picture.jpeg)).convert("L"))[72, 72].item()


def test_each_patch_is_cut_out_where_it_lies(planned, tmp_path):
    rows = remembered(tmp_path, "f", "s", 1)
    found = patch_pictures(measured(planned, rows), tmp_path)
    assert [(p.patch, p.firing) for p in found] == [(patch, 1) for patch in SPOTS]
    assert [grey(p) for p in found] == pytest.approx(list(GREYS.values()), abs=4)


def test_what_was_struck_out_or_not_measured_is_not_shown(planned, tmp_path):
    series = measured(planned, remembered(tmp_path, "f", "s", 1))
    table = series.measurements.copy()
    table.loc[table["patch"] == "T1-1", "accepted"] = "no"
    table.loc[table["patch"] == "T1-2", "spread_mm"] = np.nan
    found = patch_pictures(replace(series, measurements=table), tmp_path)
    assert [p.patch for p in found] == ["T1-3", "T1-4"]


def test_of_two_pictures_the_better_one_is_shown(planned, tmp_path):
    poor = remembered(tmp_path, "f", "s", 1).assign(quality="poor")
    swapped = {"T1-1": SPOTS["T1-4"], "T1-4": SPOTS["T1-1"]}
    good = remembered(tmp_path, "g", "t", 1, spots=swapped)
    both = measurements_table([*poor.to_dict("records"), *good.to_dict("records")])
    found = {p.patch: p for p in patch_pictures(measured(planned, both), tmp_path)}
    assert len(found) == len(SPOTS)
    assert grey(found["T1-4"]) == pytest.approx(GREYS["T1-4"], abs=4)


def test_what_an_older_plan_made_of_the_same_picture_is_passed_over(planned, tmp_path):
    wrong = dict.fromkeys(SPOTS, SPOTS["T1-1"])
    remembered(tmp_path, "a-older", "s", 1, spots=wrong, shift=0.03)
    rows = remembered(tmp_path, "b-newer", "s", 1)
    found = patch_pictures(measured(planned, rows), tmp_path)
    assert [grey(p) for p in found] == pytest.approx(list(GREYS.values()), abs=4)


def test_without_what_was_measured_there_is_nothing_to_show(planned, tmp_path):
    rows = remembered(tmp_path / "elsewhere", "f", "s", 1)
    assert patch_pictures(measured(planned, rows), tmp_path) == ()
    (tmp_path / ".measured").mkdir()
    (tmp_path / ".measured" / "cut.json").write_text("{", "utf-8")
    (tmp_path / ".measured" / "cut.jpg").write_bytes(b"")
    assert patch_pictures(measured(planned, rows), tmp_path) == ()
