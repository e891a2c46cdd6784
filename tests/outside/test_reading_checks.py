"""Readings out of range, leaps and standing still, against the public tests of `ioos_qc`.

Its gross range, spike and flat line tests are those of the QARTOD manuals for ocean sensors, with
spans and thresholds given by the caller; here the ones that this tool uses. Left out without it
(`pip install zonetrail[dev]`).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pipeline.thresholds import THRESHOLDS

LOW, HIGH, LEAP = 35.0, 115.0, 15.0  # of return air [°F], as run.role has them
STEP_S = 60
FAIL = 4  # QARTOD's flag for what failed
START_US = 1_768_176_000_000_000


@pytest.fixture(scope="module")
def qartod() -> Any:
    return pytest.importorskip(
        "ioos_qc.qartod", reason="ioos_qc of the extra 'dev' is not installed"
    )


def readings() -> np.ndarray:
    """Two days of return air by the minute, in tenths: 70 °F and 3 °F to and fro in six hours.

    With lone leaps of 20 to 50 °F either way, some out of range, and three stretches of one value.
    """
    rng = np.random.default_rng(11)
    k = np.arange(2 * 1440)
    value = 70.0 + 3.0 * np.sin(2 * np.pi * k / 360) + rng.normal(0, 0.3, len(k))
    value[500:700] = value[500]
    value[1500:1561] = value[1500]  # 61 readings: an hour from the first to the last
    value[2000:2060] = value[2000]  # 60 readings: a minute less
    spots = rng.choice(np.arange(20, 2860, 12), 60, replace=False)
    spots = spots[((spots < 480) | (spots > 720)) & ((spots < 1480) | (spots > 1580))]
    spots = spots[(spots < 1980) | (spots > 2080)]
    value[spots] += rng.choice([-40.0, -20.0, 20.0, 50.0], len(spots))
    return np.round(value, 1)


@pytest.fixture(scope="module")
def staged(bench: Any) -> Any:
    """trust.outlier and trust.constant of these readings."""
    one = {"site_id": "elm", "channel_id": 1, "role": "return_temp"}
    value = readings()
    ts = [START_US + k * STEP_S * 1_000_000 for k in range(len(value))]
    bench.fill("channel.reading", [
        {"site_id": "elm", "channel_id": 1, "ts": t, "value": float(v)}
        for t, v in zip(ts, value, strict=True)
    ])  # fmt: skip
    bench.fill("channel.channel", [one | {"interval_s": STEP_S}])
    bench.fill("run.role", [
        {"site_id": "elm", "role": "return_temp", "low_value": LOW, "high_value": HIGH,
         "leap_value": LEAP}
    ])  # fmt: skip
    bench.fill("trust.look", [one | {"first_ts": ts[0], "last_ts": ts[-1], "n_reading": len(ts)}])
    bench.fill("trust.run")
    bench.fill_thresholds({"elm": {}})
    bench.run("trust.outlier", "trust.constant")
    return bench.rows("trust.outlier"), bench.rows("trust.constant")


def places(rows: list[dict[str, Any]]) -> set[int]:
    """Numbers of the readings strictly between the good ones around each row."""
    step = STEP_S * 1_000_000
    return {
        k
        for r in rows
        for k in range(
            (r["start_ts"] - START_US) // step + 1, (r["end_ts"] - START_US) // step
        )
    }  # fmt: skip


def test_out_of_range_agrees_with_the_gross_range_test(qartod: Any, staged: Any) -> None:
    outlier, _ = staged
    flags = qartod.gross_range_test(readings(), fail_span=(LOW, HIGH))
    theirs = set(np.flatnonzero(np.asarray(flags) == FAIL).tolist())
    assert len(theirs) >= 10
    assert places([r for r in outlier if r["is_beyond"]]) == theirs


def test_leaps_agree_with_the_spike_test(qartod: Any, staged: Any) -> None:
    """Theirs: further than the threshold from the mean of both neighbours.

    A leap's own neighbours are then off by half of it: 10 to 25 °F. So theirs is asked for the
    middle of a triple only: with the differential method, which takes the smaller of both steps and
    wants them of opposite sign.
    """
    outlier, _ = staged
    flags = qartod.spike_test(
        readings(), suspect_threshold=LEAP, fail_threshold=LEAP, method="differential"
    )
    theirs = set(np.flatnonzero(np.asarray(flags) == FAIL).tolist())
    assert len(theirs) >= 30
    assert places(outlier) == theirs  # those out of range leapt there and back too


def test_standing_still_agrees_with_the_flat_line_test(qartod: Any, staged: Any) -> None:
    """Theirs flags a reading if all of the last hour's differ by less than the tolerance."""
    _, constant = staged
    least_s = int(THRESHOLDS["constant_min_s"].value)
    value = readings()
    seconds = np.arange(len(value)) * STEP_S
    flags = qartod.flat_line_test(
        value,
        tinp=(START_US // 1_000_000 + seconds).astype("datetime64[s]"),
        suspect_threshold=least_s,
        fail_threshold=least_s,
        tolerance=0.05,
    )
    theirs = np.flatnonzero(np.asarray(flags) == FAIL)
    step = STEP_S * 1_000_000
    ours = [
        ((r["start_ts"] - START_US) // step, (r["end_ts"] - START_US) // step) for r in constant
    ]
    assert ours == [(500, 699), (1500, 1560)]
    # theirs waits for its hour in each stretch, and then flags every reading to the stretch's end
    wait = least_s // STEP_S
    assert theirs.tolist() == [k for a, b in ours for k in range(a + wait, b + 1)]
