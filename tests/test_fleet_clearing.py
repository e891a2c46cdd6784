"""A site with nothing found is cleared only of what its log could have shown."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from pipeline.findings import rules
from pipeline.fleet.clearing import not_cleared, quiet
from pipeline.fleet.known import TOP, season_of, state_of, way_of
from pipeline.fleet.rows import SiteRows
from pipeline.fleet.season import Season
from pipeline.fleet_result import TOPS, WAYS
from pipeline.site import Equipment, Site, Visit
from pipeline.store import connect_working
from pipeline.tables import tables
from pipeline.thresholds import values_for

NUMBERS = values_for({})
WINTER = Season(1.0, 0.0, True)
H = 3600.0
SITE = Site(Path("ash/site.toml"), "ash", "UTC", Equipment("furnace_ac", heating_stages=1))


def rows(n_days: int = 7, **columns: float | list[float]) -> SiteRows:
    """Whole days with two hours of heat each, every channel known; `columns` over that."""
    days = pd.DataFrame(
        {c.name: [0.0] * n_days for c in tables()["unusual.site_day"].columns}
        | {"heat_s": [2 * H] * n_days, "heat_one_zone_s": [H] * n_days}
        | {c: [24 * H] * n_days for c in ("outputs_known_s", "calls_known_s", "supply_known_s")}
        | {c: [24 * H] * n_days for c in ("return_known_s", "static_known_s", "rooms_known_s")}
        | columns
    )
    days["day"] = pd.date_range("2026-01-05", periods=n_days)
    made = SiteRows("ash", {}, days=days)
    made.results[("week", 0)] = {"high-limit-trips": "not found", "low-limit-trips": "not found"}
    made.whys[("week", 0)] = {}
    made.units = [("week", 0, dt.date(2026, 1, 5), dt.date(2026, 1, 11))]
    return made


def why(made: SiteRows, site: Site = SITE, coverage: float = 1.0, season: Season = WINTER):
    return not_cleared(site, made, coverage, season, NUMBERS)


def test_a_week_of_heat_that_could_show_it_clears_a_site_in_winter() -> None:
    assert why(rows()) == ()


@pytest.mark.parametrize(("hours", "is_cleared"), [(9.9, False), (10.0, True)])
def test_hours_of_the_season_to_come_are_asked_for(hours: float, is_cleared: bool) -> None:
    told = why(rows(heat_s=[hours * H, *[0.0] * 6]))
    assert (told == ()) is is_cleared
    if not is_cleared:
        assert told[0].startswith("Too little heating seen: 9.9 h")


def test_a_winters_log_does_not_clear_a_site_for_summer() -> None:
    assert why(rows(), season=Season(0.0, 0.9, True)) == ("Too little cooling seen: none.",)
    assert why(rows(), season=Season(0.9, 0.19, True)) == ()


def test_half_covered() -> None:
    assert why(rows(), coverage=0.5) == ()
    assert why(rows(), coverage=0.49)[0].startswith("Half covered")


def test_a_logger_that_died_is_named_with_its_channels() -> None:
    known = [*[24 * H] * 4, 0.0, 0.0, 0.0]  # silent on the last three days
    told = why(rows(supply_known_s=known, return_known_s=known))
    assert told == ("Supply air and return air not logged since Thu Jan 8: a logger that died?",)
    assert why(rows(supply_known_s=[*[24 * H] * 5, 0.0, 0.0])) == ()


def test_what_the_rule_that_clears_could_not_tell() -> None:
    made = rows()
    made.results[("week", 0)]["high-limit-trips"] = "cannot tell"
    made.whys[("week", 0)]["high-limit-trips"] = "Not logged: supply air."
    assert why(made) == ("Heating: Not logged: supply air.",)


def test_second_stage_and_one_zone_have_to_have_been_seen() -> None:
    two = replace(SITE, equipment=Equipment("furnace", heating_stages=2))
    assert why(rows(), two) == ("No second-stage heating seen yet.",)
    assert why(rows(heat_second_s=[60.0, *[0.0] * 6]), two) == ()


def test_nothing_logged_for_two_weeks_unless_a_visit_took_the_loggers() -> None:
    last = int(dt.datetime(2026, 1, 11, 12, tzinfo=dt.UTC).timestamp() * 1e6)
    on = dt.date(2026, 1, 25)
    assert quiet(SITE, last, on - dt.timedelta(days=1), NUMBERS) == ""
    assert quiet(SITE, last, on, NUMBERS).startswith("Nothing logged since Sun Jan 11 (14 days)")
    taken = replace(SITE, visits=(Visit(last, last + 60_000_000, "loggers taken"),))
    assert quiet(taken, last, on, NUMBERS) == ""


# ---------------------------------------------------------------------- what is declared


def test_what_is_known_names_findings_that_there_are() -> None:
    codes = {r.code for r in rules()}
    assert set(TOP) <= codes
    assert set(TOP.values()) == set(TOPS)
    for rule in rules():
        d = rule.declaration
        checks = [c.how for c in d.check_next]
        assert way_of(rule.code, checks, d.cautions) in WAYS
        assert season_of(rule.code) in ("heating", "cooling", ""), state_of(rule.code)


def test_a_worker_draws_no_progress_on_standard_output() -> None:
    with connect_working() as con:
        assert con.execute("select current_setting('enable_progress_bar')").fetchone() == (False,)
