"""Photographs drawn with known truth, measured; and pictures that cannot be, named."""

from dataclasses import replace

import cv2
import numpy as np
import pandas as pd
import pytest
from PIL import Image

from kit.photo import COLUMNS, PhotoPlan, PrintScale, measure_picture
from kit.photo.one_picture import first_seen
from kit.photo.review.print_witness import BY_TILES
from kit.photo.tile_plan import BY_RULE, TileLayout
from kit.series import MEASURES, Blank, Stencil, stripe_edges
from kit.series.stripes import striped_positions
from kit.studio import Camera, Lighting, PatchLook, Setting, TileLook, photograph


def against_truth(result, photo) -> pd.DataFrame:
    assert result.reason == ""
    return result.patches.merge(photo.truth, on="patch", suffixes=("", "_true"))


@pytest.fixture(scope="module")
def measured(good_shot, plan):
    path, photo = good_shot
    return measure_picture(path, plan), photo


@pytest.fixture(scope="module")
def upright(good_shot):
    """The good picture's pixels, to be spoilt in one way at a time."""
    with Image.open(good_shot[0]) as image:
        return np.asarray(image)


@pytest.fixture
def measure(tmp_path, plan):
    def measure(pixels: np.ndarray, name: str = "picture.jpg", **how: object):
        Image.fromarray(np.ascontiguousarray(pixels)).save(tmp_path / name, quality=92)
        return measure_picture(tmp_path / name, plan, **how)

    return measure


def test_an_ordinary_picture_is_measured_to_the_millimetres_asked_for(measured):
    table = against_truth(*measured)
    assert len(table) == 4
    assert np.sqrt(((table["spread_mm"] - table["spread_mm_true"]) ** 2).mean()) < 0.05
    assert (table["spread_p95_mm"] - table["spread_p95_mm_true"]).abs().max() < 0.15
    assert (table["edge_width_mm"] - table["edge_width_mm_true"]).abs().max() < 0.12
    assert (table["pull_through_share"] - table["pull_through_share_true"]).abs().max() < 0.05


def test_mottle_is_seen_at_its_own_scale(measured):
    table = measured[0].patches.set_index("patch")
    assert table["mottle_fine"].idxmax() == "1-3"
    assert table["mottle_coarse"].idxmax() == "1-4"
    assert table.loc["1-3", "mottle_fine"] == pytest.approx(4.0, rel=0.35)
    assert table.loc["1-4", "mottle_coarse"] == pytest.approx(4.0, rel=0.35)


def test_every_number_has_its_columns_and_its_uncertainty(measured):
    table = measured[0].patches
    assert tuple(table.columns) == COLUMNS
    for name in set(MEASURES) - {"colour_shift"}:
        assert (table[f"{name}_se"] > 0).all()
    assert table["colour_shift"].isna().all()
    assert set(table["quality"]) <= {"good", "fair"}
    assert (table["accepted"] == "").all()


def test_the_shown_picture_is_the_tile_from_above(measured):
    shown = measured[0].shown
    assert shown.dtype == np.uint8
    assert shown.shape[0] == pytest.approx(56 * 9, abs=2)


def test_a_picture_on_its_side_measures_the_same(measured, upright, measure):
    turned = measure(np.rot90(upright)).patches
    for name in ("spread_mm", "edge_width_mm", "pull_through_share"):
        np.testing.assert_allclose(turned[name], measured[0].patches[name], atol=0.03)


def test_other_shapes_colours_and_printers_are_measured_as_well(tmp_path, small_camera):
    # A strip of three bars, white on dark, under yellow light, the card printed 3 % too small.
    blank, stencil = Blank("strip", 60, 30), Stencil("bar", 8.0)
    look = TileLook(
        blank,
        stencil,
        (0.12, 0.13, 0.2),
        tuple(
            PatchLook(f"2-{n}", n, (0.9, 0.88, 0.85), spread_mm=s, edge_width_mm=0.4)
            for n, s in ((1, 0.0), (2, 0.6), (3, 1.1))
        ),
        3,
        placement_deg=1.5,
    )
    scale = PrintScale(0.97, 0.975)
    patches = pd.DataFrame(
        {
            "patch": ["2-1", "2-2", "2-3"],
            "tile": 2,
            "position": [1, 2, 3],
            "overlay": "white",
            "before_firing": 1,
            "lost_from": np.inf,
        }
    )
    plan = PhotoPlan(patches, 3, blank, stencil, scale)
    photo = photograph(
        look,
        plan.card,
        4,
        camera=small_camera,
        lighting=Lighting(tint=(1.0, 0.85, 0.6), exposure=0.75),
        setting=Setting(tile=2, print_scale=scale),
    )
    photo.save(tmp_path / "strip.jpg")
    table = against_truth(measure_picture(tmp_path / "strip.jpg", plan), photo)
    assert (table["spread_mm"] - table["spread_mm_true"]).abs().max() < 0.1
    unscaled = measure_picture(tmp_path / "strip.jpg", replace(plan, scale=PrintScale()))
    assert (unscaled.patches["spread_mm"] - table["spread_mm_true"]).mean() > 0.05


def test_the_colour_of_an_earlier_picture_is_compared(shoot, look, measured, plan):
    earlier = measured[0].patches
    faded = replace(look.patches[0], overlay_rgb=(0.2, 0.35, 0.6))
    path, _ = shoot(
        look=replace(look, patches=(faded, *look.patches[1:])),
        retake=1,
        setting=Setting(firing=2),
        lighting=Lighting(tint=(0.9, 1.0, 1.0), lamp_mm=(300.0, 100.0, 600.0)),
    )
    later = measure_picture(path, plan, earlier).patches.set_index("patch")
    assert later.loc["1-1", "colour_shift"] > 5
    assert later.loc[["1-2", "1-3", "1-4"], "colour_shift"].max() < 2.5


def test_pure_overlay_comes_from_another_picture_when_none_is_left(plan, tmp_path, small_camera):
    # Lace finer than the picture can show: the patch holds no pure overlay to compare with.
    fine = tuple(
        PatchLook(f"1-{n}", n, (0.6, 0.1, 0.1), 0.4, pull_through_share=0.55, hole_mm=0.2)
        for n in (1, 2, 3, 4)
    )
    whole = tuple(replace(patch, pull_through_share=0.0) for patch in fine)
    base = TileLook(Blank(), Stencil(), (0.85, 0.82, 0.7), whole, 4)
    pictures = []
    for name, patches, firing in (("before", whole, 1), ("after", fine, 2)):
        photo = photograph(
            replace(base, patches=patches),
            plan.card,
            6,
            camera=replace(small_camera, width_px=1600, height_px=1200),
            setting=Setting(firing=firing),
        )
        photo.save(tmp_path / f"{name}.jpg")
        pictures.append(photo)
    first = measure_picture(tmp_path / "before.jpg", plan)
    alone = measure_picture(tmp_path / "after.jpg", plan)
    helped = measure_picture(tmp_path / "after.jpg", plan, first.patches)
    truth = pictures[1].truth["pull_through_share"]
    assert (helped.patches["pull_through_share"] - truth).abs().max() < 0.1
    assert (alone.patches["pull_through_share"] - truth).mean() < -0.1
    assert (alone.patches["quality"] != "good").all()
    assert (alone.patches["pull_through_share_se"] > 0.05).all()


SPOILT = {
    "no card": (lambda p: np.full_like(p, 90) + (p % 40), "no photo card|No photo card"),
    "mirrored": (lambda p: p[:, ::-1], "mirrored"),
    "cropped": (lambda p: p[:, 420:], "cropped: its .*left.* outside the picture"),
    "slightly blurred": (lambda p: cv2.GaussianBlur(p, (0, 0), 4.5), "blurred"),
    "badly blurred": (lambda p: cv2.GaussianBlur(p, (0, 0), 30), "nothing in the picture is sharp"),
    "dark": (lambda p: (p * 0.22).astype(np.uint8), "too dark"),
    "burnt out": (lambda p: np.clip(p * 1.5, 0, 255).astype(np.uint8), "too bright"),
    "far away": (
        lambda p: cv2.copyMakeBorder(
            cv2.resize(p, None, fx=0.28, fy=0.28, interpolation=cv2.INTER_AREA),
            300,
            300,
            400,
            400,
            cv2.BORDER_REPLICATE,
        ),
        "too far away|blurred|no photo card|cannot be read",
    ),
    "a hard shadow": (
        lambda p: np.where(np.arange(p.shape[1])[None, :, None] > 1000, p * 0.6, p).astype(
            np.uint8
        ),
        "Something lies across",
    ),
    "two cards": (lambda p: np.hstack([p, p]), "more than one photo card"),
}


@pytest.mark.parametrize("how", SPOILT)
def test_a_spoilt_picture_is_named_with_the_reason(how, upright, measure):
    spoil, reason = SPOILT[how]
    result = measure(spoil(upright))
    assert result.patches.empty
    assert result.shown is None
    assert pd.Series([result.reason]).str.contains(reason).all(), result.reason


def test_glare_and_fingers_spoil_only_what_they_hide(upright, measured, measure):
    middle = np.array(upright.shape[1::-1]) // 2
    tip, root = middle + np.array([0, 190]), middle + np.array([40, 900])
    finger = upright.copy()
    cv2.line(finger, tip.tolist(), root.tolist(), (200, 160, 140), 170)
    result = measure(finger)
    assert result.reason == ""
    before = measured[0].patches
    np.testing.assert_allclose(result.patches["spread_mm"][:2], before["spread_mm"][:2], atol=0.05)
    hit = result.patches["remark"].str.contains("lying on it")
    assert hit.any() and not hit[:2].any()
    still = result.patches["quality"].isin(["good", "fair"])
    np.testing.assert_allclose(
        result.patches["spread_mm"][still], before["spread_mm"][still], atol=0.15
    )


def test_slips_and_names_must_agree_with_the_plan(good_shot, upright, measure, plan):
    path, _ = good_shot
    strangers = replace(plan, patches=plan.patches[plan.patches["tile"] != 1])
    assert "not in this series" in measure_picture(path, strangers).reason
    unsifted = replace(plan, patches=plan.patches.assign(before_firing=2))
    assert "no patch on it counts" in measure_picture(path, unsifted).reason
    assert "file's name says tile 7" in measure(upright, "tile07-firing1.jpg").reason
    assert "file's name says firing 3" in measure(upright, "tile1 firing 3.jpg").reason
    assert measure(upright, "Tile_01-Firing-1.jpg").reason == ""


def test_a_slip_left_out_is_asked_for(upright, measure):
    rows, columns = np.nonzero(cv2.cvtColor(upright, cv2.COLOR_RGB2GRAY) >= 0)
    hidden = upright.copy()
    right = columns.max()
    hidden[rows.max() // 4 : rows.max() * 6 // 10, int(right * 0.72) : int(right * 0.88)] = 225
    assert "slip cannot be read" in measure(hidden).reason


def test_like_on_like_is_not_measured(plan, tmp_path, small_camera):
    same = TileLook(
        Blank(), Stencil(), (0.3, 0.4, 0.6), (PatchLook("1-1", 1, (0.3, 0.4, 0.61)),), 4
    )
    alone = replace(plan, patches=plan.patches[plan.patches["patch"].isin(["1-1", "2-4"])])
    camera = replace(small_camera, width_px=1600, height_px=1200)
    photograph(same, plan.card, 1, camera=camera).save(tmp_path / "same.jpg")
    row = measure_picture(tmp_path / "same.jpg", alone).patches.iloc[0]
    assert row["quality"] == "not measured"
    assert "look alike" in row["remark"]
    assert np.isnan(row["spread_mm"])


def test_a_camera_looking_straight_down_is_no_special_case(plan, look, tmp_path):
    camera = Camera(width_px=1600, height_px=1200)
    photo = photograph(look, plan.card, 2, camera=camera)
    photo.save(tmp_path / "flat.jpg")
    table = against_truth(measure_picture(tmp_path / "flat.jpg", plan), photo)
    assert (table["spread_mm"] - table["spread_mm_true"]).abs().max() < 0.12


def test_two_shots_of_one_tile_give_what_a_reflection_hides_in_each(shoot, look, plan):
    blue = tuple(replace(patch, overlay_rgb=(0.1, 0.25, 0.55)) for patch in look.patches)
    tile = replace(look, patches=blue)
    spoilt, photo = shoot("one.jpg", look=tile, lighting=Lighting(pane=0.3))
    moved, _ = shoot(
        "two.jpg", look=tile, retake=1, lighting=Lighting(pane=0.3, pane_at_mm=(9.0, 8.0)),
        setting=Setting(turn_deg=-2.0, shift_mm=(-0.5, 0.4)),
    )  # fmt: skip
    alone = measure_picture(spoilt, plan)
    both = measure_picture(spoilt, plan, others=[moved])
    assert alone.patches["quality"].iloc[0] in ("poor", "not measured")
    assert both.borrowed > 0.02
    table = against_truth(both, photo)
    assert table["quality"].isin(["good", "fair"]).all()
    assert (table["spread_mm"] - table["spread_mm_true"]).abs().max() < 0.15
    assert (table["pull_through_share"] - table["pull_through_share_true"]).abs().max() < 0.06


def test_a_shot_with_the_tile_turned_by_half_lends_its_clear_side(shoot, look, plan):
    patches = tuple(replace(p, spread_mm=0.4, pull_through_share=0.0) for p in look.patches)
    tile = replace(look, patches=patches)
    spoilt, photo = shoot("one.jpg", look=tile, lighting=Lighting(pane=0.3))
    turned, _ = shoot(
        "two.jpg", look=tile, retake=1, lighting=Lighting(pane=0.3), setting=Setting(turn_deg=181.0)
    )
    both = measure_picture(spoilt, plan, others=[turned])
    assert both.borrowed > 0.02
    table = against_truth(both, photo)
    assert table["quality"].isin(["good", "fair"]).all()
    assert (table["spread_mm"] - table["spread_mm_true"]).abs().max() < 0.15


def test_a_tile_with_two_bases_in_stripes_is_measured_on_each(plan, tmp_path, small_camera):
    blank, stencil = Blank(), Stencil("disc", 9.0)
    laid = striped_positions(blank, stencil, 2, 2)
    edge = stripe_edges(blank, stencil, 2)[0]
    pale, dark = (0.85, 0.82, 0.7), (0.12, 0.13, 0.2)
    patches = tuple(
        PatchLook(f"1-{n}", n, rgb, spread_mm=s, edge_width_mm=0.3)
        for n, rgb, s in (
            (1, (0.1, 0.25, 0.55), 0.3), (2, (0.8, 0.6, 0.2), 0.6),
            (3, (0.6, 0.1, 0.1), 0.0), (4, (0.9, 0.9, 0.88), 1.0),
        )
    )  # fmt: skip
    look = TileLook(
        blank, stencil, pale, patches, 4, stripes=((edge, dark),), places=laid, placement_mm=0.3
    )
    photo = photograph(look, plan.card, 4, camera=small_camera)
    photo.save(tmp_path / "striped.jpg")
    layout = TileLayout({p.number: p for p in laid}, stencil, ("pale", "dark"), (edge,))
    result = measure_picture(tmp_path / "striped.jpg", replace(plan, striped={1: layout}))
    table = against_truth(result, photo).set_index("patch")
    assert (table["spread_mm"] - table["spread_mm_true"]).abs().max() < 0.12
    assert table.loc[["1-1", "1-3"], "base_l"].min() > 75
    assert table.loc[["1-2", "1-4"], "base_l"].max() < 25


def test_a_colour_is_compared_with_the_first_of_several_earlier_pictures():
    seen = pd.DataFrame({"patch": "T1-1", "firing": [2, 1, 3], "overlay_l": [50.0, 40.0, 60.0]})
    assert first_seen(seen, 3).loc["T1-1", "overlay_l"] == 40.0
    assert first_seen(seen, 1) is None


def seen(*rows: tuple[str, int, float]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["patch", "firing", "overlay_l"])


def test_a_patch_is_compared_with_its_first_picture_and_not_with_the_latest():
    earlier = seen(("1-1", 2, 40.0), ("1-1", 1, 50.0), ("1-2", 2, 60.0), ("1-1", 3, 30.0))
    first = first_seen(earlier, 4)
    assert first["firing"].to_dict() == {"1-1": 1, "1-2": 2}
    assert first.at["1-1", "overlay_l"] == 50.0


def test_neither_pictures_of_this_firing_nor_of_later_ones_are_earlier():
    told = first_seen(seen(("1-1", 2, 40.0), ("1-2", 3, 50.0), ("1-3", 1, 60.0)), 2)
    assert list(told.index) == ["1-3"]
    assert first_seen(seen(("1-1", 2, 40.0)), 2) is None


def test_a_picture_in_which_no_colour_was_seen_is_passed_over():
    earlier = seen(("1-1", 1, float("nan")), ("1-1", 2, 40.0))
    assert first_seen(earlier, 3).at["1-1", "firing"] == 2
    assert first_seen(earlier, 2) is None


def test_a_print_whose_size_is_taken_from_the_tiles_makes_spread_less_sure(good_shot, plan):
    path, _ = good_shot
    rule, tiles = (
        measure_picture(path, replace(plan, scale_error=error)).patches["spread_mm_se"]
        for error in (BY_RULE, BY_TILES)
    )
    wider = (BY_TILES**2 - BY_RULE**2) * (plan.stencil.size_mm / 2) ** 2
    np.testing.assert_allclose(tiles**2 - rule**2, wider, rtol=1e-6)
