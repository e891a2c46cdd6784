"""Unusual days, lasting changes and unusual sites, on site-days drawn from written rules."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from pipeline.thresholds import values_for
from pipeline.unusual import features, weather
from pipeline.unusual.days import judge, level
from pipeline.unusual.peers import judge_sites, qn
from pipeline.unusual.record import CANNOT_TELL, NOT_JUDGED, UNUSUAL, USUAL, Unusual

HOUR = 3600.0
FIRST = dt.date(2025, 7, 1)
KNOWN = sorted({name for f in features.FEATURES for name in f.needs} | {"outdoor_known_s"})
THRESHOLDS = values_for({})


def site_days(seed: int, n: int = 365, site_id: str = "elm") -> pd.DataFrame:
    """Days of one healthy house: cold in January, warm in July; 1,200 s of heat a degree under 60,
    500 s of second stage a degree under 30, 1,500 s of cooling a degree over 68."""
    rng = np.random.default_rng(seed)
    index = pd.date_range(FIRST, periods=n)
    level_f = np.zeros(n)
    for i in range(1, n):
        level_f[i] = 0.7 * level_f[i - 1] + 5 * rng.standard_normal()
    outdoor = 50 - 26 * np.cos(2 * np.pi * (index.day_of_year.to_numpy() - 15) / 365) + level_f
    start = index.as_unit("us").astype("int64")
    made = pd.DataFrame(
        {
            "site_id": site_id,
            "day": index.date,
            "start_ts": start,
            "end_ts": start + 86_400_000_000,
            "day_s": 86400.0,
            "outdoor_f": outdoor,
            "outdoor_low_f": outdoor - 10,
            "outdoor_high_f": outdoor + 10 + rng.standard_normal(n),
        }
    )
    for name in KNOWN:
        made[name] = 86400.0
    for feature in features.FEATURES:
        made[feature.column] = np.nan

    def spread(share: float) -> NDArray[np.float64]:
        return np.maximum(0, 1 + share * rng.standard_normal(n))

    made["heat_s"] = np.minimum(np.maximum(0, 60 - outdoor) * 1200 * spread(0.08), 86000)
    made["heat_second_s"] = np.maximum(0, 30 - outdoor) * 500 * spread(0.1)
    made["cool_s"] = np.maximum(0, outdoor - 68) * 1500 * spread(0.1)
    made["n_heat_start"] = rng.poisson(np.minimum(40, np.maximum(0, 60 - outdoor) * 1.5))
    made["static_heat_one_inwc"] = np.where(
        outdoor < 55, 0.5 + 0.01 * rng.standard_normal(n), np.nan
    )
    made["n_high_trip"] = 0
    made["room_f"] = 69 + 0.4 * rng.standard_normal(n)
    return made


def at(days: pd.DataFrame, date: str) -> int:
    """The row of a local day."""
    return int(np.flatnonzero(days["day"] == dt.date.fromisoformat(date))[0])


@pytest.fixture(scope="module")
def usual() -> pd.DataFrame:
    """A year on which nothing happens."""
    return site_days(1)


@pytest.fixture(scope="module")
def odd(usual: pd.DataFrame) -> tuple[pd.DataFrame, Unusual]:
    """The same with four more hours of second stage on a day in January, and what is said."""
    days = usual.copy()
    days.loc[at(days, "2026-01-20"), "heat_second_s"] += 4 * HOUR
    return days, judge(days, THRESHOLDS)


def test_a_day_with_too_much_second_stage_is_flagged_with_hours(
    odd: tuple[pd.DataFrame, Unusual],
) -> None:
    days, said = odd
    flagged = {d.day: d for d in said.days.unusual}
    day = flagged[dt.date(2026, 1, 20)]
    first = day.departures[0]
    assert (first.feature, first.unit) == ("heat_second_s", "h")
    i = at(days, "2026-01-20")
    assert first.value == pytest.approx(days["heat_second_s"][i] / HOUR)
    # as the house is made: 500 s a degree under 30; nine in ten of like days about it
    made = max(0.0, 30 - days["outdoor_f"][i]) * 500 / HOUR
    assert first.expected == pytest.approx(made, abs=0.4)
    assert first.low < first.expected < first.high < first.value - 2
    assert day.why.startswith(
        f"Second-stage heat {first.value:.1f} h; days as cold as this one had {first.low:.1f} to"
    )
    assert len(flagged) <= 4


def test_usual_days_have_a_score_under_one_and_no_reason(
    odd: tuple[pd.DataFrame, Unusual],
) -> None:
    _, said = odd
    others = [d for d in said.days.days if d.result == USUAL]
    assert len(others) >= 360
    assert all(d.score is not None and d.score < 1 and not d.why for d in others)


def test_too_few_days_cannot_tell_and_say_how_many_more(usual: pd.DataFrame) -> None:
    least = round(THRESHOLDS["unusual_min_days"])
    said = judge(usual[: least - 1], THRESHOLDS)
    assert (said.days.result, said.days.n_more) == (CANNOT_TELL, 1)
    assert "1 more day needed" in said.days.why
    assert all(d.result == NOT_JUDGED for d in said.days.days)
    assert said.changes.result == CANNOT_TELL
    assert judge(usual[:least], THRESHOLDS).days.n_more == 0


def test_a_log_too_short_to_judge_does_not_pay_for_what_judges() -> None:
    """In a process of its own: scikit-learn takes half a second to import."""
    code = (
        "import sys, runpy; t = runpy.run_path(sys.argv[1]);"
        "t['judge'](t['site_days'](1, 9), t['THRESHOLDS']);"
        "assert not {'sklearn', 'scipy'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code, __file__], check=True)


def test_a_day_logged_for_less_than_the_share_is_not_judged(usual: pd.DataFrame) -> None:
    days = usual.copy()
    share = THRESHOLDS["coverage_warn_frac"]
    over, under = at(days, "2026-01-10"), at(days, "2026-01-11")
    days.loc[over, "outdoor_known_s"] = share * 86400
    days.loc[under, "outdoor_known_s"] = share * 86400 - 1
    days.loc[under, "heat_second_s"] = 20 * HOUR
    said = judge(days, THRESHOLDS).days
    assert said.days[over].result != NOT_JUDGED
    assert said.days[under].result == NOT_JUDGED
    assert said.days[under].why == "outdoor air not logged enough"


def test_without_outdoor_air_it_says_so(usual: pd.DataFrame) -> None:
    days = usual.assign(outdoor_known_s=np.nan)
    assert "outdoor air was not logged" in judge(days, THRESHOLDS).days.why


def test_a_figure_that_is_not_known_is_never_nought(usual: pd.DataFrame) -> None:
    days = usual.copy()
    days.loc[5, "known_s"] = 0.0
    assert np.isnan(features.values(days, 0.9)["heat_s"].iloc[5])


def test_a_change_of_the_rooms_is_dated_with_its_size(usual: pd.DataFrame) -> None:
    days = usual.copy()
    days.loc[at(days, "2026-01-20") :, "room_f"] += 3
    said = judge(days, THRESHOLDS)
    change = next(c for c in said.changes.changes if "room_f" in {s.feature for s in c.steps})
    step = next(s for s in change.steps if s.feature == "room_f")
    assert step.kind == "step"
    assert step.first_day <= dt.date(2026, 1, 20) <= step.last_day
    assert abs((step.day - dt.date(2026, 1, 20)).days) <= 1
    assert step.size_low <= 3 <= step.size_high
    assert (step.before, step.after) == (pytest.approx(69, abs=0.2), pytest.approx(72, abs=0.2))
    # the days after are not flagged for what has changed for good
    late = [d for d in said.days.unusual if d.day > dt.date(2026, 1, 22)]
    assert not any(x.feature == "room_f" for d in late for x in d.departures)


def test_a_change_less_than_the_least_is_not_told(usual: pd.DataFrame) -> None:
    days = usual.copy()
    days.loc[180:, "room_f"] += 0.8 * features.BY_COLUMN["room_f"].least
    said = judge(days, THRESHOLDS).changes
    assert not any(s.feature == "room_f" for c in said.changes for s in c.steps)


def test_what_never_was_and_then_is_every_day_is_a_change(usual: pd.DataFrame) -> None:
    """A fan welded on, on a house whose fan never ran alone: its days before were nought."""
    days = usual.assign(fan_only_s=0.0)
    days.loc[at(days, "2026-03-27") : at(days, "2026-05-08"), "fan_only_s"] = 16 * HOUR
    steps = [s for c in judge(days, THRESHOLDS).changes.changes for s in c.steps]
    own = [(s.day, s.before, s.after) for s in steps if s.feature == "fan_only_s"]
    assert own[0] == (dt.date(2026, 3, 27), 0.0, pytest.approx(16, abs=0.5))


def test_what_comes_on_some_days_only_is_no_change(usual: pd.DataFrame) -> None:
    """Trips on one day in ten, as chance has it: most days are nought, and the others no level."""
    rng = np.random.default_rng(11)
    comes = rng.random(len(usual)) < 0.1
    days = usual.assign(n_high_trip=np.where(comes, rng.poisson(8, len(usual)), 0))
    steps = [s for c in judge(days, THRESHOLDS).changes.changes for s in c.steps]
    assert not [s for s in steps if s.feature == "n_high_trip"]


def test_a_filter_that_fills_is_a_drift_not_steps(usual: pd.DataFrame) -> None:
    days = usual.copy()
    n = np.arange(len(days))
    days["static_heat_one_inwc"] -= 0.0006 * n
    steps = [s for c in judge(days, THRESHOLDS).changes.changes for s in c.steps]
    own = [s for s in steps if s.feature == "static_heat_one_inwc"]
    assert [s.kind for s in own] == ["slope"]
    # 0.0006 a day is 0.018 in 30 days
    assert own[0].size_low <= -0.018 <= own[0].size_high
    assert "in. w.c. down in 30 days" in own[0].sentence


def test_visits_of_the_site_file_are_named_beside_a_change(usual: pd.DataFrame) -> None:
    days = usual.copy()
    i = at(days, "2026-01-20")
    days.loc[i:, "room_f"] += 3
    at_ts = int(days["start_ts"][i]) + 10 * 3_600_000_000
    visits = pd.DataFrame(
        {
            "start_ts": [at_ts, at_ts],
            "end_ts": [at_ts + 1, at_ts + 1],
            "what": ["loggers", "thermostats set"],
            "is_assumed": [True, False],
        }
    )
    changes = judge(days, THRESHOLDS, visits=visits).changes.changes
    change = next(c for c in changes if "room_f" in {s.feature for s in c.steps})
    assert change.visit == "thermostats set"
    assert change.why.endswith("a visit at that time: thermostats set.")


def test_the_order_of_rows_does_not_matter(odd: tuple[pd.DataFrame, Unusual]) -> None:
    days, said = odd
    assert judge(days.sample(frac=1, random_state=3), THRESHOLDS) == said


def test_weather_is_taken_out_as_the_house_is_made(usual: pd.DataFrame) -> None:
    value = features.values(usual, 0.9)
    air = features.weather(usual, 0.9)
    terms = weather.terms(
        {c: air[c].to_numpy(float) for c in air.columns},
        pd.DatetimeIndex(air.index).day_of_week.to_numpy().astype(np.int64),
    )
    mean_f = air["mean_f"].to_numpy()
    r = weather.removed(features.BY_COLUMN["heat_s"], value["heat_s"].to_numpy(), mean_f, terms, 28)
    assert r is not None
    cold = np.flatnonzero((mean_f > 10) & (mean_f < 45))
    # 1,200 s a degree under 60
    assert r.expected[cold] == pytest.approx((60 - mean_f[cold]) / 3, abs=0.8)
    warm = np.flatnonzero(mean_f > 66)
    assert not r.applies[warm].any()


def test_the_level_of_an_exponential_is_its_own_quantile() -> None:
    """ln(1 / share) of a unit exponential: its tail is what is carried on."""
    score = -np.log(1 - (np.arange(100_000) + 0.5) / 100_000)
    assert level(score, 0.005) == pytest.approx(np.log(200), rel=1e-3)


def test_the_level_is_blind_to_the_days_that_are_to_be_flagged() -> None:
    score = -np.log(1 - (np.arange(1000) + 0.5) / 1000)
    spoiled = score.copy()
    spoiled[-50:] = 1000.0
    assert level(spoiled, 0.005) == level(score, 0.005)


def fleet(n_sites: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Sites of one kind with a month of the same autumn each."""
    ids = [f"site-{n:02d}" for n in range(n_sites)]
    days = pd.concat([site_days(100 + n, 150, s)[110:138] for n, s in enumerate(ids)])
    sites = pd.DataFrame(
        {
            "site_id": ids,
            "kind": "furnace_ac",
            "heating_stages": 2,
            "cooling_stages": 1,
            "n_zones": 3,
        }
    )
    return days, sites


def test_a_site_unlike_its_peers_is_flagged_and_told_with_units() -> None:
    days, sites = fleet(12)
    days.loc[days["site_id"] == "site-03", "room_f"] += 4
    said = judge_sites(days, sites, THRESHOLDS)
    assert [s.site_id for s in said.sites if s.result == UNUSUAL] == ["site-03"]
    site = said.of("site-03")
    assert len(site.peers) == 11 and "site-03" not in site.peers
    assert site.departures[0].feature == "room_f"
    assert site.why.startswith("Mean of the rooms 73 °F at like weather; 11 sites like it")
    assert site.alike.startswith("furnace with cooling, 2 heating stages, 1 cooling stage, 3 zones")


def test_eight_peers_compare_seven_do_not() -> None:
    days, sites = fleet(9)
    said = judge_sites(days, sites, THRESHOLDS)
    assert {s.result for s in said.sites} == {USUAL}
    said = judge_sites(days, sites[:8], THRESHOLDS)
    assert {s.result for s in said.sites} == {CANNOT_TELL}
    assert said.sites[0].why == "Cannot compare: 7 sites like it, 8 needed."


@pytest.mark.parametrize(
    ("zones", "result"), [(4, USUAL), (5, CANNOT_TELL)], ids=["one more", "two more"]
)
def test_peers_have_nearly_as_many_zones(zones: int, result: str) -> None:
    days, sites = fleet(9)
    sites.loc[0, "n_zones"] = zones
    assert judge_sites(days, sites, THRESHOLDS).of("site-00").result == result


def test_another_kind_and_another_climate_are_no_peers() -> None:
    days, sites = fleet(10)
    other = sites.copy()
    other.loc[0, "kind"] = "dual_fuel"
    assert judge_sites(days, other, THRESHOLDS).of("site-00").peers == ()
    for name in ("outdoor_f", "outdoor_low_f", "outdoor_high_f"):
        days.loc[days["site_id"] == "site-00", name] += 30
    said = judge_sites(days, sites, THRESHOLDS)
    assert said.of("site-00").result == CANNOT_TELL
    assert "site-00" not in said.of("site-01").peers


def test_qn_of_a_normal_sample_is_its_deviation() -> None:
    sample = 5 * np.random.default_rng(4).standard_normal(801)
    assert qn(sample) == pytest.approx(5, rel=0.08)
    spoiled = sample.copy()
    spoiled[:80] = 1e6
    assert qn(spoiled) == pytest.approx(5, rel=0.35)


def test_a_figure_that_is_nought_on_all_other_days_is_told(usual: pd.DataFrame) -> None:
    days = usual.copy()
    days["fan_only_s"] = 0.0
    days.loc[at(days, "2026-02-03"), "fan_only_s"] = 9 * HOUR
    flagged = {d.day: d for d in judge(days, THRESHOLDS).days.unusual}
    assert flagged[dt.date(2026, 2, 3)].departures[0].feature == "fan_only_s"
    assert flagged[dt.date(2026, 2, 3)].why.startswith("Fan alone 9.0 h; days with weather like")


def test_what_adds_up_is_told_of_24_hours_also_where_clocks_change(usual: pd.DataFrame) -> None:
    made = usual.copy()
    at = made.index[120]
    for name in ("day_s", *KNOWN):
        made.loc[at, name] = 23 * HOUR
    made.loc[at, "n_heat_start"] = 23
    made.loc[at, "recovery_heat_s"] = 2 * HOUR
    told = features.values(made, 0.5).iloc[120]
    assert told["n_heat_start"] == pytest.approx(24.0)
    assert told["recovery_heat_s"] == 2.0  # the longest one is as long as it is


def test_cooling_that_comes_on_some_mild_days_only_is_usual_there(usual: pd.DataFrame) -> None:
    """A line through days of nought and days of plenty is wrong on both; like days say so."""
    rng = np.random.default_rng(3)
    made = usual.copy()
    outdoor = made["outdoor_f"].to_numpy(float)
    mild = (outdoor > 60) & (outdoor < 72)
    comes = rng.random(len(made)) < 0.5
    made["n_cool_start"] = np.where(
        outdoor >= 72, 30.0, np.where(mild & comes, rng.poisson(24, len(made)), 0.0)
    )
    assert mild.sum() > 40
    found = judge(made, THRESHOLDS)
    told = [d.day for d in found.days.unusual if d.departures[0].feature == "n_cool_start"]
    steps = [s for c in found.changes.changes for s in c.steps if s.feature == "n_cool_start"]
    assert len(told) <= 2
    assert steps == []
