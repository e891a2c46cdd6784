"""Days of 23, 24 and 25 hours: the zone database through `zoneinfo`, and 15 U.S.C. 260a."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from pipeline.run_tables import local_days
from tests.outside.stretches import HOUR, MINUTE, US, by

# 15 U.S.C. 260a: clocks change at 02:00, second Sunday of March and first Sunday of November; the
# instants are the zone database's.
CHANGES = {
    "America/New_York": ("2026-03-08T07:00+00:00", "2026-11-01T06:00+00:00"),
    "America/Chicago": ("2026-03-08T08:00+00:00", "2026-11-01T07:00+00:00"),
    "America/Denver": ("2026-03-08T09:00+00:00", "2026-11-01T08:00+00:00"),
    "America/Los_Angeles": ("2026-03-08T10:00+00:00", "2026-11-01T09:00+00:00"),
    "America/Anchorage": ("2026-03-08T11:00+00:00", "2026-11-01T10:00+00:00"),
    "America/Phoenix": None,
    "Pacific/Honolulu": None,
}


@pytest.mark.parametrize("timezone", CHANGES)
def test_days_have_the_hours_the_law_gives_them(bench: Any, site_log: Any, timezone: str) -> None:
    zone = ZoneInfo(timezone)
    expected = [(dt.date(2026, 3, 8), 24), (dt.date(2026, 11, 1), 24)]
    if instants := CHANGES[timezone]:
        expected = [(dt.date(2026, 3, 8), 23), (dt.date(2026, 11, 1), 25)]
        for iso in instants:
            change = dt.datetime.fromisoformat(iso)
            before, after = (
                (change + dt.timedelta(seconds=s)).astimezone(zone).utcoffset() for s in (-1, 0)
            )
            assert before != after, iso
    for date, hours in expected:
        noon = int(dt.datetime.combine(date, dt.time(12), zone).timestamp()) * US
        ((day, start_ts, end_ts),) = local_days(timezone, noon, noon + 1)
        assert (day, (end_ts - start_ts) // US) == (date, hours * HOUR)
        # an output that is always on is on for just that long, and read every 5 min gives so many
        # readings: 276, 288 or 300
        log = site_log(
            window=(0, 72 * HOUR),
            states={("output_g", None): [(0, 72 * HOUR, True)]},
            timezone=timezone,
            origin_ts=start_ts - 24 * HOUR * US,
        )
        bench.measure({"elm": log}, "measure.runtime_day")
        found = by(bench.rows("measure.runtime_day"), "day")[date]
        assert (found["on_s"], found["valid_s"], found["day_s"]) == (hours * HOUR,) * 3
        assert found["on_s"] / 300 == {23: 276, 24: 288, 25: 300}[hours]


def test_a_run_through_the_hour_that_comes_twice(bench: Any, site_log: Any) -> None:
    """From 00:50 EDT to 01:10 EST on 2026-11-01 in New York is 80 minutes, not 20 (zoneinfo)."""
    zone = ZoneInfo("America/New_York")
    start = dt.datetime(2026, 11, 1, 0, 50, tzinfo=zone)
    end = dt.datetime(2026, 11, 1, 1, 10, fold=1, tzinfo=zone)
    length_s = end.timestamp() - start.timestamp()
    assert length_s == 80 * MINUTE
    log = site_log(
        window=(-HOUR, 3 * HOUR),
        states={
            ("output_w1", None): [
                (-HOUR, 0, False),
                (0, length_s, True),
                (length_s, 3 * HOUR, False),
            ]
        },
        timezone="America/New_York",
        origin_ts=int(start.timestamp()) * US,
    )
    bench.measure({"elm": log}, "measure.runtime_day")
    assert [r["on_s"] for r in bench.rows("interval.output_run")] == [length_s]
    assert by(bench.rows("measure.runtime_day"), "day")[dt.date(2026, 11, 1)]["on_s"] == length_s
