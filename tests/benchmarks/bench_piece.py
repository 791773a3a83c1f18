"""Will a piece hold: do the stated chances come true, and is the advice worth following?

Studios are drawn from `studios.Population`, whose ranges are wide. Each fires one series of 72
random patches, graded by two people; then random pieces of 2 to 10 layers are asked about, and made
in truth: one tile, one session, every stencil with its own luck, at the firing count that the order
of layers gives it.

    python tests/benchmarks/bench_piece.py 200
"""

import sys
import time
import warnings
from dataclasses import dataclass
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from bench_honesty import COLOURS, Kind, random_series
from studios import Population

from kit.mixed import Array
from kit.model import ENDINGS
from kit.piece import (
    BASE,
    WISHES,
    BaseCoat,
    Knowledge,
    Layer,
    Piece,
    as_wanted,
    best_sample,
    contact_row,
    piece_outlook,
    sample_series,
)
from kit.series import Series
from kit.studio import Truth, fire

PICTURE = Path(__file__).with_name("pieces.svg")
PIECES = 2
"""Asked about in each studio."""
SAMPLED = 4
"""One studio in so many fires a sample for its last piece too."""
MADE = 2000
"""Times that a piece is made in truth."""
CLAIM = 0.05
"""Gain of an order from which on it is held to its word."""


@dataclass(frozen=True)
class Outcome:
    """One piece: what was said and what is true."""

    layers: int
    said: float
    true: float
    best_said: float
    best_true: float
    contacts: list[tuple[float, float]]


def random_piece(random: np.random.Generator, known: Knowledge, name: str) -> Piece:
    """A piece of 2 to 10 layers, laid out as a person does who has seen the pair chart.

    Colours come at random; what is wanted of a layer is mostly the ending that its first contact
    leans to when it has been fired twice, and otherwise anything.
    """
    names = COLOURS["colour"].tolist()
    base = BaseCoat(str(random.choice(names)))
    layers: list[Layer] = []
    for k in range(int(random.integers(2, 11))):
        on: tuple[str, ...] = (BASE,)
        if layers and random.random() < 0.3:
            under = layers[int(random.integers(len(layers)))].name
            on = (under,) if random.random() < 0.5 else (BASE, under)
        layers.append(
            Layer(
                f"layer {k + 1}", str(random.choice(names)), on, stencils=int(random.integers(1, 4))
            )
        )
    piece = Piece(name, name, base, tuple(layers), int(random.random() < 0.2))
    rows = [contact_row(piece, layer.name, layer.on[0], 2) for layer in layers]
    leaning = known.draws(rows, 1).shares.mean(axis=0).argmax(axis=1)
    for layer, ending in zip(layers, leaning, strict=True):
        wish = WISHES[int(ending)] if random.random() < 0.8 else str(random.choice(WISHES))
        piece = piece.with_layer(layer.name, wanted=wish)
    return piece


def made(piece: Piece, truth: Truth, known: Knowledge, seed: int) -> tuple[Array, Array]:
    """Make a piece many times in truth.

    Returns
    -------
    (contacts, MADE) array of bool
        Whether one stencil of each contact ended as wanted.
    (MADE,) array of bool
        Whether every stencil of every contact did.
    """
    random = np.random.default_rng(seed)
    counts = piece.firings()
    rows = [contact_row(piece, c.layer, c.under, counts[c.layer]) for c in piece.contacts]
    frame = known.frame(rows)
    rule, scales = known.rule, truth.scales
    rho = truth.state_correlation
    root = np.linalg.cholesky(np.array([[1, rho], [rho, 1]]))

    def normal(*shape: int) -> Array:
        drawn: Array = random.standard_normal((*shape, 2)) @ root.T
        return drawn

    names = ("spread", "pull_through")
    tile, session = normal(MADE), normal(MADE)
    first = np.zeros((len(rows), MADE), dtype=bool)
    whole = np.ones(MADE, dtype=bool)
    latent = {name: truth.latent(frame, name) for name in names}
    for place, contact in enumerate(piece.contacts):
        layer = piece.layer(contact.layer)
        good = [e for e in ENDINGS if as_wanted(layer.wanted, e)]
        for stencil in range(layer.stencils):
            patch = normal(MADE)
            step = {}
            for k, name in enumerate(names):
                own = scales[name]
                z = (
                    latent[name][place]
                    + own.tile_sd * tile[:, k]
                    + own.session_sd * session[:, k]
                    + own.patch_sd * patch[:, k]
                )
                step[name] = np.searchsorted(own.cuts, z)
            broken = step["pull_through"] >= rule.breaks_through_from
            fine = np.maximum(step["spread"], step["pull_through"]) <= rule.fine_edge_at_most
            ending = np.where(fine, "fine edge", np.where(broken, "broken through", "soft edge"))
            right = np.isin(ending, good)
            whole &= right
            if stencil == 0:
                first[place] = right
    return first, whole


def studio(seed: int) -> tuple[list[Outcome], list[tuple[float, float, float]]]:
    """One studio: pieces asked about, and a sample fired against as many random patches."""
    truth = Population().draw(COLOURS, seed)
    series = fire(random_series(Kind(72, 2), seed), truth, seed)
    known = Knowledge.of([series])
    random = np.random.default_rng(seed)
    outcomes = []
    for k in range(PIECES):
        piece = random_piece(random, known, f"piece-{k}")
        told = piece_outlook(piece, known)
        first, whole = made(piece, truth, known, seed)
        _, better = made(told.best, truth, known, seed)
        contacts = list(zip([c.one for c in told.contacts], first.mean(axis=1), strict=True))
        outcomes.append(
            Outcome(
                len(piece.layers),
                told.chance,
                float(whole.mean()),
                told.best_chance,
                float(better.mean()),
                contacts,
            )
        )
    if seed % SAMPLED:
        return outcomes, []
    return outcomes, [gain_of_sample(piece, truth, series, known, seed)]


def gain_of_sample(
    piece: Piece, truth: Truth, series: Series, known: Knowledge, seed: int
) -> tuple[float, float, float]:
    """True chance of the order advised now, after the sample, and after random patches."""
    sample = best_sample(piece, known, 4, 1)
    told = [piece_outlook(piece, known)]
    planned = sample_series(sample, series, "sample")
    random_one = random_series(Kind(4, 2), seed + 5000)
    for more in (planned, random_one):
        fired = fire(more, truth, seed + 7)
        try:
            again = Knowledge.of([series, fired])
        except Exception:
            told.append(told[0])
            continue
        told.append(piece_outlook(piece, again))
    return tuple(  # type: ignore[return-value]
        float(made(one.best, truth, known, seed + 9)[1].mean()) for one in told
    )


def calibration(said: Array, true: Array, bins: int = 10) -> tuple[float, pd.DataFrame]:
    """Mean distance between what is said and what is true, in tenths of what is said."""
    place = np.minimum((said * bins).astype(int), bins - 1)
    table = pd.DataFrame({"bin": place, "said": said, "true": true})
    grouped = table.groupby("bin").agg(
        said=("said", "mean"), true=("true", "mean"), n=("said", "size")
    )
    error = float((np.abs(grouped["said"] - grouped["true"]) * grouped["n"]).sum() / len(said))
    return error, grouped


def main(studios: int) -> None:
    start = time.perf_counter()
    warnings.simplefilter("ignore")
    outcomes: list[Outcome] = []
    samples = []
    for seed in range(1, studios + 1):
        own, gained = studio(seed)
        outcomes += own
        samples += gained
        if seed % 20 == 0:
            print(f"{seed} studios, {time.perf_counter() - start:.0f} s", file=sys.stderr)
    said = np.array([o.said for o in outcomes])
    true = np.array([o.true for o in outcomes])
    error, table = calibration(said, true)
    contacts = np.array([c for o in outcomes for c in o.contacts])
    print(f"{studios} studios, {len(outcomes)} pieces, {len(contacts)} contacts.\n")
    print(f"- whole piece: calibration error {error:.3f}")
    print(
        f"- one contact: calibration error {calibration(contacts[:, 0], contacts[:, 1])[0]:.3f}\n"
    )
    print("| layers | pieces | said | true | calibration error |\n| --- | --- | --- | --- | --- |")
    for low, high in ((2, 3), (4, 5), (6, 7), (8, 10)):
        own = np.array([low <= o.layers <= high for o in outcomes])
        print(
            f"| {low} to {high} | {own.sum()} | {said[own].mean():.3f} | {true[own].mean():.3f} | "
            f"{calibration(said[own], true[own], 5)[0]:.3f} |"
        )
    claims = [o for o in outcomes if o.best_said - o.said >= CLAIM]
    better = sum(o.best_true > o.true for o in claims)
    print(
        f"\n- orders that claim {CLAIM:.0%} or more: {len(claims)}; better in truth: {better}; "
        f"gain said {np.mean([o.best_said - o.said for o in claims]):.3f}, "
        f"true {np.mean([o.best_true - o.true for o in claims]):.3f}"
    )
    now, sample, luck = np.array(samples).mean(axis=0)
    apart = np.array(samples)[:, 1] - np.array(samples)[:, 2]
    print(
        f"- pieces that end as wanted in the order advised: before {now:.3f}, after the sample "
        f"{sample:.3f}, after as many random patches {luck:.3f} (sample ahead by "
        f"{apart.mean():.4f}, standard error {apart.std() / np.sqrt(len(apart)):.4f})"
    )
    print(f"- took {time.perf_counter() - start:.0f} s")
    draw(table)


def draw(table: pd.DataFrame) -> None:
    figure, axes = plt.subplots(figsize=(4, 4))
    axes.plot([0, 1], [0, 1], color="#9aa3ad", linewidth=1)
    axes.scatter(table["said"], table["true"], s=10 + 0.5 * table["n"], color="#16697a")
    axes.set(
        xlabel="chance said that the whole piece holds",
        ylabel="share of pieces that hold",
        title="What is said of a piece comes true",
        xlim=(0, 1),
        ylim=(0, 1),
    )
    figure.tight_layout()
    figure.savefig(PICTURE, metadata={"Date": None})


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
