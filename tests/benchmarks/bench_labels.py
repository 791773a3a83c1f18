"""What labels are worth: right verdicts with them and without, and how often they enter idly.

Studios of `kit.studio.Population` fire 36 or 72 patches of random pairs of twelve colours, two
graders. Opacity, grain and fusing are written on every jar at random, each word on as many colours
of either family; in one world they tell nothing, in the other fusing explains 60 % of what colours
differ by. Each series is judged with the labels left blank and with them, in the same order of
studios, all 132 pairs after one, two and three firings.

    python tests/benchmarks/bench_labels.py [studios] [first seed] [results.csv]
"""

import sys
import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
from bench_honesty import COLOURS, COLUMNS, SCORES, SETTING, Kind, random_series
from studios import Population, ending_shares

from kit.model import NOT_KNOWN, every_pair, fit_series, pair_table, recipes, verdicts
from kit.series import FUSINGS, GRAINS, OPACITIES
from kit.studio import fire

SHARE = 0.6
FIRST_SEED = 200


def labelled(seed: int) -> pd.DataFrame:
    """Twelve colours, each label's three words dealt evenly within either family."""
    random = np.random.default_rng([seed, 1])
    own = {}
    for label, words in (("opacity", OPACITIES), ("grain", GRAINS), ("fusing", FUSINGS)):
        dealt = np.empty(len(COLOURS), object)
        for family in (0, 1):
            dealt[family::2] = random.permutation([*words, *words])
        own[label] = pd.Series(dealt, dtype="str")
    return COLOURS.assign(**own)


def measure_one(seed: int, share: float, patches: int) -> list[dict[str, object]]:
    """Hold one studio's pairs, judged without labels and with them, against its truth."""
    colours = labelled(seed)
    truth = Population(label_shares={"fusing": share} if share else {}).draw(colours, seed)
    plan = replace(random_series(Kind(patches, 2), seed), colours=colours)
    series = fire(plan, truth, seed)
    rows = []
    for labels in ("blank", "written"):
        blank = colours.assign(opacity="", grain="", fusing="")
        own = colours if labels == "written" else blank
        fits = {s: fit_series(replace(series, colours=own), s) for s in SCORES}
        table = pair_table(fits, own, SETTING, [1, 2, 3])
        recipe = recipes(every_pair(own), SETTING, [1, 2, 3], fits)
        shares = ending_shares(truth, recipe, SETTING.rule)
        undecided = (shares.max(axis=1) < SETTING.confidence).astype(float)
        right = table["verdict"].to_numpy() == verdicts(shares, undecided, SETTING.confidence)
        known = (table["verdict"] != NOT_KNOWN).to_numpy()
        chances = table[list(COLUMNS)].to_numpy()
        worth = [one for fit in fits.values() for one in fit.labels.worth]
        tells = [("fusing" in one.group) and share > 0 for one in worth]
        helps = [one.helps for one in worth]
        rows.append(
            {
                **{"explained": share, "patches": patches, "labels": labels, "seed": seed},
                "right": (right & known).mean(),
                "known": known.mean(),
                "wrong of known": 1 - right[known].mean() if known.any() else 0.0,
                "log score": float((shares * np.log(chances + 1e-9)).sum(axis=1).mean()),
                "entered, tells": np.mean([h for h, t in zip(helps, tells, strict=True) if t])
                if any(tells)
                else np.nan,
                "entered, idle": np.mean([h for h, t in zip(helps, tells, strict=True) if not t])
                if worth
                else np.nan,
            }
        )
    return rows


def main(studios: int, first: int, path: str | None) -> None:
    rows: list[dict[str, object]] = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for seed in range(first, first + studios):
            for share in (0.0, SHARE):
                for patches in (36, 72):
                    rows += measure_one(seed, share, patches)
            if path:
                pd.DataFrame(rows).to_csv(path, index=False)
    found = pd.DataFrame(rows)
    keys = ["explained", "patches", "labels"]
    print(found.drop(columns="seed").groupby(keys).mean().round(3).to_string())
    wide = found.pivot_table(index=["explained", "patches", "seed"], columns="labels")
    gain = {c: wide[c]["written"] - wide[c]["blank"] for c in ("right", "known", "log score")}
    each = pd.DataFrame(gain).groupby(["explained", "patches"])
    print("Gain by the labels, and its standard error:")
    print(pd.concat([each.mean(), each.sem().add_suffix(" se")], axis=1).round(4).to_string())


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 30,
        int(sys.argv[2]) if len(sys.argv) > 2 else FIRST_SEED,
        sys.argv[3] if len(sys.argv) > 3 else None,
    )
