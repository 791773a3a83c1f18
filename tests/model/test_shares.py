"""The scale on which shares are modelled."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import logit

from kit.model import scale_to_share, share_to_scale

shares = st.floats(0, 1)


@given(shares)
def test_a_share_comes_back_from_the_scale(share):
    assert scale_to_share(share_to_scale(share)) == pytest.approx(share, abs=1e-12)


@given(shares, shares)
def test_the_scale_keeps_the_order(one, other):
    low, high = sorted((one, other))
    assert share_to_scale(low) <= share_to_scale(high)
    assert share_to_scale(low) < share_to_scale(high) or high - low < 1e-9


def test_without_the_allowance_the_scale_is_the_logit():
    p = np.linspace(0.02, 0.98, 25)
    np.testing.assert_allclose(share_to_scale(p, 0.0), logit(p))
