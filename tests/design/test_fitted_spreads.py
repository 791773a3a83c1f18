"""Spreads from a fit: the studio's own are known, in logits and in steps of 2.2 logits a grade."""

import numpy as np
import pandas as pd
import pytest

from kit.design import fitted_spreads, survey
from kit.model import fit_observations
from kit.series import family_pair

SD = {"base": 1.0, "overlay": 1.2, "pair": 0.8, "tile": 0.6, "patch": 0.5}
GRADE = 2.2


def graded(seed: int) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    names = [f"L{i}" for i in range(10)] + [f"U{i}" for i in range(10)]
    stock = pd.DataFrame({"colour": names, "family": ["leaded"] * 10 + ["unleaded"] * 10})
    plan = survey(stock, 60, 5, starts=1, seed=seed)
    family = stock.set_index("colour")["family"]
    plan = plan.assign(
        patch=[f"P{i}" for i in range(len(plan))],
        pair=plan["base"] + plan["overlay"],
        base_family=plan["base"].map(family),
        overlay_family=plan["overlay"].map(family),
    )
    couples = zip(plan["base_family"], plan["overlay_family"], strict=True)
    eta = pd.Series([3.0 + (family_pair(b, o) == "leaded over unleaded") for b, o in couples])
    for source, sd in SD.items():
        codes, levels = pd.factorize(plan[source])
        eta += rng.normal(0, sd, len(levels))[codes]
    rows = plan.loc[plan.index.repeat(4)].reset_index(drop=True)
    latent = np.repeat(eta.to_numpy(), 4) + rng.logistic(size=len(rows))
    return rows.assign(spread=np.searchsorted(GRADE * np.arange(4.0), latent))


def test_the_spreads_of_a_large_series_are_those_that_made_it():
    found = fitted_spreads(fit_observations(graded(seed=2), "spread"))
    for source, sd in SD.items():
        assert getattr(found, source) == pytest.approx(sd / GRADE, rel=0.45), source
    assert found.grading == pytest.approx(np.pi / np.sqrt(3) / GRADE, rel=0.15)
