"""Right verdicts against trips through the heat: random tiles, surveys, stripes, rounds.

    python tests/benchmarks/bench_heat.py heat.csv wide 0 30     # measures studios 0 to 29
    python tests/benchmarks/bench_heat.py heat.csv hard 0 20     # the same of hard studios
    python tests/benchmarks/bench_heat.py heat.csv               # prints what the file holds

Each arm plans, fires in the studio, fits both scores and judges all pairs of twelve colours after
one, two and three firings; the truth is judged by the same rule. Every tile takes six trips through
the heat: back, two base coats, three firings. A row a studio and arm is added to the file as it is
done, and what the file has already is not done again, so that runs add up.

Wide studios are drawn from `studios.Population`; stripes vary by up to 0.5 there, and small
patches 1.5 times as much as others, which no model is told. In hard ones colours and pairs follow
Student's t with three degrees of freedom, family effects are drawn without a tendency and lie
elsewhere in the workshop of an earlier series, and components are not what a plan assumes: pairs
differ much and colours little, or tiles and stripes vary much.

Right: the verdict is the true one, or the pair is left 'not known yet' where no ending's share
reaches the confidence. Strictly right: only as hit or miss there.
"""

import csv
import sys
import tempfile
import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import joblib
import numpy as np
import pandas as pd
from bench_beside_grades import photographed
from studios import Population, ending_shares

from kit.design import TileFormat, next_patches, survey
from kit.errors import StatisticalWarning
from kit.mixed import Amount
from kit.model import (
    HIT_OR_MISS,
    NOT_KNOWN,
    SERIES_PRIOR,
    PairSetting,
    ScaleFit,
    every_pair,
    fit_series,
    pair_table,
    verdicts,
)
from kit.series import FAMILY_PAIRS, Series, Settings, new_series
from kit.studio import ScaleTruth, Truth, fire

COLOURS = pd.DataFrame(
    {"colour": [f"C{i:02d}" for i in range(12)], "family": ["leaded"] * 6 + ["unleaded"] * 6}
).assign(opacity="", grain="", notes="")
SCORES = ("spread", "pull_through")
COUNTS = (1, 2, 3)
TRIPS = 6
LEAST_SD, SURE = 0.02, 0.03
"""Where a standard deviation counts as known: no less than this, and off by this share of it."""
PLANS = 3
"""Plans of each arm, taken in turn, so that no arm rests on one plan's luck."""
SETTING = PairSetting()
SETTINGS = Settings(title="Heat", question="?", graders=("A", "B"), tiles_per_session=9)
PLANNED = joblib.Memory(Path(tempfile.gettempdir()) / "heat-plans", verbose=0)
SINGLE, STRIPED = TileFormat(), TileFormat(stripes=3)
ALL_STRIPED = TileFormat(stripes=3, full_size_one_in=100)


def wide(seed: int) -> Truth:
    """A studio of the wide population, with stripes and small patches that vary more."""
    rng = np.random.default_rng([seed, 1])
    truth = Population().draw(COLOURS, seed)
    scales = {
        name: replace(own, stripe_sd=rng.uniform(0, 0.5), small_patch_sd=1.12 * own.patch_sd)
        for name, own in truth.scales.items()
    }
    return replace(truth, scales=scales)


POPULATIONS = (
    Population(),
    Population(base_sd=(0.1, 0.4), overlay_sd=(0.1, 0.4), pair_sd=(1.2, 2.2)),
    Population(tile_sd=(0.9, 1.6), patch_sd=(0.5, 1.2)),
)


def hard(seed: int) -> Truth:
    """A studio that breaks what plans assume."""
    rng = np.random.default_rng([seed, 2])
    truth = POPULATIONS[seed % len(POPULATIONS)].draw(COLOURS, seed)
    own = rng.uniform(0.5, 3.0)
    scales = {}
    for name, scale in truth.scales.items():
        heavy = {
            role: {k: float(_rms(drawn) * rng.standard_t(3) / np.sqrt(3)) for k in drawn}
            for role in ("base", "overlay", "pair")
            for drawn in (getattr(scale, role),)
        }
        families = {pair: rng.normal(-1.0, own) for pair in FAMILY_PAIRS}
        stripes = rng.uniform(0.3, 0.9)
        scales[name] = replace(
            scale, **heavy, families=families, stripe_sd=stripes, small_patch_sd=scale.patch_sd
        )
    return replace(truth, scales=scales)


def elsewhere(truth: Truth, kind: str, seed: int) -> Truth:
    """The workshop of an earlier series: the same, or with other families where it is hard."""
    if kind == "wide":
        return truth
    rng = np.random.default_rng([seed, 3])
    scales = {
        name: replace(own, families={f: v + rng.normal() for f, v in own.families.items()})
        for name, own in truth.scales.items()
    }
    return replace(truth, scales=scales)


def steady(truth: Truth) -> Truth:
    """The same studio, whose stripes and small patches vary no more than patches of full size."""
    still = {n: replace(s, stripe_sd=0.0, small_patch_sd=0.0) for n, s in truth.scales.items()}
    return replace(truth, scales=still)


STUDIOS: dict[str, Callable[[int], Truth]] = {"wide": wide, "hard": hard}


def random_tiles(tiles: int, seed: int) -> pd.DataFrame:
    """Single bases with four overlays, all drawn at random."""
    rng = np.random.default_rng(seed)
    names = COLOURS["colour"].to_numpy()
    rows = []
    for tile in range(1, tiles + 1):
        base, *overlays = rng.permutation(names)[:5]
        rows += [(tile, 1, base, overlay) for overlay in overlays]
    return pd.DataFrame(rows, columns=["tile", "stripe", "base", "overlay"])


def series_of(patches: pd.DataFrame, name: str = "plan") -> Series:
    """A series that fires these patches at the usual recipe."""
    stripes = patches.groupby("tile")["stripe"].transform("max")
    line = patches.groupby(["tile", "stripe"]).cumcount()
    position = line * stripes + patches["stripe"]
    first = patches[patches["stripe"] == 1].drop_duplicates("tile")
    settings = replace(SETTINGS, stripes=int(stripes.max()))
    tiles = pd.DataFrame({"tile": first["tile"], "base": first["base"]}).assign(
        coats=2,
        mesh=80,
        coat_weight=60.0,
        session=lambda f: (f["tile"] - 1) // 9 + 1,
        firings=pd.NA,
    )
    laid = pd.DataFrame(
        {
            "patch": [f"T{t}-{p}" for t, p in zip(patches["tile"], position, strict=True)],
            "tile": patches["tile"],
            "position": position,
            "overlay": patches["overlay"],
        }
    ).assign(mesh=100, coat_weight=40.0, before_firing=1, accident="")
    striped = patches[stripes > 1].drop_duplicates(["tile", "stripe"])
    return replace(
        new_series(name, settings, COLOURS),
        tiles=tiles.astype({"firings": "Int64"}).reset_index(drop=True),
        patches=laid.reset_index(drop=True),
        stripes=striped[["tile", "stripe", "base"]].reset_index(drop=True),
    )


@cache
@PLANNED.cache
def planned(tiles: int, tile_format: TileFormat, seed: int) -> Series:
    """The survey of so many tiles."""
    return series_of(survey(COLOURS, tiles, tile_format, graders=2, seed=seed))


@dataclass(frozen=True)
class Arm:
    """A way to plan.

    Parameters
    ----------
    name : str
    tiles : tuple of int
    layout : 'random', TileFormat
    rounds : bool
        Two thirds at once and the rest where they do most.
    steady : bool
        Fired where stripes and small patches vary no more than patches of full size.
    photographs, earlier, known : bool
        Tiles photographed as well; a series of nine random tiles before it; how much every source
        varies taken as known, which tells what limits the plan.
    every : int
        Only every so many studios, for what takes long.
    """

    name: str
    tiles: tuple[int, ...]
    layout: TileFormat | None = None
    rounds: bool = False
    steady: bool = False
    photographs: bool = False
    earlier: bool = False
    known: bool = False
    every: int = 1


ARMS = (
    Arm("random, one base", (6, 9, 12, 18)),
    Arm("survey, one base", (9, 18), SINGLE),
    Arm("survey, stripes", (6, 9, 12), STRIPED),
    Arm("rounds, stripes", (6, 9, 12), STRIPED, rounds=True, every=2),
    Arm("rounds, one base", (9,), SINGLE, rounds=True, every=4),
    Arm("random, components known", (18,), known=True, every=2),
    Arm("stripes, components known", (6, 9), STRIPED, known=True, every=2),
    Arm("stripes, as steady as full size", (6, 9), STRIPED, steady=True, every=2),
    Arm("stripes, one tile of full size", (6, 9), ALL_STRIPED, every=2),
    Arm("random, after an earlier series", (6, 18), earlier=True, every=2),
    Arm("stripes, after an earlier series", (6, 9), STRIPED, earlier=True, every=2),
    Arm("random, photographs", (18,), photographs=True, every=4),
    Arm("stripes, photographs", (6, 9), STRIPED, photographs=True, every=4),
    Arm("stripes, both", (6,), STRIPED, photographs=True, earlier=True, every=4),
)


class Studio:
    """One studio, with what its pairs truly come to; a series fired once serves several arms."""

    def __init__(self, kind: str, seed: int) -> None:
        self.kind, self.seed, self.truth = kind, seed, STUDIOS[kind](seed)
        recipe = every_pair(COLOURS).merge(pd.DataFrame({"firings": COUNTS}), how="cross")
        shares = ending_shares(self.truth, recipe.assign(mesh=100, coat_weight=40.0), SETTING.rule)
        undecided = (shares.max(axis=1) < SETTING.confidence).astype(float)
        self.true = verdicts(shares, undecided, SETTING.confidence)
        self._fired: dict[tuple[object, ...], list[Series]] = {}

    def fired(self, arm: Arm, tiles: int) -> list[Series]:
        """The series that an arm has graded in the end."""
        key = (arm.layout, arm.rounds, arm.photographs, arm.earlier, arm.steady, tiles)
        if key not in self._fired:
            self._fired[key] = [*self._before(arm), *self._own(arm, tiles)]
        return self._fired[key]

    def _before(self, arm: Arm) -> list[Series]:
        if not arm.earlier:
            return []
        series = series_of(random_tiles(9, 1000 + self.seed), "earlier")
        return [fire(series, elsewhere(self.truth, self.kind, self.seed), self.seed + 7)]

    def _own(self, arm: Arm, tiles: int) -> list[Series]:
        if arm.layout is None:
            plan = series_of(random_tiles(tiles, self.seed))
        elif arm.rounds:
            return self._in_rounds(arm.layout, tiles)
        else:
            plan = planned(tiles, arm.layout, self.seed % PLANS)
        truth = steady(self.truth) if arm.steady else self.truth
        series = fire(plan, truth, 100 * self.seed)
        if arm.photographs:
            series = photographed(series, self.truth, 100 * self.seed, "off by patch")
        return [series]

    def _in_rounds(self, layout: TileFormat, tiles: int) -> list[Series]:
        begun = round(2 / 3 * tiles)
        one = fire(planned(begun, layout, self.seed % PLANS), self.truth, 100 * self.seed)
        rest = len(layout.places(tiles - begun).stripe)
        more = next_patches(one, rest, tile_format=layout, seed=self.seed)
        return [one, fire(series_of(more, "second"), self.truth, 100 * self.seed + 1)]

    def judged(self, arm: Arm, tiles: int) -> dict[str, float]:
        """How many of all verdicts are right, given, and wrong among those given, in per cent."""
        several = self.fired(arm, tiles)
        fits = {score: fit_series(several, score) for score in SCORES}
        if arm.known:
            fits = {score: self._known(fits[score], several, score) for score in SCORES}
        given = pair_table(fits, COLOURS, SETTING, COUNTS)["verdict"].to_numpy()
        told, strict = given != NOT_KNOWN, given == self.true
        return {
            "right": 100 * (strict | (~told & (self.true == HIT_OR_MISS))).mean(),
            "strictly right": 100 * strict.mean(),
            "given": 100 * told.mean(),
            "wrong among given": 100 * (told & ~strict).sum() / max(told.sum(), 1),
        }

    def _known(self, fit: ScaleFit, several: list[Series], score: str) -> ScaleFit:
        """The same fit with every standard deviation taken to be the true one."""
        sds = true_sds(self.truth.scales[score])
        known = {
            term.name: Amount.of_sd(max(sds[term.name], LEAST_SD), SURE)
            for term in fit.results.model.terms
        }
        return fit_series(several, score, replace(SERIES_PRIOR, sources=known))


def true_sds(own: ScaleTruth) -> dict[str, float]:
    """What each term of the model truly varies by."""
    return {
        "base": _rms(own.base),
        "overlay": _rms(own.overlay),
        "base:overlay": _rms(own.pair),
        "base.refirings": _rms(own.base_refirings),
        "overlay.refirings": _rms(own.overlay_refirings),
        "tile": own.tile_sd,
        "patch": own.patch_sd,
        "grader": own.grader_sd,
        "session": own.session_sd,
        "stripe.small": own.stripe_sd,
        "small_patch.small": own.small_patch_sd,
    }


def _rms(drawn: dict) -> float:
    return float(np.sqrt(np.mean(np.square(list(drawn.values()))))) if drawn else 0.0


MEASURED = ("right", "strictly right", "given", "wrong among given")
COLUMNS = ("kind", "seed", "arm", "tiles", "trips", *MEASURED)
HEAT_OF_REFERENCE = ("random, one base", 18)
SAME_HEAT = "survey, stripes"


def measure(path: Path, kind: str, seeds: range) -> None:
    """Add what is not in the file yet, studio by studio."""
    done = set()
    if path.exists():
        held = pd.read_csv(path)
        done = set(held[["kind", "seed", "arm", "tiles"]].itertuples(index=False, name=None))
    else:
        path.write_text(",".join(COLUMNS) + "\n")
    for seed in seeds:
        studio, rows = Studio(kind, seed), []
        for arm in ARMS:
            for tiles in arm.tiles:
                if seed % arm.every or (kind, seed, arm.name, tiles) in done:
                    continue
                found = studio.judged(arm, tiles)
                rows.append([kind, seed, arm.name, tiles, TRIPS * tiles, *found.values()])
        with path.open("a", newline="") as file:
            csv.writer(file).writerows(rows)


def summary(results: pd.DataFrame) -> pd.DataFrame:
    """Means over studios with standard errors; right against 18 random tiles, and at equal heat."""
    by = results.groupby(["kind", "arm", "tiles"], sort=False)
    keys = ["kind", "seed", "arm", "tiles"]
    right = results.set_index(keys)["right"].unstack(["arm", "tiles"])  # noqa: PD010
    mean, se = by[list(MEASURED)].mean(), by[list(MEASURED)].sem()
    table = pd.DataFrame({"trips": by["trips"].first(), "studios": by.size()})
    for name in MEASURED:
        table[name] = [f"{m:.1f} ({s:.1f})" for m, s in zip(mean[name], se[name], strict=True)]

    def ahead(kind: str, arm: str, tiles: int, other: tuple[str, int]) -> str:
        if (arm, tiles) == other or other not in right:
            return ""
        own = right.loc[kind]
        apart = (own[(arm, tiles)] - own[other]).dropna()
        return f"{apart.mean():+.1f} ({apart.sem():.1f})"

    table["against 18 random"] = [ahead(*row, HEAT_OF_REFERENCE) for row in table.index]
    table["against as many striped"] = [ahead(*row, (SAME_HEAT, row[2])) for row in table.index]
    return table


def main() -> None:
    warnings.simplefilter("ignore", StatisticalWarning)
    path = Path(sys.argv[1])
    if len(sys.argv) > 2:
        measure(path, sys.argv[2], range(int(sys.argv[3]), int(sys.argv[4])))
    print(summary(pd.read_csv(path)).to_string())


if __name__ == "__main__":
    main()
