"""From a folder of pictures to decisions: nothing lost, what is missing named. Tiles are drawn."""

import shutil
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image
from typer.testing import CliRunner

import kit
from kit.cli import app
from kit.errors import Misuse
from kit.photo import (
    Decision,
    PhotoReviewForm,
    decide,
    enter_decisions,
    measure_series,
    read_decisions,
    write_contact_sheet,
)
from kit.photo.review.colour_memory import Question
from kit.photo.review.contact_sheet import contact_sheet_html
from kit.series import Blank, Stencil, read_series
from kit.studio import Camera, draw_truth, fire, photograph_series

SEED = 4


@pytest.fixture(scope="module")
def measured_once(tmp_path_factory):
    """Two small tiles photographed after two firings each, and a picture of nothing."""
    demo = read_series(Path(kit.__file__).parents[1] / "data" / "demo")
    planned = replace(
        demo,
        tiles=demo.tiles[demo.tiles["tile"] <= 2],
        patches=demo.patches[demo.patches["tile"] <= 2].assign(mesh=100),
        measurements=demo.measurements[:0],
        sources={},
    )
    settings = replace(
        planned.settings, blank=Blank(width_mm=36, height_mm=36), stencil=Stencil(size_mm=10)
    )
    truth = draw_truth(planned.colours, seed=3, loss_rate=0.0)
    fired = fire(replace(planned, settings=settings), truth, SEED)
    folder = fired.write(tmp_path_factory.mktemp("studio") / "data" / "small")
    camera = Camera(width_px=1100, height_px=825)
    photograph_series(fired, truth, folder, SEED, tiles=[1, 2], firings=[1, 2], camera=camera)
    Image.new("RGB", (900, 700), "grey").save(folder / "photos" / "table.jpg")
    return folder, measure_series(folder)


@pytest.fixture
def folder(measured_once, tmp_path) -> Path:
    """The same, elsewhere."""
    return Path(shutil.copytree(measured_once[0].parents[1], tmp_path / "s")) / "data" / "small"


def test_counts_refusals_and_what_is_missing_are_told(measured_once):
    told = measured_once[1].describe()
    assert "4 pictures gave" in told
    assert "1 picture refused" in told
    assert "table.jpg: There is no photo card" in told or "table.jpg: No photo card" in told
    grid = measured_once[1].grid
    assert grid.at[1, 1] in ("good", "fair")
    assert grid.at[1, 3] == "missing"
    assert "No picture of tile 1, 2 after firing 3." in told


def test_a_decision_follows_the_picture_wherever_it_goes(folder):
    table = read_series(folder).measurements
    row = table.iloc[0]
    decide(folder, row["picture_sha256"], "strike out", row["patch"], "Wren")
    photos = folder / "photos"
    (photos / "wren").mkdir()
    (photos / row["picture"]).rename(photos / "wren" / "IMG_7.jpg")
    again = measure_series(folder).series.measurements
    moved = again[again["picture"] == "wren/IMG_7.jpg"].set_index("patch")
    assert moved.at[row["patch"], "accepted"] == "no"
    assert (again["picture"] != row["picture"]).all()


def test_a_picture_deleted_withdraws_its_measurements_and_comes_back_with_its_decision(folder):
    series = read_series(folder)
    name = series.measurements["picture"].iloc[0]
    sha256 = series.measurements["picture_sha256"].iloc[0]
    decide(folder, sha256, "strike out")
    kept = (folder / "photos" / name).read_bytes()
    (folder / "photos" / name).unlink()
    gone = measure_series(folder)
    assert name not in set(gone.series.measurements["picture"])
    assert f"{name} is gone: its 4 measurements are withdrawn" in gone.describe()
    (folder / "photos" / "back.jpg").write_bytes(kept)
    back = measure_series(folder).series.measurements
    assert (back.loc[back["picture_sha256"] == sha256, "accepted"] == "no").all()


def test_what_was_typed_in_the_table_is_kept_as_a_decision(folder):
    series = read_series(folder)
    typed = series.measurements.copy()
    typed.loc[1, "accepted"] = "no"
    replace(series, measurements=typed).write(folder)
    measure_series(folder)
    (decision,) = read_decisions(folder / "photos" / "decisions.csv")
    assert (decision.patch, decision.decision) == (typed.at[1, "patch"], "strike out")
    assert read_series(folder).measurements.at[1, "accepted"] == "no"


def test_no_picture_at_all_withdraws_nothing(folder):
    before = (folder / "measurements.csv").read_bytes()
    for path in (folder / "photos").glob("*.jpg"):
        path.unlink()
    with pytest.raises(Misuse, match="Nothing was changed"):
        measure_series(folder)
    assert (folder / "measurements.csv").read_bytes() == before


def test_a_retake_asked_for_is_listed_until_there_is_another_picture(folder):
    row = read_series(folder).measurements.iloc[0]
    enter_decisions(folder, [Decision(row["picture_sha256"], "", "retake")])
    measured = measure_series(folder)
    assert f"{row['picture']} (tile 1 after firing 1): asked for." in measured.describe()
    assert measured.grid.at[1, 1] == "retake"


def test_a_tile_said_to_lie_turned_is_measured_as_it_lies(folder):
    before = read_series(folder).measurements
    name = before["picture"].iloc[0]
    own = before[before["picture"] == name].set_index("patch")["spread_mm"]
    decide(folder, before["picture_sha256"].iloc[0], "turned 180")
    measured = measure_series(folder)
    table = measured.series.measurements
    turned = table[table["picture"] == name].set_index("patch")["spread_mm"]
    assert f"In {name} the tile lies turned, as was decided" in measured.describe()
    # Half a turn brings the first patch to the fourth place, the second to the third.
    np.testing.assert_allclose(turned, own[::-1], atol=0.05)
    assert not np.allclose(turned, own, atol=0.05)
    decide(folder, before["picture_sha256"].iloc[0], "clear")
    again = measure_series(folder).series.measurements
    pd.testing.assert_frame_equal(again, before)


class _Page(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))


def test_the_contact_sheet_needs_nothing_but_itself_and_starts_with_the_worst(
    measured_once, tmp_path
):
    folder, measured = measured_once
    path = write_contact_sheet(measured, tmp_path / "photos", folder / "photos")
    page = _Page(path.read_text(encoding="utf-8"))
    images = [a["src"] for tag, a in page.tags if tag == "img"]
    assert len(images) == 5
    assert all(src.startswith("data:image/jpeg;base64,") for src in images)
    assert not [a for _, a in page.tags if str(a.get("href", a.get("src", ""))).startswith("http")]
    sections = [a["class"] for tag, a in page.tags if tag == "section"]
    assert sections[0] == "picture refused"
    wanted = {a["data-choice"] for tag, a in page.tags if tag == "button" and "data-choice" in a}
    assert wanted == {"accept", "strike out", "retake"}
    overlays = set(measured.series.patches.query("tile == 1")["overlay"])
    text = path.read_text(encoding="utf-8")
    assert all(overlay in text for overlay in overlays)
    assert path.stat().st_size < 1_000_000
    to_look_at, folded = text.split("<details>")
    assert "picture refused" not in folded
    assert "picture good" not in to_look_at and "picture fair" not in to_look_at
    assert f"Nothing to decide: {folded.count('<section')}<" in folded


def test_the_form_writes_what_is_tapped_and_goes_on(folder):
    form = PhotoReviewForm(folder, "Otis")
    assert "table.jpg" in form.picture.value
    assert form.turned.layout.display == "none"
    form.buttons["strike out"].click()
    assert form.place == 1
    sha256 = form.order["picture_sha256"].iloc[1]
    form.patch.value = form.patch.options[1][1]
    form.buttons["accept"].click()
    decisions = read_decisions(folder / "photos" / "decisions.csv")
    assert [d.decision for d in decisions] == ["strike out", "accept"]
    assert decisions[1].picture_sha256 == sha256 and decisions[1].by == "Otis"
    table = read_series(folder).measurements
    assert (table["accepted"] == "yes").sum() == 1


def test_a_tile_that_seems_turned_is_measured_so_at_one_tap(folder):
    measured = measure_series(folder)
    sha256 = measured.series.measurements["picture_sha256"].iloc[0]
    asked = (Question((sha256,), (), "The tile seems to lie turned.", 180.0),)
    doubted = replace(measured, found=replace(measured.found, questions=asked))
    assert "data-choice='turned 180'" in contact_sheet_html(doubted, folder / "photos")
    assert "data-choice='turned 180'" not in contact_sheet_html(measured, folder / "photos")
    form = PhotoReviewForm(folder, "Otis", doubted)
    form.move(form.order["picture_sha256"].tolist().index(sha256))
    assert form.turned.layout.display is None
    form.turned.click()
    assert form.order["picture_sha256"].iloc[form.place] == sha256
    own = measured.series.measurements.query("picture_sha256 == @sha256")["spread_mm"]
    table = read_series(folder).measurements.query("picture_sha256 == @sha256")
    np.testing.assert_allclose(table["spread_mm"], own[::-1], atol=0.05)
    form.buttons["clear"].click()
    table = read_series(folder).measurements.query("picture_sha256 == @sha256")
    np.testing.assert_allclose(table["spread_mm"], own)


def test_the_command_prints_counts_and_takes_in_decisions_from_the_sheet(folder, monkeypatch):
    monkeypatch.chdir(folder.parents[1])
    sha256 = read_series(folder).measurements["picture_sha256"].iloc[0]
    sheet = folder.parents[1] / "photo-decisions.csv"
    sheet.write_text(
        "picture_sha256,patch,decision,by,at,picture\n"
        f"{sha256},,retake,contact sheet,2026-05-01T10:00:00Z,\n"
    )
    done = CliRunner().invoke(app, ["photos", "small", "--decisions", str(sheet)])
    assert done.exit_code == 0, done.output
    assert "4 pictures gave 16 measurements of 8 patches" in done.output
    assert "asked for." in done.output
    page = folder.parents[1] / "reports" / "small" / "photos" / "contact-sheet.html"
    assert page.is_file()
    (decision,) = read_decisions(folder / "photos" / "decisions.csv")
    assert decision.picture.startswith("drawn-tile01")


def test_a_tile_that_nothing_tells_about_is_asked_about_once(folder):
    for picture in (folder / "photos").glob("drawn-tile02*"):
        picture.unlink()
    measured = measure_series(folder)
    table = measured.series.measurements
    assert set(table["quality"]) == {"poor"}
    told = measured.describe()
    assert told.count("Nothing yet tells which way up") == 1
    assert "drawn-tile01-firing1.jpg, drawn-tile01-firing2.jpg: Nothing yet" in told
    first = table.query("firing == 1")["picture_sha256"].iloc[0]
    decide(folder, first, "accept")
    again = measure_series(folder)
    assert set(again.series.measurements["quality"]) <= {"good", "fair"}
    assert "Nothing yet tells" not in again.describe()
