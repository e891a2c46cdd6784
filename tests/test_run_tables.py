"""The `run.*` tables: what site files say, and what a run looks at."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import duckdb
import pytest

from pipeline.errors import InputError
from pipeline.run_tables import ALWAYS_END_TS, ALWAYS_START_TS, Ask, local_days, prepare
from pipeline.site import Channel, Equipment, Export, Settings, Site, Visit, Zone
from pipeline.store import connect_working, create_store_tables
from pipeline.tables import tables
from pipeline.thresholds import THRESHOLDS

SECOND = 1_000_000
HOUR = 3600 * SECOND


def ts(iso: str) -> int:
    stamp = dt.datetime.fromisoformat(iso)
    assert stamp.tzinfo is not None
    return int(stamp.timestamp()) * SECOND


def site(site_id: str = "elm", **changes: Any) -> Site:
    given: dict[str, Any] = {
        "path": Path("/sites") / site_id / "site.toml",
        "id": site_id,
        "timezone": "America/Denver",
        "equipment": Equipment(kind="furnace_ac"),
    }
    return Site(**(given | changes))


@pytest.fixture
def con() -> Iterator[duckdb.DuckDBPyConnection]:
    connection = connect_working()
    connection.execute("create schema store")
    create_store_tables(connection, schema="store", with_site_id=True)
    yield connection
    connection.close()


def log(
    con: duckdb.DuckDBPyConnection,
    logger: str,
    first: str | None,
    last: str | None,
    *,
    site_id: str = "elm",
    role: str = "supply_temp",
    channel_id: int = 1,
) -> None:
    """A channel of a logger in the attached store."""
    con.execute(
        "insert into store.channel (site_id, channel_id, logger, role, first_ts, last_ts)"
        " values (?, ?, ?, ?, ?, ?)",
        [site_id, channel_id, logger, role, first and ts(first), last and ts(last)],
    )


def rows(con: duckdb.DuckDBPyConnection, table: str, *columns: str) -> list[tuple[Any, ...]]:
    return con.execute(f"select {', '.join(columns)} from {table} order by all").fetchall()


# ---------------------------------------------------------------------------- local days

# Instants of 2026: 15 U.S.C. 260a (clocks change at 02:00 standard and daylight time, second Sunday
# of March and first of November); Denver is UTC-7 in winter, so 09:00Z and 08:00Z.


def test_spring_day_has_23_hours() -> None:
    days = local_days("America/Denver", ts("2026-03-07T12:00Z"), ts("2026-03-09T12:00Z"))
    # midnights MST 07:00Z, MST 07:00Z, MDT 06:00Z, MDT 06:00Z
    assert days == [
        (dt.date(2026, 3, 7), ts("2026-03-07T07:00Z"), ts("2026-03-08T07:00Z")),
        (dt.date(2026, 3, 8), ts("2026-03-08T07:00Z"), ts("2026-03-09T06:00Z")),
        (dt.date(2026, 3, 9), ts("2026-03-09T06:00Z"), ts("2026-03-10T06:00Z")),
    ]
    assert [(b - a) // HOUR for _, a, b in days] == [24, 23, 24]


def test_autumn_day_has_25_hours() -> None:
    days = local_days("America/Denver", ts("2026-11-01T06:00Z"), ts("2026-11-02T07:00Z"))
    # the window is just that day: from 00:00 MDT (06:00Z) until 00:00 MST (07:00Z)
    assert days == [(dt.date(2026, 11, 1), ts("2026-11-01T06:00Z"), ts("2026-11-02T07:00Z"))]


def test_a_window_that_ends_at_midnight_does_not_touch_the_next_day() -> None:
    start = ts("2026-01-12T07:00Z")  # midnight in Denver
    assert len(local_days("America/Denver", start, start + 24 * HOUR)) == 1
    assert len(local_days("America/Denver", start, start + 24 * HOUR + 1)) == 2
    assert len(local_days("America/Denver", start - 1, start + 1)) == 2


def test_a_midnight_that_is_skipped_is_the_first_instant_of_its_date() -> None:
    # Santiago went from 00:00 straight to 01:00 on 2024-09-08, at 04:00Z (UTC-4 to UTC-3): a day of
    # 23 h that has no midnight. Source: the zone database; the law's hour is from memory.
    days = local_days("America/Santiago", ts("2024-09-08T12:00Z"), ts("2024-09-08T13:00Z"))
    assert days == [(dt.date(2024, 9, 8), ts("2024-09-08T04:00Z"), ts("2024-09-09T03:00Z"))]


@pytest.mark.parametrize(
    "timezone",
    [
        "America/Denver",
        "America/Phoenix",
        "America/Havana",  # clocks go back at 01:00 to 00:00: one midnight comes twice
        "America/Santiago",  # clocks go ahead at 00:00 to 01:00: one midnight never comes
        "Asia/Kathmandu",  # 5 h 45 min from UTC
        "Australia/Lord_Howe",  # clocks change by half an hour
    ],
)
def test_days_are_those_a_walk_through_the_year_finds(timezone: str) -> None:
    """Outside: the zone database, read the slow way, a quarter of an hour at a time."""
    zone = ZoneInfo(timezone)
    start, end = ts("2026-01-01T12:00Z"), ts("2027-01-01T12:00Z")
    first_instants = []
    previous = dt.datetime.fromtimestamp(start // SECOND, zone).date()
    for second in range(start // SECOND, end // SECOND + 86_400, 900):
        date = dt.datetime.fromtimestamp(second, zone).date()
        if date > previous:
            first_instants.append((date, second * SECOND))
            previous = date
    walked = [(date, a, b) for (date, a), (_, b) in pairwise(first_instants) if a < end]
    # the first of the days begins before the walk does
    assert local_days(timezone, start, end)[1:] == walked


# ---------------------------------------------------------------------------- windows


def test_window_reaches_from_the_first_reading_to_the_last(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-13T10:00Z")
    log(con, "panel", "2026-01-12T09:00Z", "2026-01-13T08:00Z", channel_id=2, role="output_w1")
    log(con, "spare", "2026-01-01T00:00Z", "2026-02-01T00:00Z", channel_id=3, role="ignore")
    log(con, "dead", None, None, channel_id=4)
    # a state is known until its log's footer says it stopped, after its last row
    con.execute(
        "insert into store.state values ('elm', 2, ?, ?, true)",
        [ts("2026-01-13T08:00Z"), ts("2026-01-13T11:00Z")],
    )
    prepare(con, [site()])
    assert rows(con, "run.window", "*") == [
        ("elm", ts("2026-01-12T09:00Z"), ts("2026-01-13T11:00Z"), "America/Denver")
    ]
    # 09:00Z is 02:00 on the 12th in Denver, 11:00Z 04:00 on the 13th
    assert rows(con, "run.day", "day") == [(dt.date(2026, 1, 12),), (dt.date(2026, 1, 13),)]


def test_clock_offsets_move_the_window(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    log(con, "panel", "2026-01-12T10:00Z", "2026-01-12T12:00Z", channel_id=2)
    # the plenum logger runs 600 s ahead: it really began at 09:50; the panel's is right
    prepare(con, [site()], aligned={("elm", "plenum"): 600.0})
    assert rows(con, "run.window", "start_ts", "end_ts") == [
        (ts("2026-01-12T09:50Z"), ts("2026-01-12T12:00Z"))
    ]
    assert rows(con, "run.clock", "*") == [("elm", "plenum", 600.0, "align")]


def test_an_offset_of_the_site_file_comes_before_one_the_data_show(
    con: duckdb.DuckDBPyConnection,
) -> None:
    log(con, "exports/plenum*.csv", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    exports = (
        Export(files="exports/plenum*.csv", clock_offset_s=420.0),
        Export(files="exports/panel*.csv"),
    )
    aligned = {("elm", "exports/plenum*.csv"): 600.0, ("elm", "exports/panel*.csv"): -30.0}
    prepare(con, [site(exports=exports)], aligned=aligned)
    assert rows(con, "run.clock", "logger", "offset_s", "source") == [
        ("exports/panel*.csv", -30.0, "align"),
        ("exports/plenum*.csv", 420.0, "site_file"),
    ]


@pytest.mark.parametrize(
    ("ask", "start", "end"),
    [
        (Ask(), "2026-01-12T10:00Z", "2026-01-12T12:00Z"),
        (Ask(start_ts=ts("2026-01-12T10:30Z")), "2026-01-12T10:30Z", "2026-01-12T12:00Z"),
        (Ask(end_ts=ts("2026-01-12T11:00Z")), "2026-01-12T10:00Z", "2026-01-12T11:00Z"),
        (
            Ask(ts("2026-01-01T00:00Z"), ts("2026-02-01T00:00Z")),
            "2026-01-12T10:00Z",
            "2026-01-12T12:00Z",
        ),
    ],
)
def test_what_was_asked_for_is_cut_to_what_was_logged(
    con: duckdb.DuckDBPyConnection, ask: Ask, start: str, end: str
) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    prepare(con, [site()], ask)
    assert rows(con, "run.window", "start_ts", "end_ts") == [(ts(start), ts(end))]


def test_nothing_logged_is_said_with_the_next_step(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "spare", "2026-01-01T00:00Z", "2026-02-01T00:00Z", role="ignore")
    with pytest.raises(InputError) as caught:
        prepare(con, [site()])
    assert caught.value.file == "/sites/elm/site.toml"
    assert "no reading of any channel" in caught.value.what
    assert "zonetrail inspect /sites/elm/exports" in str(caught.value)


@pytest.mark.parametrize(
    "ask", [Ask(start_ts=ts("2026-01-12T12:00Z")), Ask(end_ts=ts("2026-01-12T10:00Z"))]
)
def test_window_outside_the_log_says_what_the_log_holds(
    con: duckdb.DuckDBPyConnection, ask: Ask
) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    with pytest.raises(InputError) as caught:
        prepare(con, [site()], ask)
    # local time, UTC-7
    assert "2026-01-12 03:00 to 2026-01-12 05:00 (America/Denver)" in str(caught.value.expected)
    from_to = "--to 2026-01-12 03:00" if ask.start_ts is None else "--from 2026-01-12 05:00"
    assert caught.value.found == from_to


def test_a_log_of_one_instant_is_told_as_what_it_is(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T10:00Z")
    with pytest.raises(InputError, match="one instant only") as caught:
        prepare(con, [site()])
    assert caught.value.found == "readings at 2026-01-12 03:00 alone (America/Denver)"


# ---------------------------------------------------------------------------- site, zones, settings


@pytest.mark.parametrize(
    ("kind", "has_burner", "has_heat_pump"),
    [
        ("furnace", True, False),
        ("furnace_ac", True, False),
        ("dual_fuel", True, True),
        ("heat_pump", False, True),
        ("ac", False, False),
    ],
)
def test_what_is_installed(
    con: duckdb.DuckDBPyConnection, kind: str, has_burner: bool, has_heat_pump: bool
) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    prepare(con, [site(equipment=Equipment(kind=kind, fan_off_delay_s=90.0))])
    names = [
        "name",
        "kind",
        "has_burner",
        "has_heat_pump",
        "fan_output_in_gas_heat",
        "staged_by",
        "fan_on_delay_s",
        "fan_off_delay_s",
    ]
    # what nobody gave: the id for a name, G not known to cover gas heat, staging unknown, no delay
    expected = ("elm", kind, has_burner, has_heat_pump, False, "unknown", None, 90.0)
    assert rows(con, "run.site", *names) == [expected]


def test_plate_by_source_and_stage(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    equipment = Equipment(
        kind="dual_fuel",
        heating_output_btuh=(45000.0, 72000.0),
        temperature_rise_f=((30.0, 60.0),),
        cooling_output_btuh=(34000.0,),
        heat_pump_output_btuh={"at_47f": 36000.0, "at_17f": 21000.0},
        aux_kw=(10.0,),
    )
    prepare(con, [site(equipment=equipment)])
    # the band is given for the first stage only; 10 kW are 34,121 Btu/h (1 kW is 3,412.142 Btu/h)
    assert rows(con, "run.plate", "*") == [
        ("elm", "burner", "heating", 1, 30.0, 60.0, 45000.0, None),
        ("elm", "burner", "heating", 2, None, None, 72000.0, None),
        ("elm", "compressor", "cooling", 1, None, None, 34000.0, None),
        ("elm", "compressor", "heating", 1, None, None, 36000.0, 21000.0),
        ("elm", "strip", "heating", 1, None, None, pytest.approx(34121.42), None),
    ]


def test_plate_of_a_heat_pump(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    equipment = Equipment(
        kind="heat_pump",
        compressor_stages=2,
        heating_output_btuh=(20000.0, 30000.0),
        heat_pump_output_btuh={"at_47f": 36000.0, "at_17f": 21000.0},
        aux_kw=(5.0, 10.0),
    )
    prepare(con, [site(equipment=equipment)])
    # rated at full capacity, the second stage; one output switches two steps of strips: not known
    assert rows(con, "run.plate", "*") == [
        ("elm", "compressor", "heating", 2, None, None, 36000.0, 21000.0)
    ]


def test_nothing_on_the_plate(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    prepare(con, [site()])
    assert rows(con, "run.plate", "*") == []


def test_a_zone_that_only_a_channel_names_is_there(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    zones = (Zone(3, "Loft", relief=True, thermostat="heat_pump", cycles_per_hour=3, share=0.2),)
    channels = (
        Channel("Z1 call", "zone_call_w1", zone=1),
        Channel("Z3 call", "zone_call_y1", zone=3),
        Channel("Supply", "supply_temp"),
    )
    prepare(con, [site(zones=zones, channels=channels)])
    assert rows(con, "run.zone", "*") == [
        ("elm", 1, "Zone 1", False, "conventional", None, None),
        ("elm", 3, "Loft", True, "heat_pump", 3.0, 0.2),
    ]


def test_setback_follows_the_local_clock_over_its_change(con: duckdb.DuckDBPyConnection) -> None:
    # Denver's clocks go on at 02:00 on 8 March 2026: from UTC-7 to UTC-6
    log(con, "plenum", "2026-03-08T03:00Z", "2026-03-09T06:00Z")
    zones = (
        Zone(1, "Den", setback="22:00-06:00"),
        Zone(2, "Loft", setback="08:00-17:00"),
        Zone(3, "Hall"),
    )
    prepare(con, [site(zones=zones)])
    # zone 1: from 22:00 on the 7th (05:00 Z) to 06:00 on the 8th (12:00 Z, seven hours); the next
    # from 22:00 (04:00 Z), cut by the window's end. Zone 2: 08:00 to 17:00 by the new clock.
    assert rows(con, "run.setback", "zone", "start_ts", "end_ts") == [
        (1, ts("2026-03-08T05:00Z"), ts("2026-03-08T12:00Z")),
        (1, ts("2026-03-09T04:00Z"), ts("2026-03-09T06:00Z")),
        (2, ts("2026-03-08T14:00Z"), ts("2026-03-08T23:00Z")),
    ]


def test_settings_hold_from_visit_to_visit(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-16T12:00Z")
    first, second = ts("2026-01-13T17:00Z"), ts("2026-01-15T17:00Z")
    visits = (
        Visit(second - HOUR, second, "limit set", {"high_limit_f": 150.0}),
        Visit(first - HOUR, first, "delay longer", {"stage_up_delay_min": 15}),
    )
    settings = Settings(stage_up_delay_min=10, stage2_release="follows")
    prepare(con, [site(settings=settings, visits=visits)])
    assert rows(con, "run.setting", "name", "value", "value_text", "start_ts", "end_ts") == [
        # not given before the second visit: not known before it
        ("high_limit_f", 150.0, None, second, ALWAYS_END_TS),
        ("stage2_release", None, "follows", ALWAYS_START_TS, ALWAYS_END_TS),
        ("stage_up_delay_min", 10.0, None, ALWAYS_START_TS, first),
        ("stage_up_delay_min", 15.0, None, first, ALWAYS_END_TS),
    ]


def test_visits_given_are_the_visits(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-16T12:00Z")
    start, end = ts("2026-01-13T16:00Z"), ts("2026-01-13T17:00Z")
    prepare(con, [site(visits=(Visit(start, end, "filter changed"),))])
    assert rows(con, "run.visit", "*") == [("elm", start, end, "filter changed", False)]


def test_without_visits_each_loggers_first_hour_and_last_half_hour_may_be_one(
    con: duckdb.DuckDBPyConnection,
) -> None:
    log(con, "panel", "2026-01-12T10:00Z", "2026-01-16T12:00Z")
    log(con, "panel", "2026-01-12T10:05Z", "2026-01-16T11:00Z", channel_id=2)
    log(con, "short", "2026-01-12T10:00Z", "2026-01-12T10:20Z", channel_id=3)
    prepare(con, [site()])
    minutes = 60 * SECOND
    panel, last = ts("2026-01-12T10:00Z"), ts("2026-01-16T12:00Z")
    assert rows(con, "run.visit", "start_ts", "end_ts", "what", "is_assumed") == sorted(
        [
            (panel, panel + 60 * minutes, "may be the visit: first minutes of panel", True),
            (last - 30 * minutes, last, "may be the visit: last minutes of panel", True),
            # a log of 20 minutes is all visit
            (panel, panel + 20 * minutes, "may be the visit: first minutes of short", True),
            (panel, panel + 20 * minutes, "may be the visit: last minutes of short", True),
        ]
    )


def test_assumed_visits_stand_on_the_runs_clock(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-16T12:00Z")
    prepare(con, [site()], aligned={("elm", "plenum"): 600.0})
    # it runs 10 min ahead: what it wrote as 10:00 was 9:50
    assert rows(con, "run.visit", "start_ts", "end_ts") == [
        (ts("2026-01-12T09:50Z"), ts("2026-01-12T10:50Z")),
        (ts("2026-01-16T11:20Z"), ts("2026-01-16T11:50Z")),
    ]


def test_thresholds_are_the_sites_own_or_the_defaults(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z", site_id="oak")
    prepare(con, [site(thresholds={"chatter_max_s": 20.0}), site("oak")])
    default = THRESHOLDS["chatter_max_s"].value
    assert default != 20
    assert rows(con, "run.threshold", "site_id", "chatter_max_s") == [
        ("elm", 20.0),
        ("oak", default),
    ]
    made = {r[0] for r in con.execute("describe run.threshold").fetchall()}
    assert made == {"site_id", *THRESHOLDS}


def test_a_batch_keeps_its_sites_apart(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    log(con, "plenum", "2026-01-13T10:00Z", "2026-01-13T12:00Z", site_id="oak")
    prepare(
        con,
        [site(zones=(Zone(1, "Den"),)), site("oak", timezone="UTC")],
        aligned={("oak", "plenum"): 60.0},
    )
    # elm's logger of the same name keeps its clock
    assert rows(con, "run.window", "site_id", "start_ts", "timezone") == [
        ("elm", ts("2026-01-12T10:00Z"), "America/Denver"),
        ("oak", ts("2026-01-13T09:59Z"), "UTC"),
    ]
    assert rows(con, "run.zone", "site_id", "name") == [("elm", "Den")]
    assert {r[0] for r in rows(con, "run.visit", "site_id")} == {"elm", "oak"}


def test_every_run_table_is_made_even_if_empty(con: duckdb.DuckDBPyConnection) -> None:
    log(con, "plenum", "2026-01-12T10:00Z", "2026-01-12T12:00Z")
    prepare(con, [site()])
    for name, table in tables().items():
        if not name.startswith("run.") or name in (
            "run.threshold", "run.finding_window", "run.replay_level",
        ):  # fmt: skip
            continue
        assert [r[:2] for r in con.execute(f"describe {name}").fetchall()] == [
            (c.name, c.type) for c in table.with_site
        ], name
