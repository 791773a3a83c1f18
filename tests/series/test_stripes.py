"""Tiles that carry several bases: places, seams, files and checks."""

from dataclasses import replace

import pandas as pd
import pytest

from kit.errors import DataProblems, Misuse
from kit.series import (
    Blank,
    Stencil,
    bases_by_stripe,
    new_series,
    observations,
    patches_in_full,
    patches_per_stripe,
    places_on_tile,
    read_series,
    stencil_on,
    stripe_counts,
    stripe_edges,
    stripe_shares,
)
from kit.series.stripes import EDGE_CLEARANCE_MM, striped_positions


@pytest.fixture
def striped(fired):
    """The first tile of a fired series, with three stripes and nine small patches."""
    names = list(fired.colours["colour"])[:3]
    patches = fired.patches[fired.patches["tile"] == 2]
    template = fired.patches[fired.patches["tile"] == 1].iloc[0]
    nine = pd.DataFrame([template] * 9).assign(
        position=range(1, 10),
        patch=[f"T1-{n}" for n in range(1, 10)],
        overlay=fired.colours["colour"].iloc[3],
    )
    base = fired.tiles[fired.tiles["tile"].isin([1, 2])].reset_index(drop=True)
    base.loc[base["tile"] == 1, "base"] = names[0]
    return replace(
        new_series("striped", replace(fired.settings, stripes=3), fired.colours),
        tiles=base,
        patches=pd.concat([nine, patches], ignore_index=True),
        stripes=pd.DataFrame({"tile": 1, "stripe": [1, 2, 3], "base": names}),
    )


def test_patches_stay_clear_of_the_seams_between_stripes():
    blank, stencil = Blank(), Stencil(size_mm=10)
    places = striped_positions(blank, stencil, 3, 3)
    seams = stripe_edges(blank, stencil, 3)
    assert [place.number for place in places] == list(range(1, 10))
    for place in places:
        column = (place.number - 1) % 3
        assert sum(place.x_mm > seam for seam in seams) == column
        for seam in seams:
            assert abs(place.x_mm - seam) - 5 >= EDGE_CLEARANCE_MM


@pytest.mark.parametrize(
    ("blank", "stencil", "says"),
    [
        (Blank("round"), Stencil(size_mm=8), "round blank"),
        (Blank(width_mm=30, height_mm=50), Stencil(size_mm=5), "narrower than can be sifted"),
        (Blank(), Stencil(size_mm=14), "edges of the stripes stay clear"),
        (Blank(clearance_mm=0.5), Stencil(size_mm=14), "4 mm are needed"),
    ],
)
def test_stripes_that_cannot_be_sifted_are_refused_with_the_reason(blank, stencil, says):
    with pytest.raises(Misuse, match=says):
        striped_positions(blank, stencil, 3, 3)


def test_four_six_or_nine_patches_a_tile_by_stencil_and_blank(striped):
    settings = replace(striped.settings, blank=Blank(), small_stencil_mm=10.0)
    assert len(places_on_tile(settings, 1)) == settings.patches_per_tile
    assert len(places_on_tile(settings, 2)) == 6
    assert len(places_on_tile(settings, 3)) == 9
    wider = replace(settings, small_stencil_mm=14.0)
    assert patches_per_stripe(wider, 2) == 2
    assert stencil_on(settings, 1) == settings.stencil
    assert stencil_on(settings, 3).size_mm == 10.0


def test_each_patch_lies_on_the_base_of_its_stripe(striped):
    full = patches_in_full(striped).set_index("patch")
    names = list(striped.stripes["base"])
    for number in range(1, 10):
        assert full.at[f"T1-{number}", "base"] == names[(number - 1) % 3]
        assert full.at[f"T1-{number}", "stripe"] == f"1.{(number - 1) % 3 + 1}"
    assert list(full.groupby("tile")["small"].first()) == [1, 0]
    assert list(stripe_counts(striped)) == [3, 1]


def test_powder_is_shared_by_how_much_a_stripe_covers(striped):
    shares = stripe_shares(replace(striped.settings, blank=Blank(), small_stencil_mm=10.0), 3)
    assert shares == pytest.approx((0.35, 0.30, 0.35))
    by_tile = bases_by_stripe(striped).groupby("tile")["share"].sum()
    assert list(by_tile) == pytest.approx([1.0, 1.0])


def test_a_striped_series_is_written_and_read(striped, tmp_path):
    again = read_series(striped.write(tmp_path / "striped"))
    assert again.stripes.equals(striped.stripes)
    assert again.settings.stripes == 3
    assert (tmp_path / "striped" / "stripes.csv").is_file()


def test_a_folder_without_stripes_has_no_such_file_and_reads_as_single_bases(fired, tmp_path):
    folder = fired.write(tmp_path / fired.name)
    assert not (folder / "stripes.csv").exists()
    again = read_series(folder)
    assert again.stripes.empty
    assert (observations(again)["small"] == 0).all()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"stripe": [1, 2, 2]}, "already stands|numbered"),
        ({"stripe": [1, 3, 2], "tile": 1}, "not its base"),
        ({"stripe": [1, 2, 3], "same": True}, "same base"),
    ],
)
def test_stripes_that_contradict_each_other_are_named(striped, tmp_path, change, says):
    stripes = striped.stripes.assign(stripe=change["stripe"])
    if change.get("same"):
        stripes["base"] = stripes["base"].iloc[0]
    if change["stripe"] == [1, 3, 2]:
        stripes["stripe"] = [2, 1, 3]
    with pytest.raises(DataProblems, match=says):
        replace(striped, stripes=stripes).write(tmp_path / "striped")


def test_a_patch_beyond_the_places_of_its_tile_is_named(striped, tmp_path):
    patches = striped.patches.copy()
    patches.loc[patches.index[8], "position"] = 10
    with pytest.raises(DataProblems, match="9 positions, not 10"):
        replace(striped, patches=patches).write(tmp_path / "striped")
