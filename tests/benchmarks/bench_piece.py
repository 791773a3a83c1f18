"""Will a piece hold: do the stated chances come true, and is the advice worth following?

Studios are drawn from `studios.Population`, whose ranges are wide. Each fires one series of 72
random patches, graded by two people; then random pieces of 2 to 10 layers are asked about, and made
in truth: many times, each on one tile in one session, every stencil with its own luck, at the
firing count that the order of layers gives it.

Each studio also looks for a piece with something left to decide: of 2 to 6 layers, of which the
best that is known now ends as wanted with a chance between 1 and 9 in 10, and for which the kit
expects a sample to change the outcome. It fires the sample advised, and as many random patches
instead, by the same graders; asks again; does what is then advised first; and makes the piece in
truth.

    python tests/benchmarks/bench_piece.py 1 50 found.jsonl      studios 1 to 50, added as they come
    python tests/benchmarks/bench_piece.py found.jsonl           what was found in all
"""

import json
import sys
import warnings
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from bench_honesty import COLOURS, Kind, random_series
from scipy.special import ndtr
from studios import Population

from kit.mixed import Array
from kit.model import EndingDraws
from kit.model.correlated_scores import both_below
from kit.piece import (
    BASE,
    WISHES,
    BaseCoat,
    Knowledge,
    Layer,
    Piece,
    PieceSample,
    advice,
    best_sample,
    changes,
    contact_row,
    open_ways,
    piece_outlook,
    sample_series,
)
from kit.piece.contact_draws import ContactRow, chance_as_wanted
from kit.piece.outlook import rows_of, whole_chances
from kit.series import Series
from kit.studio import Truth, fire

PICTURE = Path(__file__).with_name("pieces.svg")
PIECES = 2
"""Asked about in each studio."""
TRIES = 4
"""Pieces that a studio thinks of until one leaves something to decide."""
FIRED = 2
"""Times that each sample is fired, to tell its worth from its luck."""
MADE = 1024
"""Times that a piece is made in truth."""
CLAIM = 0.05
"""Gain of a change from which on it is held to its word."""
SURE = 0.66
"""Sureness from which on a change is said to help, rather than perhaps to help."""
STOCK = COLOURS["colour"].tolist()


@dataclass(frozen=True)
class Claimed:
    """One change advised: what was said and what is true."""

    kind: str
    gain: float
    sure: float
    true: float


@dataclass(frozen=True)
class Sampled:
    """One sample: what was said of it, and pieces that end as wanted before and after."""

    now: float
    then: float
    before: float
    after: float
    after_random: float


@dataclass(frozen=True)
class Asked:
    """One piece asked about."""

    studio: int
    layers: int
    said: float
    true: float
    contacts: list[tuple[float, float]]
    claims: list[Claimed]


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


def made(truth: Truth, rows: list[ContactRow], known: Knowledge) -> EndingDraws:
    """What stencils come to in truth on MADE tiles; only what varies on a tile is left to luck."""
    random = np.random.default_rng(1)
    frame, rule, rho = known.frame(rows), known.rule, truth.state_correlation
    shared = random.standard_normal((MADE, 2))
    shared[:, 1] = rho * shared[:, 0] + np.sqrt(1 - rho**2) * shared[:, 1]
    held, broken = [], []
    for k, name in enumerate(("spread", "pull_through")):
        own = truth.scales[name]
        off = np.hypot(own.tile_sd, own.session_sd) * shared[:, [k]]
        for step, bounds in (
            (rule.fine_edge_at_most, held),
            (rule.breaks_through_from - 1, broken),
        ):
            bounds.append((own.cuts[step] - truth.latent(frame, name) - off) / own.patch_sd)
    fine = both_below(held[0], held[1], rho)
    through = np.minimum(1 - ndtr(broken[1]), 1 - fine)
    return EndingDraws(np.stack([fine, 1 - fine - through, through], axis=2))


def true_chances(truth: Truth, pieces: list[Piece], known: Knowledge) -> list[float]:
    """Share of each piece that ends as wanted in truth."""
    rows = rows_of(pieces)
    found = whole_chances(pieces, rows, made(truth, rows, known)).mean(axis=1)
    return [float(share) for share in found]


def asked(seed: int, piece: Piece, truth: Truth, known: Knowledge) -> Asked:
    """Ask about a piece, and hold what is said against the truth."""
    told = piece_outlook(piece, known)
    advised = advice(told, known, changes(piece, known, STOCK))
    true, *after = true_chances(truth, [piece, *(one.change.piece for one in advised)], known)
    rows = [contact_row(piece, c.contact.layer, c.contact.under, c.firings) for c in told.contacts]
    drawn = made(truth, rows, known)
    share = [
        float(chance_as_wanted(drawn, c.wanted)[:, n].mean()) for n, c in enumerate(told.contacts)
    ]
    claims = [
        Claimed(one.change.kind, one.gain, one.sure, own - true)
        for one, own in zip(advised, after, strict=True)
    ]
    contacts = list(zip([c.one for c in told.contacts], share, strict=True))
    return Asked(seed, len(piece.layers), told.chance, true, contacts, claims)


def followed(piece: Piece, known: Knowledge) -> Piece:
    """The piece with what is advised first done to it."""
    advised = advice(piece_outlook(piece, known), known, changes(piece, known, STOCK))
    return advised[0].change.piece if advised else piece


def undecided(random: np.random.Generator, known: Knowledge) -> tuple[Piece, PieceSample] | None:
    """A piece for which the kit expects a sample to change the outcome."""
    for n in range(TRIES):
        piece = random_piece(random, known, f"undecided-{n}")
        best = piece_outlook(followed(piece, known), known).chance
        if len(piece.layers) > 6 or not 0.1 < best < 0.9:
            continue
        ways = open_ways(piece, known, STOCK, changes(piece, known, STOCK))
        sample = best_sample(ways, known, 4, 2)
        if sample.then - sample.now >= 0.01:
            return piece, sample
    return None


def sampled(
    piece: Piece, sample: PieceSample, truth: Truth, series: Series, known: Knowledge, seed: int
) -> Sampled:
    """Pieces that end as wanted when advice is followed now, after the sample, after luck."""
    pieces = [followed(piece, known)]
    patches = sum(map(len, sample.tiles))
    for n in range(FIRED):
        luck = random_series(Kind(4 * -(-patches // 4), 2), seed + 5000 + n)
        luck = replace(luck, patches=luck.patches.iloc[:patches])
        for more in (sample_series(sample, series, "sample"), luck):
            again = Knowledge.of([series, fire(more, truth, seed + 7 + n)])
            pieces.append(followed(piece, again))
    before, *after = true_chances(truth, pieces, known)
    return Sampled(
        sample.now, sample.then, before, float(np.mean(after[::2])), float(np.mean(after[1::2]))
    )


def studio(seed: int) -> Iterator[dict[str, object]]:
    """One studio: pieces asked about, and a sample fired against as many random patches."""
    truth = Population().draw(COLOURS, seed)
    series = fire(random_series(Kind(72, 2), seed), truth, seed)
    known = Knowledge.of([series])
    random = np.random.default_rng(seed)
    for k in range(PIECES):
        yield asdict(asked(seed, random_piece(random, known, f"piece-{k}"), truth, known))
    if found := undecided(random, known):
        yield {"studio": seed, **asdict(sampled(*found, truth, series, known, seed))}


def calibration(said: Array, true: Array, bins: int = 10) -> tuple[float, pd.DataFrame]:
    """Mean distance between what is said and what is true, in tenths of what is said."""
    place = np.minimum((said * bins).astype(int), bins - 1)
    table = pd.DataFrame({"bin": place, "said": said, "true": true})
    grouped = table.groupby("bin").agg(
        said=("said", "mean"), true=("true", "mean"), n=("said", "size")
    )
    error = float((np.abs(grouped["said"] - grouped["true"]) * grouped["n"]).sum() / len(said))
    return error, grouped


def measure(first: int, last: int, into: Path) -> None:
    """Measure studios and add what was found to a file, studio by studio."""
    warnings.simplefilter("ignore")
    for seed in range(first, last + 1):
        lines = [json.dumps(found) for found in studio(seed)]
        with into.open("a", encoding="utf-8") as file:
            file.write("".join(line + "\n" for line in lines))


def report(files: list[Path]) -> None:
    """Say what was found, and draw it."""
    found = [json.loads(line) for file in files for line in file.read_text("utf-8").splitlines()]
    pieces = [one for one in found if "said" in one]
    samples = pd.DataFrame([one for one in found if "now" in one])
    said, true, layers = (np.array([p[key] for p in pieces]) for key in ("said", "true", "layers"))
    contacts = np.array([c for p in pieces for c in p["contacts"]])
    error, table = calibration(said, true)
    studios = len({p["studio"] for p in pieces})
    print(f"{studios} studios, {len(pieces)} pieces, {len(contacts)} contacts.\n")
    print(f"- whole piece: calibration error {error:.3f}")
    print(f"- one contact: calibration error {calibration(*contacts.T)[0]:.3f}\n")
    print("| layers | pieces | said | true | calibration error |\n| --- | --- | --- | --- | --- |")
    for low, high in ((2, 3), (4, 5), (6, 7), (8, 10)):
        own = (low <= layers) & (layers <= high)
        print(
            f"| {low} to {high} | {own.sum()} | {said[own].mean():.3f} | {true[own].mean():.3f} | "
            f"{calibration(said[own], true[own], 5)[0]:.3f} |"
        )
    print("\n| change | said to help | claims | better in truth | gain said | gain true |")
    print("| --- | --- | --- | --- | --- | --- |")
    claims = pd.DataFrame([c for p in pieces for c in p["claims"]])
    claims = claims[claims["gain"] >= CLAIM].assign(better=lambda c: c["true"] > 0)
    claims["kind"] = claims["kind"].replace({"move": "order"})
    bands = pd.cut(claims["sure"], [0, SURE, 0.9, 1.01], right=False)
    bands = bands.cat.rename_categories(["perhaps", "probably", "very probably"])
    for (kind, band), own in claims.groupby(["kind", bands], observed=True):
        print(
            f"| {kind} | {band} | {len(own)} | {own['better'].mean():.3f} | "
            f"{own['gain'].mean():.3f} | {own['true'].mean():.3f} |"
        )
    for kind, own in claims[claims["sure"] >= SURE].groupby("kind"):
        share = own["better"].mean()
        print(
            f"- {kind}, probably or more: better in truth {own['better'].sum()} of {len(own)} "
            f"({share:.3f}, standard error {np.sqrt(share * (1 - share) / len(own)):.3f})"
        )
    ahead = samples["after"] - samples["after_random"]
    means = samples.mean()
    print(
        f"\n- {len(samples)} samples advised. Pieces that end as wanted: {means['before']:.4f} "
        f"before, {means['after']:.4f} after the sample, {means['after_random']:.4f} after as many "
        f"random patches; the sample is ahead by {ahead.mean():.4f} "
        f"(standard error {ahead.std() / np.sqrt(len(ahead)):.4f}). "
        f"Said: {means['now']:.4f} before, {means['then']:.4f} after"
    )
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
    if len(sys.argv) == 4 and sys.argv[1].isdecimal():
        measure(int(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3]))
    else:
        report([Path(name) for name in sys.argv[1:]])
