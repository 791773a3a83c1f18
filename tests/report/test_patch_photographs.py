"""Photographs of patches on the page: with their tile, found by the look-up, and not too many."""

from dataclasses import replace

import pytest

from kit.photo import PatchPicture
from kit.report import whole_report
from kit.report.page.document import LookUp, PhotoStrip
from kit.report.page.html import page
from kit.report.page.pdf import pages
from kit.report.sections import tile_by_tile
from kit.report.sections.tile_by_tile import left_out, on_the_page
from kit.series import patches_in_full


@pytest.fixture(scope="module")
def pictures(fired):
    firings = sorted(set(fired.grades["firing"]))
    return tuple(
        PatchPicture(patch, firing, f"{patch} {firing}".encode())
        for patch in fired.patches["patch"]
        for firing in firings
    )


@pytest.fixture(scope="module")
def photographed(analysis, pictures):
    return replace(analysis, pictures=pictures)


@pytest.fixture(scope="module")
def document(photographed):
    return whole_report(photographed)


def test_every_photograph_stands_once_with_its_own_tile(document, pictures, fired):
    tiles = {row.patch: row.tile for row in fired.patches.itertuples()}
    html = page(document)
    for picture in pictures:
        assert html.count(f'id="photo-{picture.patch}-{picture.firing}"') == 1
    for part in document.parts():
        if getattr(part, "name", "").startswith("tile-") and hasattr(part, "blocks"):
            for strip in (block for block in part.blocks if isinstance(block, PhotoStrip)):
                shown = {tiles[photo.caption.split(",")[0]] for photo in strip.photos}
                assert shown == {int(part.name.removeprefix("tile-"))}


def test_look_up_names_the_photographs_of_its_own_pair(document, pictures, fired):
    (told,) = (part.data for part in document.parts() if isinstance(part, LookUp))
    patches = patches_in_full(fired).set_index("patch")
    many = len(told["colours"])
    for pair, names in told["photographs"].items():
        base, overlay = (told["colours"][n] for n in divmod(int(pair), many))
        for name in names:
            patch = name.removeprefix("photo-").rpartition("-")[0]
            assert tuple(patches.loc[patch, ["base", "overlay"]]) == (base, overlay)
    paired = patches["base"] != patches["overlay"]
    shown = {name for names in told["photographs"].values() for name in names}
    assert {f"photo-{p.patch}-{p.firing}" for p in pictures if paired[p.patch]} <= shown


def test_when_they_are_too_many_the_last_firings_stay_and_the_rest_are_counted(
    photographed, pictures, monkeypatch
):
    assert on_the_page(pictures) == sorted(pictures, key=lambda p: (p.patch, p.firing))
    assert "left out" not in left_out(photographed)
    patches = {p.patch for p in pictures}
    monkeypatch.setattr(tile_by_tile, "MOST", len(patches) + 1)
    kept = on_the_page(pictures)
    last = max(p.firing for p in pictures)
    assert sum(p.firing == last for p in kept) == len(patches)
    assert len(kept) == len(patches) + 1
    assert f"{len(pictures) - len(kept)} photographs of earlier" in left_out(photographed)


def test_their_bytes_are_bounded(pictures, monkeypatch):
    monkeypatch.setattr(tile_by_tile, "MOST_BYTES", 100)
    assert 90 <= sum(len(p.jpeg) for p in on_the_page(pictures)) <= 100


def test_paper_goes_without_them(document, analysis):
    assert len(pages(document)) == pytest.approx(len(pages(whole_report(analysis))), rel=0.02)
    assert left_out(analysis) == ""
