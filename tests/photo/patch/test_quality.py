"""From how much hidden, torn or lost on a patch's numbers are poor, or not taken at all."""

from types import SimpleNamespace

import numpy as np
import pytest

from kit.photo.patch.quality import judge


def judged(
    seen: float = 1.0,
    limited: float = 0.0,
    torn: float = 0.0,
    veiled: float = 0.0,
    one_side_mm: float = 0.0,
    share: float = 0.0,
    crossed: bool = False,
    numbers: tuple[str, ...] = ("spread_mm", "pull_through_share", "pull_through_share_se"),
) -> tuple[str, str]:
    """Quality of a patch whose edge was seen so far and whose face was veiled so far, and why."""
    face = np.arange(100) < 100 * veiled
    nothing = np.zeros(100, bool)
    view = SimpleNamespace(
        beyond=np.full(100, -1.0),
        burnt=nothing,
        place=SimpleNamespace(reach=SimpleNamespace(outward=2.0)),
    )
    covered = SimpleNamespace(hidden=face, reflection=SimpleNamespace(glare=nothing, veil=0.0))
    creep = np.where(np.arange(100) < 90, 0.2, 0.2 + one_side_mm)
    edge = SimpleNamespace(seen=seen, limited=limited, torn=torn, creep=creep)
    told = dict.fromkeys(numbers, 0.0) | {"pull_through_share": share}
    window = SimpleNamespace(tile=SimpleNamespace(crossed=crossed))
    return judge(view, covered, edge, told, True, window)


@pytest.mark.parametrize(
    ("is_so", "quality"),
    [
        ({"numbers": ("pull_through_share",)}, "not measured"),
        ({"seen": 0.39}, "not measured"),
        ({"veiled": 0.61}, "not measured"),
        ({"seen": 0.41}, "poor"),
        ({"seen": 0.74}, "poor"),
        ({"veiled": 0.6}, "poor"),
        ({"veiled": 0.26}, "poor"),
        ({"limited": 0.26}, "poor"),
        ({"limited": 0.06, "one_side_mm": 1.5}, "poor"),
        ({"limited": 0.04, "crossed": True}, "poor"),
        ({"torn": 0.56}, "poor"),
        ({"torn": 0.31, "share": 0.56}, "poor"),
    ],
)
def test_too_little_of_a_patch_is_no_measurement(is_so, quality):
    assert judged(**is_so)[0] == quality


@pytest.mark.parametrize("is_so", [{"limited": 0.3}, {"limited": 0.04}, {"veiled": 0.4}])
def test_with_something_across_the_rim_it_is_named_and_no_reflection(is_so):
    assert "finger" in judged(**is_so, crossed=True)[1]
    assert "finger" not in judged(**is_so | {"limited": 0.3})[1]
