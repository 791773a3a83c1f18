"""Series of many kinds, fired in the invented studio, that every output must tell alike."""

import warnings
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from kit.report import Analysis, Document, analyse, wall_summary, whole_report
from kit.report.page.html import page
from kit.series import PULL_THROUGH, SPREAD, Scale, Series, Settings, new_series, patch_name
from kit.studio import draw_truth, fire

GLOSS = Scale("gloss", "Gloss", "How dull is it?", ("mirror", "shiny", "satin", "dull", "matt"))


def stock(names, families=None):
    """A stock of colours, leaded and unleaded by halves unless told otherwise."""
    half = len(names) // 2
    family = families or ["leaded"] * half + ["unleaded"] * (len(names) - half)
    return pd.DataFrame(
        {"colour": names, "family": family, "opacity": "opaque", "grain": "medium", "notes": ""}
    ).astype("str")


def laid(colours, tiles=8, per_tile=4, seed=5, **settings):
    """A series whose bases take turns and whose overlays are drawn at random."""
    random, names = np.random.default_rng(seed), list(colours["colour"])
    chosen = {"tiles": tiles, "patches_per_tile": per_tile, "graders": ("Ada", "Ben"), "seed": seed}
    series = new_series("made", Settings("Edges", "Which keep?", **{**chosen, **settings}), colours)
    base = [names[tile % len(names)] for tile in range(tiles)]
    table = pd.DataFrame(
        {
            "tile": range(1, tiles + 1),
            "base": pd.Series(base, dtype="str"),
            "coats": 2,
            "mesh": 80,
            "coat_weight": 60.0,
            "session": [1 + tile // 4 for tile in range(tiles)],
        }
    )
    spots = [(tile, place) for tile in table["tile"] for place in range(1, per_tile + 1)]
    overlays = [o for _ in range(tiles) for o in random.choice(names, per_tile, len(names) < 4)]
    patches = pd.DataFrame(
        {
            "patch": pd.Series([patch_name(*spot) for spot in spots], dtype="str"),
            "tile": [tile for tile, _ in spots],
            "position": [place for _, place in spots],
            "overlay": pd.Series(overlays, dtype="str"),
            "mesh": [80 if place % 2 else 100 for _, place in spots],
            "coat_weight": 40.0,
            "before_firing": 1,
            "accident": pd.Series([""] * len(spots), dtype="str"),
        }
    )
    return replace(series, tiles=table, patches=patches)


def fired(series, seed=4, loss_rate=0.02):
    """The series fired and graded."""
    return fire(series, draw_truth(series.colours, seed, loss_rate=loss_rate), seed)


SIX = stock(["Ember", "Rowan", "Dusk", "Frost", "Moss", "Slate"])


def three_colours():
    return fired(laid(stock(["Ember", "Rowan", "Frost"]), tiles=6))


def thirty_colours():
    return fired(laid(stock([f"Colour {n:02d}" for n in range(30)]), tiles=12), loss_rate=0.0)


def one_family():
    return fired(laid(stock(["Ember", "Rowan", "Dusk", "Moss"], ["leaded"] * 4)))


def extra_scale():
    """A scale more, on which everything is as bad as can be: it says nothing of an edge."""
    series = fired(laid(SIX, scales=(SPREAD, PULL_THROUGH, GLOSS)))
    dull = pd.Series([4 if n % 3 else 3 for n in range(len(series.grades))], dtype="Int64")
    return replace(series, grades=series.grades.assign(gloss=dull))


def half_graded():
    """Pull-through was graded of the first half only, and one grader left gaps."""
    series = fired(laid(SIX, tiles=10))
    grades = series.grades.reset_index(drop=True)
    late = grades.index >= len(grades) // 2
    gaps = (grades["grader"] == "Ben") & (grades.index % 3 == 0)
    pulled = grades["pull_through"].mask(late)
    return replace(series, grades=grades.assign(pull_through=pulled)[~gaps].reset_index(drop=True))


def ungraded():
    return laid(SIX)


def long_names():
    names = [f"{kind} of the very long corridor {n}" for n in range(3) for kind in ("Ash", "Brick")]
    return fired(laid(stock(names)))


def other_scripts():
    names = ["朱色の釉", "Żółć", "глина", "אבן <b>", "$x_2$ & #1", "ما"]
    return fired(laid(stock(names)))


def one_grader():
    series = fired(laid(SIX))
    return replace(series, grades=series.grades[series.grades["grader"] == "Ada"])


def lost_tiles():
    return fired(laid(SIX, tiles=10), loss_rate=0.2)


def six_patches():
    return fired(laid(SIX, tiles=3, per_tile=2), loss_rate=0.0)


KINDS = (
    three_colours, thirty_colours, one_family, extra_scale, half_graded, ungraded, long_names,
    other_scripts, one_grader, lost_tiles, six_patches,
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Made:
    """A series with everything that is told of it, and what slipped onto the screen meanwhile."""

    series: Series
    analysis: Analysis
    report: Document
    wall: Document
    html: str
    csv: bytes
    warned: tuple[str, ...]


@cache
def made_of(kind):
    """Tell a kind of series in every way, once for all tests."""
    series = kind()
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        analysis = analyse(series)
        report = whole_report(analysis)
        html = page(report)
        wall = wall_summary(analysis)
    told = tuple(f"{w.category.__name__}: {w.message} ({w.filename}:{w.lineno})" for w in said)
    csv = analysis.pairs_found.csv if len(analysis.pairs_found) else b""
    return Made(series, analysis, report, wall, html, csv, told)


@pytest.fixture(params=KINDS, ids=lambda kind: kind.__name__)
def made(request):
    return made_of(request.param)


@pytest.fixture(params=[k for k in KINDS if k is not ungraded], ids=lambda kind: kind.__name__)
def graded(request):
    return made_of(request.param)
