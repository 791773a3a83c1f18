"""What the notebooks show, and the small forms in them."""

import pytest

import kit
from kit.errors import Misuse
from kit.report import next_picker, pair_picker, planned_tiles, recorded
from kit.report.page.html import fragment


def test_picking_a_pair_tells_both_orders(analysis):
    picker = pair_picker(analysis)
    (overlay, base), told = picker.children[0].children, picker.children[1]
    overlay.value, base.value = "Frost", "Ember"
    assert "Frost over Ember:" in told.value
    assert "Ember over Frost:" in told.value
    row = analysis.pairs.query("overlay == 'Frost' and base == 'Ember'").iloc[0]
    assert row["verdict"] in told.value


def test_picking_more_tiles_suggests_more_patches(analysis):
    picker = next_picker(analysis)
    tiles, told = picker.children
    tiles.value = 1
    assert told.value.count("<tr>") == 1 + 4


def test_record_counts_what_is_there(fired):
    told = fragment(recorded(fired))
    count = len(fired.grades.query("grader == 'Ada' and firing == 1"))
    assert "Graded by Ada" in told
    assert f">{count}</td>" in told


def test_every_planned_patch_is_named_beside_its_tile(fired):
    drawn = planned_tiles(fired.settings, fired.tiles, fired.patches)
    for tile in fired.tiles.itertuples():
        assert f"Tile {tile.tile}: {tile.base}, with " in drawn.alt


def test_what_a_notebook_shows_of_the_main_objects_is_short_in_text_and_says_the_answer(analysis):
    fit = analysis.fits.by_scale["spread"]
    for shown in (analysis, analysis.pairs_found, fit, analysis.series):
        assert len(repr(shown)) < 300
        assert "<" in shown._repr_html_()
    assert "sure to keep" in analysis._repr_html_() or "fine edge" in analysis._repr_html_()


def test_the_top_of_the_package_offers_verbs_and_no_room_hides_one():
    verbs = {"read_series", "plan", "fit", "pairs", "next_patches", "analyse", "write_report"}
    assert verbs <= set(dir(kit))
    assert all(callable(getattr(kit, verb)) for verb in verbs)


def test_a_verb_takes_a_series_by_its_name_and_refuses_a_wrong_one(folder, monkeypatch):
    monkeypatch.chdir(folder.parent.parent)
    by_name = kit.saving("small").sentences()
    assert by_name == kit.saving(kit.read_series(folder)).sentences()
    with pytest.raises(Misuse, match="Did you mean 'small'"):
        kit.pairs("smal")
