"""Intervals of counted shares, by hand."""

import pytest

from tests.accuracy.intervals import wilson


@pytest.mark.parametrize(
    ("hit", "of", "low", "high"),
    [
        # p = 0.8, z² = 3.8415: middle (0.8 + 0.19207) / 1.38415 = 0.71674;
        # half 1.95996 * sqrt(0.016 + 0.0096037) / 1.38415 = 0.22657 (Newcombe 1998, from memory,
        # agrees to three digits)
        (8, 10, 0.4902, 0.9433),
        # centre (0.95 + 3.8415 / 40) / (1 + 3.8415 / 20) = 0.8775, half 0.1137
        (19, 20, 0.7639, 0.9911),
        (0, 0, 0.0, 1.0),
    ],
)
def test_wilsons_interval(hit: int, of: int, low: float, high: float) -> None:
    assert wilson(hit, of) == pytest.approx((low, high), abs=2e-4)
