"""Edges whose place and width are known from geometry, drawn without the kit."""

import numpy as np
import pytest
from scipy import integrate
from scipy.ndimage import gaussian_filter
from scipy.special import erf
from skimage import draw

from kit.photo.patch.edge import Reach, beyond_line, find_edge, solid, stencil_line
from kit.photo.patch.edge_width import transition_width, width_without
from kit.series import Stencil

PER_MM = 20
SIZE = 480
MIDDLE = np.array([12.0, 12.0])
REACH = Reach(4.0, 4.0)


def ellipse(across: float, down: float, middle=(12.0, 12.0)) -> np.ndarray:
    """Share of each pixel inside an ellipse, drawn four times up by another library."""
    fine = np.zeros((4 * SIZE, 4 * SIZE), np.float32)
    x, y, a, b = (v * PER_MM * 4 for v in (*middle, across, down))
    fine[draw.ellipse(y - 0.5, x - 0.5, b, a, fine.shape)] = 1
    return fine.reshape(SIZE, 4, SIZE, 4).mean(axis=(1, 3))


def edge_of(share: np.ndarray, stencil: Stencil, middle=MIDDLE, hidden=None):
    x, y = np.meshgrid(*2 * [(np.arange(SIZE) + 0.5) / PER_MM])
    inside = beyond_line(stencil, x - middle[0], y - middle[1]) < 0
    hidden = np.zeros(share.shape, bool) if hidden is None else hidden
    return find_edge(
        share, solid(share, inside, PER_MM), hidden, stencil_line(stencil), middle, REACH, PER_MM
    )


@pytest.mark.parametrize("beyond", [-1.2, -0.3, 0.0, 0.4, 1.5, 3.0])
def test_a_disc_lies_beyond_the_stencil_by_the_difference_of_radii(beyond):
    edge = edge_of(ellipse(7 + beyond, 7 + beyond), Stencil())
    assert np.mean(edge.creep) == pytest.approx(beyond, abs=0.01)
    assert np.quantile(edge.creep, 0.95) == pytest.approx(beyond, abs=0.03)


def test_an_ellipse_lies_beyond_by_the_integral_of_its_radius():
    a, b = 8.2, 7.1

    def radius(t: float) -> float:
        return a * b / np.sqrt((b * np.cos(t)) ** 2 + (a * np.sin(t)) ** 2)

    mean = integrate.quad(radius, 0, 2 * np.pi)[0] / (2 * np.pi) - 7
    edge = edge_of(ellipse(a, b), Stencil())
    assert np.mean(edge.creep) == pytest.approx(mean, abs=0.01)
    assert np.max(edge.creep) == pytest.approx(a - 7, abs=0.03)
    assert np.min(edge.creep) == pytest.approx(b - 7, abs=0.03)


def test_a_shifted_stencil_is_no_spread():
    edge = edge_of(ellipse(7.5, 7.5, (13.3, 11.2)), Stencil())
    assert np.mean(edge.creep) == pytest.approx(0.5, abs=0.01)
    assert np.ptp(edge.creep) < 0.1
    np.testing.assert_allclose(edge.middle_mm, (13.3, 11.2), atol=0.02)


@pytest.mark.parametrize(("shape", "half"), [("square", (6.0, 6.0)), ("bar", (3.0, 6.0))])
def test_a_turned_straight_stencil_is_found_and_its_spread_read(shape, half):
    stencil = Stencil(shape, 2 * half[0])
    turn, grown = np.deg2rad(5), 0.6
    ends = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (np.array(half) + grown)
    cos, sin = np.cos(turn), np.sin(turn)
    x, y = (ends @ np.array([[cos, sin], [-sin, cos]]) + (12.2, 11.9)).T
    fine = np.zeros((4 * SIZE, 4 * SIZE), np.float32)
    fine[draw.polygon(y * PER_MM * 4 - 0.5, x * PER_MM * 4 - 0.5, fine.shape)] = 1
    share = fine.reshape(SIZE, 4, SIZE, 4).mean(axis=(1, 3))
    edge = edge_of(share, stencil)
    assert np.mean(edge.creep) == pytest.approx(grown, abs=0.02)
    assert edge.turn == pytest.approx(turn, abs=0.01)


def test_holes_in_the_middle_do_not_move_the_edge():
    x, y = np.meshgrid(*2 * [(np.arange(SIZE) + 0.5) / PER_MM])
    holes = np.hypot((x % 2) - 1, (y % 2) - 1) < 0.5
    inner = np.hypot(x - 12, y - 12) < 6
    share = np.where(holes & inner, 0, ellipse(7.5, 7.5)).astype(np.float32)
    assert np.mean(edge_of(share, Stencil()).creep) == pytest.approx(0.5, abs=0.02)


def test_a_narrow_bay_torn_by_the_base_is_left_out():
    share = ellipse(7.5, 7.5)
    share[230:250, 380:420] = 0
    share[100:120, 80:120] = 0
    edge = edge_of(share, Stencil())
    assert np.nanmean(edge.creep) == pytest.approx(0.5, abs=0.05)


def test_a_rough_edges_own_dips_belong_to_it():
    # Nine waves of 0.3 mm round a disc: by definition their mean is nothing.
    x, y = np.meshgrid(*2 * [(np.arange(SIZE) + 0.5) / PER_MM - 12])
    radius = 7.5 + 0.3 * np.cos(9 * np.arctan2(y, x))
    share = np.clip((radius - np.hypot(x, y)) * PER_MM + 0.5, 0, 1).astype(np.float32)
    edge = edge_of(share, Stencil())
    assert edge.torn == 0
    assert np.mean(edge.creep) == pytest.approx(0.5, abs=0.01)


def test_what_glare_hides_is_not_measured():
    share = ellipse(7.5, 7.5)
    hidden = np.zeros(share.shape, bool)
    hidden[:, 320:] = True
    share[:, 320:] = 0
    edge = edge_of(share, Stencil(), hidden=hidden)
    assert 0.5 < edge.seen < 0.9
    assert np.nanmedian(edge.creep) == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("sigma", [0.08, 0.2, 0.4])
@pytest.mark.parametrize("slant", [0.0, 5.0, 31.0])
def test_edge_width_of_a_slanted_edge_of_known_blur(sigma, slant):
    # The idea of ISO 12233: an edge at a slant, blurred by a Gaussian of known sigma, passes from
    # 10 to 90 % over 2 * 1.2816 sigma.
    x, y = np.meshgrid(*2 * [(np.arange(SIZE) + 0.5) / PER_MM - 12])
    angle = np.deg2rad(slant)
    away = x * np.cos(angle) + y * np.sin(angle)
    share = (0.5 * (1 - erf(away / sigma / np.sqrt(2)))).astype(np.float32)
    share += np.random.default_rng(1).normal(0, 0.01, share.shape).astype(np.float32)
    border = np.ones(share.shape, bool)
    border[60:-60, 60:-60] = False
    found = transition_width(share, away < 0, border, PER_MM)
    assert found == pytest.approx(2.5631 * sigma, rel=0.03, abs=0.01)


def test_the_cameras_blur_comes_off_as_squares():
    x = (np.arange(SIZE) + 0.5) / PER_MM - 12
    share = np.tile(0.5 * (1 - erf(x / 0.2 / np.sqrt(2))), (SIZE, 1)).astype(np.float32)
    blurred = gaussian_filter(share, 0.15 * PER_MM)
    border = np.ones(share.shape, bool)
    border[60:-60, 60:-60] = False
    whole = np.tile(x < 0, (SIZE, 1))
    raw = transition_width(blurred, whole, border, PER_MM)
    assert width_without(raw, 2.5631 * 0.15) == pytest.approx(2.5631 * 0.2, rel=0.03)
