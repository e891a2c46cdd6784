"""What became of a finding, unit by unit; days counted; what many sites share."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest
from scipy import stats

from pipeline.fleet.exposure import days_in_states, seen_days
from pipeline.fleet.history import Done, Looked, by_code, history, is_service
from pipeline.fleet.known import STATES
from pipeline.fleet.shared import Shares, exact_chance, shared, year_of
from pipeline.thresholds import values_for

NUMBERS = values_for({})
MONDAY = dt.date(2026, 1, 5)
SINCE = dt.date(2026, 1, 19)


def day(n: int) -> dt.date:
    return MONDAY + dt.timedelta(days=n)


def week(n: int, result: str, *events: int, severity: str = "plan") -> Looked:
    """The n-th week's answer, with events on these days of the log."""
    days = tuple(day(e) for e in events)
    return Looked("week", day(7 * n), day(7 * n + 6), result, severity, days)


def told(*looked: Looked, done: tuple[Done, ...] = ()):
    return history(
        "x", looked, done, SINCE, NUMBERS["fleet_back_after_days"], NUMBERS["fleet_clear_days"]
    )


def test_never_found_has_no_history() -> None:
    assert told(week(0, "not found"), week(1, "cannot tell")) is None


def test_first_and_last_seen_are_days_of_events() -> None:
    made = told(week(0, "found", 2, 4), week(1, "found", 8), week(2, "found", 20))
    assert (made.first_seen, made.last_seen) == (day(2), day(20))
    assert (made.status, made.n_found, made.n_looked) == ("standing", 3, 3)


def test_without_events_the_units_last_day_stands() -> None:
    assert told(week(0, "found")).last_seen == day(6)


def test_new_from_the_day_asked_about_on() -> None:
    # 19 January is the log's fifteenth day, number 14
    assert told(week(1, "not found"), week(2, "found", 14)).status == "new"
    assert told(week(1, "found", 13), week(2, "found", 14)).status == "standing"


def test_gone_is_what_a_later_week_could_have_shown_and_did_not() -> None:
    made = told(week(0, "found", 2), week(1, "not found"), week(2, "cannot tell"))
    assert (made.status, made.gone_since, made.last_looked) == ("gone", day(7), day(13))


@pytest.mark.parametrize(("days", "status"), [(3, "standing"), (4, "gone"), (5, "gone")])
def test_a_part_of_a_week_clears_from_four_days_on(days: int, status: str) -> None:
    part = Looked("week", day(7), day(7 + days - 1), "not found")
    assert told(week(0, "found", 2), part).status == status


def test_what_a_week_cannot_tell_clears_nothing() -> None:
    made = told(week(0, "found", 2), week(1, "cannot tell"))
    assert (made.status, made.gone_since) == ("not seen lately", None)


def test_a_day_by_itself_brings_a_finding_and_clears_none() -> None:
    before = Looked("day", day(7), day(7), "not found")
    after = Looked("day", day(8), day(8), "found", "act", (day(8),))
    assert told(week(0, "found", 2), before).status == "standing"
    made = told(week(0, "not found"), before, after)
    assert (made.first_seen, made.severity) == (day(8), "act")


def test_gone_since_the_visit_that_lies_between() -> None:
    visit = Done(day(5), "filter changed")
    assert told(week(0, "found", 2), week(1, "not found"), done=(visit,)).gone_since == day(5)


def test_came_back_after_a_visit_marked_done() -> None:
    visit = Done(day(5), "filter changed")
    made = told(week(0, "found", 2), week(1, "not found"), week(2, "found", 15), done=(visit,))
    assert made.status == "came back"
    assert made.came_back_after == "the visit of Sat Jan 10 (filter changed)"


def test_seen_again_in_the_week_of_the_visit_came_back_too() -> None:
    visit = Done(day(3), "filter changed")
    assert told(week(0, "found", 2, 4), done=(visit,)).status == "came back"


@pytest.mark.parametrize("events", [(2, 3), (3, 4), (4, 5)])
def test_a_visit_tells_only_between_two_days_with_it(events: tuple[int, ...]) -> None:
    # the visit's own day belongs to neither side
    visit = Done(day(3), "filter changed")
    assert told(week(0, "found", *events), done=(visit,)).status == "standing"


def test_weeks_without_it_and_no_visit_between() -> None:
    one = told(week(0, "found", 2), week(1, "not found"), week(2, "found", 15))
    two = told(
        week(0, "found", 2), week(1, "not found"), week(2, "not found"), week(3, "found", 22)
    )
    assert (one.status, two.status) == ("standing", "came back")  # 7 days; 14 days
    assert two.came_back_after == "weeks without it"


def test_loggers_set_and_taken_are_no_service() -> None:
    assert [is_service(w) for w in ("loggers set", "Loggers taken", "filter changed")] == [
        False,
        False,
        True,
    ]


# ---------------------------------------------------------------------- days


def states(**days: range) -> dict[str, frozenset[dt.date]]:
    none = {name: frozenset[dt.date]() for name in STATES}
    return none | {name: frozenset(day(n) for n in given) for name, given in days.items()}


def seen(code: str, looked: list[Looked], done: tuple[Done, ...] = (), **days: range):
    return seen_days("s", code, looked, states(**days), done, NUMBERS)


def test_days_are_counted_in_the_state_that_shows_it() -> None:
    # the furnace ran on days 0 to 4; no-heat needs it; a burner's fault on two of five
    made = seen("no-heat", [week(0, "found", 1, 3)], burner=range(5), cool=range(7))
    assert (made.n_looked, made.n_found, made.weight) == (5, 2, 3.0)


def test_weeks_that_cannot_tell_are_no_days_without_it() -> None:
    looked = [week(0, "found", 1), week(1, "cannot tell"), week(2, "not found")]
    made = seen("no-heat", looked, burner=range(21))
    assert (made.n_looked, made.n_found) == (14, 1)
    assert seen("no-heat", [week(0, "cannot tell")], burner=range(7)) is None


def test_a_finding_without_events_counts_every_day_of_its_week() -> None:
    made = seen("no-heat", [week(0, "found"), week(1, "not found")], burner=range(14))
    assert (made.n_looked, made.n_found) == (14, 7)


def test_days_before_a_service_count_until_enough_have_followed() -> None:
    visit = (Done(day(6), "igniter changed"),)
    looked = [week(0, "found", 1, 2), week(1, "not found")]
    made = seen("no-heat", looked, visit, burner=range(9))  # days 7 and 8 follow
    assert (made.n_looked, made.n_found) == (9, 2)
    made = seen("no-heat", looked, visit, burner=range(10))  # 7, 8 and 9
    assert (made.n_looked, made.n_found, made.weight) == (3, 0, 3.0)


def test_only_recent_days_count() -> None:
    looked = [week(n, "found" if n == 0 else "not found", *([1] if n == 0 else [])) for n in (0, 9)]
    assert seen("no-heat", looked, burner=range(70)).n_found == 0


def test_a_day_counts_from_half_an_hour_in_the_state() -> None:
    columns = sorted({c for _, of in STATES.values() for c in of})
    days = pd.DataFrame({c: [0.0, 0.0, 0.0] for c in columns})
    days["day"] = pd.to_datetime([day(0), day(1), day(2)])
    days["heat_s"] = [1799.0, 1800.0, 900.0]
    days["cool_s"] = [0.0, 0.0, 900.0]
    made = days_in_states(days, NUMBERS)
    assert made["heat"] == {day(1)}
    assert made["run"] == {day(1), day(2)}


# ---------------------------------------------------------------------- what many sites share


def test_exact_chance_is_fishers() -> None:
    for table in [(8, 2, 5, 25), (3, 0, 1, 30), (4, 6, 12, 18)]:
        a, b, c, d = table
        p = stats.fisher_exact([[a, b], [c, d]], alternative="greater").pvalue
        assert exact_chance(a, a + b, c, c + d) == pytest.approx(p)


def site(n: int, zones: str, found: bool, installer: str = "A") -> Shares:
    traits = (("setting", "stage2_min_zones", zones), ("installer", "installer", installer))
    return Shares(f"s{n:02d}", traits, frozenset({"trips"} if found else ()), frozenset({"trips"}))


def test_a_setting_behind_many_sites_is_named() -> None:
    sites = [site(n, "1", n < 9) for n in range(10)] + [
        site(n, "2", n == 10) for n in range(10, 40)
    ]
    (made,) = shared(sites, {"trips": "High-limit trips"}, NUMBERS)
    assert (made.what, made.value) == ("setting", "1")
    assert (made.n_with, made.n_found, made.n_other, made.n_other_found) == (10, 9, 30, 1)
    assert made.sentence == (
        "High-limit trips: 9 of 10 sites with stage2_min_zones = 1, 1 of 30 other sites."
    )


def test_what_chance_would_do_is_not_named() -> None:
    sites = [site(n, str(1 + n % 2), n % 3 == 0) for n in range(40)]
    assert shared(sites, {"trips": "High-limit trips"}, NUMBERS) == ()


def test_two_sites_with_it_are_too_few() -> None:
    # 2 of 2 against 0 of 500: chance alone would hardly do it, and yet two sites are two sites
    sites = [site(n, "1" if n < 2 else "2", n < 2) for n in range(502)]
    assert shared(sites, {"trips": "High-limit trips"}, NUMBERS) == ()


def test_year_of_an_installation() -> None:
    assert [year_of(t) for t in ("2019", "spring of 2019", "2019-05-04", "old", None)] == [
        *["2019"] * 3,
        *["", ""],
    ]


def test_what_another_finding_tells_of_in_a_week_is_no_finding_of_its_own() -> None:
    units = [("week", 0, day(0), day(6)), ("week", 7, day(7), day(13))]
    judged = {("week", 0): {"x": "found"}, ("week", 7): {"x": "found"}}
    found = {("week", 7, "x"): ("plan", (day(8),))}
    looked = by_code(units, judged, found)["x"]
    assert [u.result for u in looked] == ["cannot tell", "found"]
    assert told(*looked).first_seen == day(8)
