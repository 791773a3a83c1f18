"""Photographs of a fired series: from the truth, through the pictures, to the report."""

from dataclasses import replace

import numpy as np
import pytest

from kit.errors import Misuse
from kit.model import MEASURE_OF, fit_measurements, grades_against_measurements
from kit.photo import measure_series
from kit.report import analyse
from kit.report.sections.photographs import measured
from kit.series import Blank, Stencil, join_measurements, observations
from kit.studio import Camera, draw_truth, fire, latent_truth, photograph_series
from kit.studio.photo_shoot import invented_rgb, pull_through_share, spread_mm

SEED = 4
SMALL = Camera(width_px=1400, height_px=1050)


def series_and_truth(planned):
    """Small tiles, which are drawn quickly."""
    settings = replace(
        planned.settings, blank=Blank(width_mm=36, height_mm=36), stencil=Stencil(size_mm=10)
    )
    truth = draw_truth(planned.colours, seed=3, loss_rate=0.0)
    patches = planned.patches.assign(mesh=100)
    return fire(replace(planned, settings=settings, patches=patches), truth, SEED), truth


def test_what_a_patch_shows_rises_with_its_latent_value():
    eta = np.linspace(-6, 8, 50)
    assert (np.diff(spread_mm(eta)) > 0).all()
    assert (np.diff(pull_through_share(eta)) > 0).all()
    assert spread_mm(np.array([-6.0, 7.0])) == pytest.approx([0.0, 2.45], abs=0.01)


def test_a_name_is_always_painted_alike_and_names_differ():
    assert invented_rgb("Attic Rose") == invented_rgb("Attic Rose")
    assert invented_rgb("Attic Rose") != invented_rgb("Ferry Blue")
    assert all(0 <= channel <= 1 for channel in invented_rgb("Pond Green"))
    red, green, blue = np.array([invented_rgb(f"Attic {c}") for c in ("Red", "Green", "Blue")])
    assert red.argmax() == 0 and green.argmax() == 1 and blue.argmax() == 2


def test_the_latent_truth_is_what_the_grades_were_drawn_from(planned):
    """Where nothing but the patch decides, its latent value gives the grade exactly."""
    fired, truth = series_and_truth(planned)
    own = truth.scales["spread"]
    # On a scale so coarse the wavering of a single grade moves next to nothing.
    coarse = {
        name: replace(
            scale,
            cuts=tuple(1e4 * np.array(scale.cuts)),
            families={pair: 1e4 * value for pair, value in scale.families.items()},
            tile_sd=3e4, patch_sd=3e4, session_sd=3e4, grader_sd=0.0,
        )
        for name, scale in truth.scales.items()
    }  # fmt: skip
    sure = replace(truth, scales=coarse)
    fired = fire(fired, sure, SEED)
    seen = observations(fired).merge(
        latent_truth(fired, sure, SEED)[["patch", "firing", "spread"]],
        on=["patch", "firing"], suffixes=("", "_latent"),
    )  # fmt: skip
    told = np.searchsorted(1e4 * np.array(own.cuts), seen["spread_latent"])
    assert seen["spread"].nunique() >= 4
    assert (told == seen["spread"].to_numpy()).mean() > 0.99


def test_another_seed_or_truth_is_refused(planned, tmp_path):
    fired, truth = series_and_truth(planned)
    with pytest.raises(Misuse, match="seed 5"):
        photograph_series(fired, replace(truth, loss_rate=0.9), tmp_path, 5)
    with pytest.raises(Misuse, match="no sound patch"):
        photograph_series(fired, truth, tmp_path, SEED, tiles=[99])
    assert not list(tmp_path.iterdir())


@pytest.mark.filterwarnings("ignore::kit.errors.AliasedEffectWarning")
def test_from_photographs_to_the_report(planned, tmp_path):
    fired, truth = series_and_truth(planned)
    folder = fired.write(tmp_path / "data" / "small")
    said: list[str] = []
    taken = photograph_series(
        fired, truth, folder, SEED, tiles=[1, 3], firings=[1, 3], camera=SMALL,
        progress=said.append,
    )  # fmt: skip
    assert [path.name for path in taken.pictures] == [
        "drawn-tile01-firing1.jpg", "drawn-tile01-firing3.jpg",
        "drawn-tile03-firing1.jpg", "drawn-tile03-firing3.jpg",
    ]  # fmt: skip
    assert len(said) == 4
    series = measure_series(folder).series
    frame = join_measurements(series)
    both = frame.merge(taken.truth, on=["patch", "firing"], suffixes=("", "_true"))
    assert len(both) >= 10
    off = both["spread_mm"] - both["spread_mm_true"]
    assert np.sqrt((off**2).mean()) < 0.15
    shares = both["pull_through_share"] - both["pull_through_share_true"]
    assert np.sqrt((shares**2).mean()) < 0.05
    fits = {name: fit_measurements(frame, name) for name in MEASURE_OF.values()}
    assert fits["spread_mm"].results.converged
    meaning = grades_against_measurements(observations(series), frame, "spread", "spread_mm")
    assert meaning.step > 0
    section = measured(analyse(series))
    assert "grades-measured-spread" in {picture.name for picture in section.pictures()}
