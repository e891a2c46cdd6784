"""Degree days, hours below a temperature, local days and the change point on a published year.

Source: sample files of `opendsm` 1.2.7 (Apache-2.0), kept in weather_year/ as the package ships
them: hourly outdoor air in Illinois, daily gas of a house made with a heating balance point of
60 °F, 250 of its 1,000 therms a year without weather (il-gas-hdd-only-daily.json). Calendar 2016 in
America/Chicago is a leap year with one day of 23 and one of 25 hours. Counted from the files alone,
with pandas:

- degree days under 60 °F: 3,687.8 from hours, 3,546.5 from the means of days
- 2,101 hours at 40 °F or less, 1,377 under 35 °F, 611 under 25 °F

An hour's temperature holds for the hour here: a step is the piece of equal ends.
"""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from pipeline.run_tables import ALWAYS_END_TS, ALWAYS_START_TS, local_days
from tests.outside.stretches import HOUR, US

YEAR = Path(__file__).parent / "weather_year"
TIMEZONE = "America/Chicago"
SITE = {"site_id": "elm"}
BASE_F = 60.0


def read(name: str, time_column: str) -> pd.DataFrame:
    """A file of the package with UTC microseconds `ts` for its instants, which carry an offset."""
    frame = pd.read_csv(YEAR / name)
    instants = pd.to_datetime(frame[time_column], utc=True)
    frame["ts"] = [int(i.timestamp()) * US for i in instants]
    return frame


def local_ts(year: int, month: int, day: int) -> int:
    return int(dt.datetime(year, month, day, tzinfo=ZoneInfo(TIMEZONE)).timestamp()) * US


START_TS, END_TS = local_ts(2016, 1, 1), local_ts(2017, 1, 1)


@pytest.fixture(scope="module")
def hours() -> pd.DataFrame:
    """The hours of 2016 by the file: instant and °F."""
    frame = read("il-tempF.csv.gz", "dt")
    return frame[(frame["ts"] >= START_TS) & (frame["ts"] < END_TS)]


def fill_pieces(bench: Any, *tables: pd.DataFrame) -> None:
    """signal.piece of these; a year of hours as one frame, not row by row."""
    bench.fill("signal.piece")
    given = pd.concat(tables).assign(site_id="elm")
    bench.con.register("given", given)
    bench.con.execute("insert into signal.piece by name select * from given")
    bench.con.unregister("given")


def pieces(hours: pd.DataFrame, role: str, zone: int | None = None) -> pd.DataFrame:
    """A step an hour of that role; a role's channel has its own number."""
    return pd.DataFrame(
        {
            "channel_id": {"zone_heat_setpoint": 2}.get(role, 1),
            "role": role,
            "zone": pd.array([zone] * len(hours), dtype="Int32"),
            "start_ts": hours["ts"],
            "end_ts": hours["ts"] + HOUR * US,
            "start_value": hours["tempF"],
            "end_value": hours["tempF"],
        }
    )


def fill_year(bench: Any, start_ts: int = START_TS, end_ts: int = END_TS) -> None:
    """The site, its window and its local days."""
    window = {"start_ts": start_ts, "end_ts": end_ts, "timezone": TIMEZONE}
    bench.fill("run.window", [SITE | window])
    bench.fill(
        "run.day",
        [
            SITE | {"day": day, "start_ts": a, "end_ts": b}
            for day, a, b in local_days(TIMEZONE, start_ts, end_ts)
        ],
    )
    bench.fill_thresholds({"elm": {}})


def weather(bench: Any, hours: pd.DataFrame) -> pd.DataFrame:
    """interval.weather of the year, with the length [h] of each step."""
    fill_year(bench)
    fill_pieces(bench, pieces(hours, "outdoor_temp"))
    bench.run("interval.weather")
    found = pd.DataFrame(bench.rows("interval.weather"))
    found["h"] = (found["end_ts"] - found["start_ts"]) / (HOUR * US)
    return found


# ---------------------------------------------------------------------------- days


def test_local_days_are_the_files_own() -> None:
    """The daily file gives each local midnight with its offset: 809 days from 2015-11-22 on, of
    which two have 23 hours and two 25.
    """
    gas = read("il-gas-hdd-only-daily.csv.gz", "start")
    starts = gas["ts"].tolist()
    days = local_days(TIMEZONE, starts[0], starts[-1])
    assert [a for _, a, _ in days] == starts[:-1]
    assert [b for _, _, b in days] == starts[1:]
    lengths = pd.Series([(b - a) // (HOUR * US) for _, a, b in days])
    assert lengths.value_counts().to_dict() == {24: len(days) - 4, 23: 2, 25: 2}
    assert [str(day) for day, _, _ in days] == [t[:10] for t in gas["start"][:-1]]


# ---------------------------------------------------------------------------- hours and degrees


def test_hours_below_a_temperature(bench: Any, hours: pd.DataFrame) -> None:
    known = weather(bench, hours)
    assert known["h"].sum() == pytest.approx(366 * 24)
    for is_in, expected in (
        (known["outdoor_f"] <= 40, 2101),
        (known["outdoor_f"] < 35, 1377),
        (known["outdoor_f"] < 25, 611),
    ):
        assert known.loc[is_in, "h"].sum() == pytest.approx(expected)


def test_time_past_a_balance_point(bench: Any, hours: pd.DataFrame) -> None:
    """Strip heat alone, on all year, high point 40 °F and low point 30 °F: 8,784 - 2,101 hours
    stand above the high point (>), and as many as the file has over 35 °F above the low one by the
    margin of 5 °F. The days of the clock change have 23 and 25 hours of heat.
    """
    weather(bench, hours)
    bench.fill("run.site", [SITE | {"has_heat_pump": True, "has_burner": False}])
    always = {"start_ts": ALWAYS_START_TS, "end_ts": ALWAYS_END_TS}
    bench.fill(
        "run.setting",
        [
            SITE | always | {"name": name, "value": value}
            for name, value in (("high_balance_f", 40.0), ("low_balance_f", 30.0))
        ],
    )
    heating = {"class": "heating", "source": "strip", "in_visit": False}
    bench.fill("interval.condition", [SITE | heating | {"start_ts": START_TS, "end_ts": END_TS}])
    y1 = {"channel_id": 2, "role": "output_y1", "is_primary": True}
    bench.fill("channel.channel", [SITE | y1])
    bench.fill("signal.state")
    bench.run("measure.heat_day")
    found = pd.DataFrame(bench.rows("measure.heat_day"))
    assert len(found) == 366
    assert found["aux_above_high_s"].sum() == pytest.approx((8784 - 2101) * HOUR)
    over_35 = int((hours["tempF"] > 35).sum())
    assert found["alone_above_low_s"].sum() == pytest.approx(over_35 * HOUR)
    heat_h = (found["heat_s"] / HOUR).value_counts().to_dict()
    assert heat_h == {24.0: 364, 23.0: 1, 25.0: 1}


def test_degree_days_from_hours_and_from_days(bench: Any, hours: pd.DataFrame) -> None:
    """Base 60 °F, from the tool's own steps and days: 3,687.8 and 3,546.5."""
    known = weather(bench, hours)
    from_hours = (known["h"] * (BASE_F - known["outdoor_f"]).clip(lower=0)).sum() / 24
    assert from_hours == pytest.approx(3687.8, abs=0.05)
    days = pd.DataFrame(bench.rows("run.day"))
    known["day"] = days["day"].to_numpy()[
        np.searchsorted(days["start_ts"], known["start_ts"], side="right") - 1
    ]
    known["f_h"] = known["h"] * known["outdoor_f"]
    daily = known.groupby("day")[["f_h", "h"]].sum()
    from_days = (BASE_F - daily["f_h"] / daily["h"]).clip(lower=0).sum()
    assert from_days == pytest.approx(3546.5, abs=0.05)


def test_degree_hours_are_the_years_degree_days(bench: Any, hours: pd.DataFrame) -> None:
    """A zone as cold as outdoors, setpoint 62 °F and band 2 °F: degree-hours short of 60 °F, so
    24 x 3,687.8 = 88,507; on the warm side degree-hours over 64 °F, by the file. An hour is 60
    minutes of one temperature, so whole minutes lose nothing.
    """
    fill_year(bench)
    setpoint = pieces(hours.assign(tempF=62.0), "zone_heat_setpoint", 1)
    fill_pieces(bench, pieces(hours, "zone_temp", 1), setpoint)
    bench.fill("run.site", [SITE | {"has_heat_pump": False}])
    whole = {"start_ts": START_TS, "end_ts": END_TS}
    bench.fill("interval.condition", [SITE | whole | {"class": "off", "in_visit": False}])
    bench.fill("interval.call", [SITE | whole | {"zone": 1, "mode": "heating"}])
    bench.fill("run_state.fan")
    bench.fill("interval.not_keeping_up")
    bench.fill(
        "signal.coverage",
        [
            SITE | {"channel_id": n, "role": role, "zone": 1, "coverage": 1.0, "interval_s": 3600.0}
            for n, role in ((1, "zone_temp"), (2, "zone_heat_setpoint"))
        ],
    )
    bench.run("interval.zone_minute", "measure.zone_comfort")
    (row,) = bench.rows("measure.zone_comfort")
    assert row["judged_s"] == 8784 * HOUR
    assert row["short_degree_h"] == pytest.approx(24 * 3687.8, rel=1e-4)
    assert row["over_degree_h"] == pytest.approx((hours["tempF"] - 64).clip(lower=0).sum())


# ---------------------------------------------------------------------------- change point


def test_a_burners_days_carry_the_published_change_point(bench: Any, site_log: Any) -> None:
    """A burner that uses one therm in 1,200 s and burns each day's gas in one run from midnight on:
    daily runtime and outdoor air as the tool has them, least squares over balance points of 50 to
    70 °F by half degrees, 366 days from 2015-12-26 on.

    The files are made with 60 °F. The same fit on the files alone gives 60.5 °F, 0.2146 therms per
    °F and day, 278.4 therms without weather, R² 0.908. The tool has no such fit of its own; it has
    the days.
    """
    truth = json.loads((YEAR / "il-gas-hdd-only-daily.json").read_text(encoding="utf-8"))
    assert truth["baseline_heating_balance_point"] == BASE_F
    start_ts, end_ts = local_ts(2015, 12, 26), local_ts(2016, 12, 26)
    gas = read("il-gas-hdd-only-daily.csv.gz", "start")
    gas = gas[(gas["ts"] >= start_ts) & (gas["ts"] < end_ts)]
    air = read("il-tempF.csv.gz", "dt")
    air = air[(air["ts"] >= start_ts) & (air["ts"] < end_ts)]
    assert gas["value"].max() < 72  # a therm in 1,200 s: no day is full

    second_of = [(ts - start_ts) // US for ts in gas["ts"]]
    states: list[tuple[float, float, bool]] = []
    ends = [*second_of[1:], (end_ts - start_ts) // US]
    for at, until, therms in zip(second_of, ends, gas["value"], strict=True):
        states += [(at, at + 1200 * therms, True), (at + 1200 * therms, until, False)]
    log = site_log(
        window=(0, (end_ts - start_ts) / US),
        states={("output_w1", None): states},
        timezone=TIMEZONE,
        origin_ts=start_ts,
    )
    bench.measure({"elm": log}, "measure.runtime_day")
    burnt = pd.DataFrame(bench.rows("measure.runtime_day")).set_index("day")["on_s"] / 1200
    assert burnt.sum() == pytest.approx(gas["value"].sum())

    fill_pieces(bench, pieces(air, "outdoor_temp"))
    bench.run("interval.weather")
    days = pd.DataFrame(bench.rows("run.day"))
    step = pd.DataFrame(bench.rows("interval.weather"))
    step["day"] = days["day"].to_numpy()[
        np.searchsorted(days["start_ts"], step["start_ts"], side="right") - 1
    ]
    outdoor_f = step.groupby("day")["outdoor_f"].mean()  # steps of five minutes, all alike
    assert (burnt.index == outdoor_f.index).all() and len(burnt) == 366

    best = (np.inf, 0.0, 0.0, 0.0)
    for point_f in np.arange(50, 70.25, 0.5):
        under = np.column_stack([np.ones(366), (point_f - outdoor_f).clip(lower=0)])
        (base, slope), (squares,), *_ = np.linalg.lstsq(under, burnt.to_numpy(), rcond=None)
        best = min(best, (float(squares), float(point_f), float(slope), float(base)))
    squares, point_f, slope, base = best
    assert point_f == 60.5
    assert abs(point_f - truth["baseline_heating_balance_point"]) <= 0.5
    assert slope == pytest.approx(0.2146, abs=5e-5)
    assert 366 * base == pytest.approx(278.4, abs=0.05)
    assert 1 - squares / ((burnt - burnt.mean()) ** 2).sum() == pytest.approx(0.908, abs=5e-4)
