"""The fleet brought up to date: which units are done, which are kept, what stops and goes on.

Units are measured by a stand-in here; `test_fleet_command.py` runs the stages.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.errors import InputError
from pipeline.fleet import measured, run, workers
from pipeline.fleet.measured import Task, UnitResult
from pipeline.fleet.sites import find_sites
from pipeline.fleet.units import DAY, WEEK, Unit, planned, stretch
from pipeline.result import Finding, Judged, Span
from pipeline.site_reader import read_site
from pipeline.store import attach_sites, connect_working
from pipeline.tables import tables
from tests import fleet_sites
from tests.fleet_sites import square_or_die

# nothing is measured here
write_site = partial(fleet_sites.write_site, every_min=30)
write_day = partial(fleet_sites.write_day, every_min=30)

RUN_DAY = dt.date(2026, 2, 20)
"""Long after the logs: their last weeks are judged as they are."""


def found(code: str, start_ts: int) -> Finding:
    nothing: dict[str, Any] = dict.fromkeys(("windows", "ruled_out", "causes", "cautions"), ())
    return Finding(
        code=code,
        title=code,
        severity="plan",
        about="installation",
        certainty="shown",
        summary="Seen.",
        evidence=(Span(start_ts, start_ts + 60_000_000),),
        checks=("Look.",),
        source="",
        coverage=1.0,
        resolution_s=60.0,
        **nothing,
    )


def result(unit: Unit) -> UnitResult:
    """A unit with one finding and one day."""
    day = {c.name: None for c in tables()["unusual.site_day"].columns} | {
        "day": unit.day,
        "start_ts": unit.start_ts,
        "end_ts": unit.end_ts,
    }
    return UnitResult(
        unit=unit,
        window=Span(unit.start_ts, unit.end_ts),
        findings=(found("high-limit-trips", unit.start_ts),),
        judged=(Judged("high-limit-trips", "", "", "found", ""),),
        days=pd.DataFrame([day]),
    )


class StandIn:
    """Measures nothing and remembers what it was asked for."""

    def __init__(self) -> None:
        self.done: list[Unit] = []
        self.stop_after: int | None = None

    def __call__(self, tasks: Sequence[Task]) -> list[UnitResult]:
        if self.stop_after is not None and len(self.done) >= self.stop_after:
            raise KeyboardInterrupt
        self.done += [t.unit for t in tasks]
        return [result(t.unit) for t in tasks]


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> StandIn:
    made = StandIn()
    monkeypatch.setattr(run, "measure_batch", made)
    return made


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    """Two sites: ten days (a week and three days), and eight days."""
    write_site(tmp_path / "north" / "elm", "elm", range(10))
    write_site(tmp_path / "ash", "ash", range(8))
    return tmp_path


def bring(folder: Path, run_day: dt.date = RUN_DAY) -> run.Fleet:
    with run.open_fleet(folder) as store:
        return run.bring_up_to_date(folder, store, run_day)


def kept(folder: Path) -> dict[str, pd.DataFrame]:
    with run.open_fleet(folder) as store:
        return {n: store.frame(n) for n in ("unit", "unit_finding", "unit_judged", "event", "day")}


def test_nothing_new_nothing_done(fleet: Path, stand_in: StandIn) -> None:
    first = bring(fleet)
    assert [(u.site_id, u.day.day) for u in stand_in.done] == [
        *[("ash", 5), ("elm", 5)],
        *[("ash", 12), ("elm", 12)],
    ]
    assert (first.n_units, first.n_made) == (4, 4)
    again = bring(fleet)
    assert (again.n_units, again.n_made, len(stand_in.done)) == (4, 0, 4)


def test_a_new_day_touches_its_own_week_alone(fleet: Path, stand_in: StandIn) -> None:
    bring(fleet)
    stand_in.done.clear()
    write_day(fleet / "ash", 8)
    bring(fleet)
    assert [(u.site_id, u.day.day) for u in stand_in.done] == [("ash", 12)]


def test_days_of_a_week_that_is_not_over_stand_by_themselves(
    fleet: Path, stand_in: StandIn
) -> None:
    # on 15 January elm's log has just ended (on the 14th), ash's ended three days before
    bring(fleet, dt.date(2026, 1, 15))
    assert sorted((u.day.day, u.kind) for u in stand_in.done if u.site_id == "elm") == [
        (5, WEEK),
        *[(d, DAY) for d in (12, 13, 14)],
    ]
    stand_in.done.clear()
    for day in range(10, 14):
        write_day(fleet / "north" / "elm", day)
    bring(fleet, dt.date(2026, 1, 19))
    # its week is over: it takes the place of its days
    assert [(u.kind, u.day.day) for u in stand_in.done if u.site_id == "elm"] == [(WEEK, 12)]
    units = kept(fleet)["unit"]
    assert sorted(units.loc[units.site_id == "elm", "kind"]) == [WEEK, WEEK]


PANEL = """
[[export]]
files = "exports/panel*.csv"
kind = "change_of_state"
[[channel]]
file = "exports/panel*.csv"
column = "fan out"
role = "output_g"
"""


def write_panel(folder: Path, day: int, last: str = "23:50") -> None:
    """A day's changes of the fan's output, on from `last` on."""
    rows = [f"2026-01-{5 + day:02d} {at},{on}" for at, on in (("00:00", 0), ("08:00", 1))]
    rows += [f"2026-01-{5 + day:02d} 08:20,0", f"2026-01-{5 + day:02d} {last},1", ""]
    text = "\n".join(["time,fan out", *rows])
    (folder / "exports" / f"panel{day:02d}.csv").write_text(text, encoding="utf-8")


def test_a_later_file_does_not_reopen_the_week_before(tmp_path: Path, stand_in: StandIn) -> None:
    """From the panel's last row at 23:50 to the next file's first at midnight its fan was on."""
    site = tmp_path / "ash"
    write_site(site, "ash", range(7), tail=PANEL)
    for day in range(7):
        write_panel(site, day)
    bring(tmp_path, dt.date(2026, 1, 12))
    assert [u.kind for u in stand_in.done] == [WEEK]
    # nothing is there that could say so yet, and only the panel's last file ends before the unit
    assert stand_in.done[0].told_until == ()
    for day in (7, 8):
        stand_in.done.clear()
        write_day(site, day)
        write_panel(site, day)
        bring(tmp_path, dt.date(2026, 1, 13))
        assert [(u.kind, u.day.day) for u in stand_in.done] == [(DAY, 5 + day)]


def test_states_of_a_unit_end_with_their_file_where_the_next_one_would_go_on(
    tmp_path: Path, stand_in: StandIn
) -> None:
    site = tmp_path / "ash"
    write_site(site, "ash", range(8), tail=PANEL)
    for day in range(8):
        write_panel(site, day)
    bring(tmp_path)
    week = stand_in.done[0]
    last_ts = local("2026-01-11T23:50", "UTC")
    assert week.told_until == ((1, last_ts),)
    with connect_working() as con:
        attach_sites(con, {"ash": site / "site.duckdb"}, {"ash": stretch(read_site(site), week)})
        query = "select max(end_ts) from store.state where channel_id = ?"
        assert con.execute(query, [1]).fetchall() == [(last_ts,)]
        assert con.execute(query, [8]).fetchall() == [(week.end_ts,)]


def test_what_the_site_file_says_of_people_changes_nothing(fleet: Path, stand_in: StandIn) -> None:
    bring(fleet)
    stand_in.done.clear()
    write_site(fleet / "ash", "ash", range(0), more='region = "north"\nnext_visit = "2026-03-01"')
    assert bring(fleet).n_made == 0


def test_a_setting_that_changed_judges_its_site_again(fleet: Path, stand_in: StandIn) -> None:
    bring(fleet)
    stand_in.done.clear()
    write_site(fleet / "ash", "ash", range(0), settings="low_limit_f = 42")
    bring(fleet)
    assert {u.site_id for u in stand_in.done} == {"ash"} and len(stand_in.done) == 2


def test_a_visit_touches_the_weeks_from_it_on(fleet: Path, stand_in: StandIn) -> None:
    away = '[[visit]]\nfrom = "2026-03-01T10:00"\nto = "2026-03-01T11:00"\nwhat = "a"\n'
    write_site(fleet / "ash", "ash", range(0), tail=away)
    bring(fleet)
    stand_in.done.clear()
    more = '[[visit]]\nfrom = "2026-01-12T10:00"\nto = "2026-01-12T11:00"\nwhat = "limit set"\n'
    write_site(fleet / "ash", "ash", range(0), tail=away + more)
    bring(fleet)
    assert [(u.site_id, u.day.day) for u in stand_in.done] == [("ash", 12)]


def test_stopped_and_started_again_it_goes_on(fleet: Path, stand_in: StandIn) -> None:
    stand_in.stop_after = 2
    with pytest.raises(KeyboardInterrupt):
        bring(fleet)
    assert len(kept(fleet)["unit"]) == 2
    stand_in.stop_after = None
    stand_in.done.clear()
    assert bring(fleet).n_made == 2
    whole = kept(fleet)
    (fleet / "fleet.duckdb").unlink()
    bring(fleet)
    for name, frame in kept(fleet).items():
        pd.testing.assert_frame_equal(frame, whole[name])


def test_a_site_that_was_taken_out_is_forgotten(fleet: Path, stand_in: StandIn) -> None:
    bring(fleet)
    (fleet / "ash" / "site.toml").unlink()
    bring(fleet)
    assert set(kept(fleet)["unit"]["site_id"]) == {"elm"}


def test_a_broken_site_is_named_and_stops_no_other(fleet: Path, stand_in: StandIn) -> None:
    bring(fleet)
    toml = fleet / "ash" / "site.toml"
    toml.write_text(toml.read_text().replace('kind = "furnace"', 'kind = "furnase"'))
    write_day(fleet / "north" / "elm", 10)
    made = bring(fleet)
    assert made.n_made == 1
    # the folder stands for a site whose id could not be read
    assert "site.toml:" in made.broken["ash"] and "furnase" in made.broken["ash"]


def test_a_site_without_a_reading_is_named(fleet: Path, stand_in: StandIn) -> None:
    write_site(fleet / "oak", "oak", range(0))
    made = bring(fleet)
    assert "exports" in made.broken["oak"] and made.n_made == 4


def test_two_sites_with_one_id_are_both_named(fleet: Path) -> None:
    write_site(fleet / "ash2", "ash", range(0))
    with pytest.raises(InputError) as error:
        find_sites(fleet)
    assert str(fleet / "ash" / "site.toml") in str(error.value)
    assert str(fleet / "ash2" / "site.toml") in str(error.value)


def test_a_folder_without_sites_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no site in this folder"):
        find_sites(tmp_path)
    with pytest.raises(InputError, match="no such fleet folder"):
        run.open_fleet(tmp_path / "none")


def test_a_file_of_another_layout_is_begun_anew(fleet: Path, stand_in: StandIn) -> None:
    bring(fleet)
    with run.open_fleet(fleet) as store:
        store._con.execute("update meta set value = 'older' where name = 'layout'")
    stand_in.done.clear()
    assert bring(fleet).n_made == 4


# ---------------------------------------------------------------------- batches and workers


def test_a_batch_that_fails_is_done_site_by_site(
    fleet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def measure(tasks: Sequence[Task]) -> list[UnitResult]:
        if any(t.unit.site_id == "ash" for t in tasks):
            raise ValueError("no such thing")
        return [result(t.unit) for t in tasks]

    monkeypatch.setattr(measured, "_measured", measure)
    made = bring(fleet)
    assert set(kept(fleet)["unit"]["site_id"]) == {"elm"}
    assert "no such thing" in made.broken["ash"] and "Jan 5" in made.broken["ash"]
    # and it is tried again the next time
    monkeypatch.setattr(measured, "_measured", lambda tasks: [result(t.unit) for t in tasks])
    assert (bring(fleet).n_made, bring(fleet).broken) == (2, {})


def units_of(site_id: str, n: int, n_reading: int = 10) -> list[Unit]:
    first = dt.date(2026, 1, 5)
    return [
        Unit(site_id, WEEK, first + dt.timedelta(days=7 * k), k, k + 1, "", n_reading)
        for k in range(n)
    ]


def test_a_batch_holds_each_site_once_and_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "BATCH_UNITS", 2)
    monkeypatch.setattr(run, "BATCH_READINGS", 100)
    made = run.batched([*units_of("a", 2), *units_of("b", 1), *units_of("c", 1)])
    assert [[u.site_id for u in batch] for batch in made] == [["a", "b"], ["c"], ["a"]]
    made = run.batched([*units_of("a", 1, 60), *units_of("b", 1, 60), *units_of("c", 1, 200)])
    assert [[u.site_id for u in batch] for batch in made] == [["a"], ["b"], ["c"]]


def test_a_worker_that_dies_takes_one_item_along() -> None:
    items = [1, -1, 2, 3]
    made = dict(workers.each(square_or_die, items, 2, lambda n: 0))
    assert made == {1: 1, -1: 0, 2: 4, 3: 9}


# ---------------------------------------------------------------------- units


def local(text: str, zone: str) -> int:
    from zoneinfo import ZoneInfo

    return int(dt.datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).timestamp() * 1e6)


def test_weeks_begin_on_the_logs_first_local_day_and_follow_clock_changes() -> None:
    zone = "America/Denver"
    plan: Callable[..., list[Unit]] = lambda a, b, still: planned(  # noqa: E731
        "s", zone, local(a, zone), local(b, zone), is_still_logging=still
    )
    # clocks go forward on Sunday 8 March 2026: that week has 167 hours
    made = plan("2026-03-03T10:15", "2026-03-10T09:00", False)
    assert [(u.kind, u.day.isoformat()) for u in made] == [
        ("week", "2026-03-03"),
        ("week", "2026-03-10"),
    ]
    assert (made[0].end_ts - made[0].start_ts) / 3.6e9 == 167
    assert made[1].end_ts == local("2026-03-17T00:00", zone)


@pytest.mark.parametrize(
    ("last", "kinds"),
    [
        ("2026-01-11T22:59:00", [DAY] * 7),  # more than an hour is missing
        ("2026-01-11T23:00:00", [WEEK]),  # an hour
        ("2026-01-12T00:00:00", [WEEK, DAY]),
    ],
)
def test_a_week_is_over_within_an_hour_of_its_end(last: str, kinds: list[str]) -> None:
    made = planned(
        "s", "UTC", local("2026-01-05T00:00", "UTC"), local(last, "UTC"), is_still_logging=True
    )
    assert [u.kind for u in made] == kinds


def test_a_result_without_a_window_is_not_kept(fleet: Path, monkeypatch: Any) -> None:
    monkeypatch.setattr(
        run, "measure_batch", lambda tasks: [replace(result(t.unit), window=None) for t in tasks]
    )
    bring(fleet)
    assert kept(fleet)["unit"].empty
