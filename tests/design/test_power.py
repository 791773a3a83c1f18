"""Power by trial: the studio and the real model, end to end."""

from dataclasses import replace

import pandas as pd
import pytest

from kit.design import power
from kit.errors import Misuse
from kit.series import Series
from kit.studio import draw_truth, fire


def in_a_studio(series: Series, seed: int) -> Series:
    return fire(series, draw_truth(series.colours, seed), seed)


def test_a_large_difference_is_noticed_and_the_trials_repeat(planned: Series):
    said: list[str] = []
    found = power(planned, in_a_studio, studios=2, seed=3, workers=1, progress=said.append)
    again = power(planned, in_a_studio, studios=2, seed=3, workers=1)
    pd.testing.assert_frame_equal(found.trials, again.trials)
    assert (found.trials["spread"] == "agrees").all()
    assert said[-1] == "2 of 2 studios fired and fitted."
    sentences = " ".join(found.sentences())
    assert "2 times out of 2" in sentences
    assert found.trials["not_known"].between(0, 100).all()


def test_nothing_planned_has_no_power(planned: Series):
    with pytest.raises(Misuse, match="Nothing is planned"):
        power(replace(planned, patches=planned.patches.iloc[:0]), in_a_studio)
