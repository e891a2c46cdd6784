"""What is in and what is out at the very edge: one test for each row of the guide's "Strictness".

Each log is a few stretches that a reader can check by eye, in seconds from its first instant (a
Monday 00:00 UTC). The rules are ours. Levels, bins and coverage stand in test_strictness_levels.
"""

from __future__ import annotations

import datetime as dt
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from pipeline.ingest.load import load_site
from pipeline.review import measure_sites
from pipeline.run_tables import ALWAYS_END_TS, ALWAYS_START_TS
from pipeline.site_reader import read_site
from pipeline.store import attach_sites, connect_working, open_store

US = 1_000_000
MINUTE = 60
HOUR = 3600
W1 = ("output_w1", None)
W2 = ("output_w2", None)
Y1 = ("output_y1", None)
G = ("output_g", None)
STATIC = ("static_pressure", None)
SUPPLY = ("supply_temp", None)
CALL_1, CALL_2 = ("zone_call_w1", 1), ("zone_call_w1", 2)
GUIDE = Path(__file__).parents[1] / "DEVELOPERS.md"
LEVELS = Path(__file__).with_name("test_strictness_levels.py")


def line(*edges: float, on_first: bool = False) -> list[tuple[float, float, bool]]:
    """A state that changes at each of these seconds but the first and the last."""
    return [(a, b, on_first != (n % 2 == 1)) for n, (a, b) in enumerate(pairwise(edges))]


def flat(value: float, until: int, step: int = 10) -> list[tuple[float, float]]:
    """One value read at every step from 0 to `until`, both included."""
    return [(float(at), value) for at in range(0, until + 1, step)]


def lengths(log: Any, rows: list[dict[str, Any]]) -> list[tuple[float, float]]:
    """From and until of each row, in seconds of its log."""
    return [
        ((r["start_ts"] - log.ts(0)) / US, (r["end_ts"] - log.ts(0)) / US)
        for r in sorted(rows, key=lambda r: r["start_ts"])
    ]


def test_every_row_of_the_guide_has_its_test_and_every_test_its_row() -> None:
    guide = GUIDE.read_text(encoding="utf-8")
    section = guide.split("\n## Strictness\n")[1].split("\n## ")[0]
    told = re.findall(r"^\| .* \| `(test_\w+)` \|$", section, flags=re.MULTILINE)
    rows = re.findall(r"^\| (?!where |---)", section, flags=re.MULTILINE)
    text = "".join(p.read_text(encoding="utf-8") for p in (Path(__file__), LEVELS))
    own = re.findall(r"^def (test_\w+)", text, re.MULTILINE)
    assert len(told) == len(rows) > 20
    assert set(told) == set(own) - {own[0]}


# ---------------------------------------------------------------------------- edges


def test_an_instant_belongs_to_what_begins_in_it(bench: Any, site_log: Any) -> None:
    """The call ends in the second in which W1 begins: they share no time, and none is lost."""
    log = site_log(
        window=(0, 300), states={CALL_1: line(0, 120, 300, on_first=True), W1: line(0, 120, 300)}
    )
    bench.measure({"elm": log}, "interval.condition")
    rows = bench.rows("interval.condition")
    called = lengths(log, [r for r in rows if r["n_heat"] == 1])
    heated = lengths(log, [r for r in rows if r["w1"]])
    # the blower comes on 90 s after W1 and cuts its time in two
    assert (called, heated) == ([(0, 120)], [(120, 210), (210, 300)])
    assert {r["n_heat"] for r in rows if r["w1"]} == {0}


def test_a_call_counts_at_the_start_it_begins_in_not_at_the_one_it_ends_in(
    bench: Any, site_log: Any
) -> None:
    """W2 starts at second 600, 1800 and 2501. Zone 2's call ends at 600, its next begins at 1800
    and ends at 2500: one zone, two, one. A log of whole seconds cannot tell in which order two
    changes of one second came, so only the last is told as too few.
    """
    log = site_log(
        window=(0, 3000),
        states={
            W1: line(0, 60, 3000),
            W2: line(0, 600, 900, 1800, 2400, 2501, 3000),
            CALL_1: line(0, 60, 3000),
            CALL_2: line(0, 60, 600, 1800, 2500, 3000),
        },
        settings={"stage2_min_zones": 2.0, "stage_up_delay_min": 0.0},
    )
    bench.measure({"elm": log}, "measure.stage_up")
    found = [(r["n_zones"], r["result"]) for r in bench.rows("measure.stage_up")]
    assert found == [(1, "in order"), (2, "in order"), (1, "too few zones")]


def test_a_start_at_midnight_is_the_new_days(bench: Any, site_log: Any) -> None:
    """W1 is on for 10 min up to midnight, and for 5 min from the next midnight on (UTC)."""
    day = 24 * HOUR
    log = site_log(
        window=(0, 3 * day), states={W1: line(0, day - 600, day, 2 * day, 2 * day + 300, 3 * day)}
    )
    bench.measure({"elm": log}, "measure.runtime_day")
    found = [(r["on_s"], r["n_start"]) for r in bench.rows("measure.runtime_day")]
    assert found == [(600, 1), (0, 0), (300, 1)]


def test_a_start_on_the_hour_is_the_new_hours(bench: Any, site_log: Any) -> None:
    """On for the last 10 min of the first hour; then from the start of the third."""
    log = site_log(
        window=(0, 3 * HOUR), states={W1: line(0, HOUR - 600, HOUR, 2 * HOUR, 2.5 * HOUR, 3 * HOUR)}
    )
    bench.measure({"elm": log}, "measure.cycle_hour")
    found = [
        (round(r["runtime_frac"] * 60), r["n_start"]) for r in bench.rows("measure.cycle_hour")
    ]
    assert found == [(10, 1), (0, 0), (30, 1)]


def test_a_setting_holds_from_its_instant_until_the_next(bench: Any) -> None:
    """Static stands at 0.6 for 60 s; the target is 0.7 until second 30 and 0.5 from there on."""
    bench.fill("interval.condition", [_heating("elm", 0, 60)])
    bench.fill(
        "signal.piece", [_static_piece("elm", 0, 30, 0.6), _static_piece("elm", 30, 60, 0.6)]
    )
    setting = {"site_id": "elm", "name": "static_target_inwc"}
    bench.fill(
        "run.setting",
        [
            setting | {"value": 0.7, "start_ts": ALWAYS_START_TS, "end_ts": 30 * US},
            setting | {"value": 0.5, "start_ts": 30 * US, "end_ts": ALWAYS_END_TS},
        ],
    )
    bench.fill_thresholds({"elm": {}})
    bench.run("interval.static_piece")
    assert [(r["target_inwc"], r["above_s"]) for r in bench.rows("interval.static_piece")] == [
        (0.7, 0),
        (0.5, 30),
    ]


def _heating(site_id: str, start_s: float, end_s: float) -> dict[str, Any]:
    return {
        "site_id": site_id,
        "start_ts": round(start_s * US),
        "end_ts": round(end_s * US),
        "fan_on": True,
        "class": "heating",
        "stage": 1,
        "in_visit": False,
        "settled_ts": 0,
    }


def _static_piece(site_id: str, start_s: float, end_s: float, inwc: float) -> dict[str, Any]:
    return {
        "site_id": site_id,
        "role": "static_pressure",
        "start_ts": round(start_s * US),
        "end_ts": round(end_s * US),
        "start_value": inwc,
        "end_value": inwc,
    }


# ---------------------------------------------------------------------------- first and last rows


def _states_read(folder: Path, rows: str, kind: str) -> list[tuple[float, float, bool]]:
    """What the store keeps of a W1 column: from, until (seconds after 10:00 UTC) and whether on."""
    (folder / "exports").mkdir()
    (folder / "exports" / "panel.csv").write_text(
        "Time,W1\n" + "".join(f"2026-01-12 10:{row}\n" for row in rows.split()), encoding="utf-8"
    )
    (folder / "site.toml").write_text(
        '[site]\nid = "elm"\ntimezone = "UTC"\n[equipment]\nkind = "furnace_ac"\n'
        f'[[export]]\nfiles = "exports/panel.csv"\nkind = "{kind}"\n'
        '[[channel]]\ncolumn = "W1"\nrole = "output_w1"\n',
        encoding="utf-8",
    )
    load_site(folder)
    ten = int(dt.datetime(2026, 1, 12, 10, tzinfo=dt.UTC).timestamp()) * US
    with open_store(folder / "site.duckdb") as store:
        found = store.execute(
            "select start_ts, end_ts, is_on from state order by start_ts"
        ).fetchall()
    return [((a - ten) / US, (b - ten) / US, is_on) for a, b, is_on in found]


def test_a_log_of_changes_is_known_from_its_first_row_to_its_last(tmp_path: Path) -> None:
    """On at minute 5, off at 12; the last row, at minute 30, says on: nobody knows for how long."""
    found = _states_read(tmp_path, "05:00,on 12:00,off 30:00,on", "change_of_state")
    assert found == [(300, 720, True), (720, 1800, False)]


def test_the_same_state_again_is_no_edge(tmp_path: Path) -> None:
    """On is written three times: one run from minute 5 to 12."""
    found = _states_read(
        tmp_path, "00:00,off 05:00,on 06:00,on 09:00,on 12:00,off", "change_of_state"
    )
    assert found == [(0, 300, False), (300, 720, True)]


def test_a_sampled_state_holds_over_two_and_a_half_intervals(tmp_path: Path) -> None:
    """Every 10 s, then 25 s (held), then 26 s (on for one interval, then not known). The last
    reading holds for one interval too: nobody knows that it was on for less.
    """
    rows = "00:00,0 00:10,0 00:20,1 00:30,1 00:55,1 01:05,1 01:31,1 01:41,0 01:51,0 02:01,1"
    assert _states_read(tmp_path, rows, "sampled") == [
        (0, 20, False),
        (20, 75, True),
        (91, 101, True),
        (101, 121, False),
        (121, 131, True),
    ]


def test_readings_are_joined_over_two_and_a_half_intervals(bench: Any, site_log: Any) -> None:
    """Every 10 s; 25 s apart is joined, 26 s apart is a gap."""
    at = [0, 10, 20, 45, 55, 81, 91]
    log = site_log(window=(0, 91), readings={STATIC: [(s, 0.4) for s in at]})
    bench.measure({"elm": log}, "signal.piece")
    assert lengths(log, bench.rows("signal.piece")) == [
        (0, 10),
        (10, 20),
        (20, 45),
        (45, 55),
        (81, 91),
    ]
    assert lengths(log, bench.rows("trust.gap")) == [(55, 81)]


def test_nothing_is_held_before_the_first_reading_or_after_the_last(
    bench: Any, site_log: Any
) -> None:
    """Readings at 20, 30 and 40 s of a window of a minute: 20 s of it are known."""
    log = site_log(window=(0, 60), readings={STATIC: [(20, 0.4), (30, 0.4), (40, 0.4)]})
    bench.measure({"elm": log}, "signal.coverage")
    assert lengths(log, bench.rows("trust.gap")) == [(0, 20), (40, 60)]
    (row,) = bench.rows("signal.coverage")
    assert (row["valid_s"], row["window_s"]) == (20, 60)


def test_the_interval_is_that_of_each_stretch_of_constant_rate(tmp_path: Path) -> None:
    """Every 10 s for 10 min, then every 60 s for half an hour: both are known to the last reading,
    at 2400 s.
    """
    (tmp_path / "exports").mkdir()
    seconds = [*range(0, 600, 10), *range(600, 2401, 60)]
    rows = "".join(f"2026-01-12 10:{s // 60:02}:{s % 60:02},0.4,1\n" for s in seconds)
    text = "Time,Static (in. w.c.),G\n" + rows
    (tmp_path / "exports" / "panel.csv").write_text(text, encoding="utf-8")
    (tmp_path / "site.toml").write_text(
        '[site]\nid = "elm"\ntimezone = "UTC"\n[equipment]\nkind = "furnace_ac"\n'
        '[[export]]\nfiles = "exports/panel.csv"\nkind = "sampled"\n'
        '[[channel]]\ncolumn = "Static (in. w.c.)"\nrole = "static_pressure"\n'
        '[[channel]]\ncolumn = "G"\nrole = "output_g"\n',
        encoding="utf-8",
    )
    site = read_site(tmp_path)
    load_site(tmp_path)
    con = connect_working()
    try:
        attach_sites(con, {site.id: site.store_path})
        measure_sites(con, [site])
        known = dict(con.execute("select role, valid_s from signal.coverage").fetchall())
    finally:
        con.close()
    # the last state holds for an interval of its stretch; the window ends with it
    assert known == {"static_pressure": 2400, "output_g": 2460}


# ---------------------------------------------------------------------------- runs


def test_open_runs_count_in_runtime_and_only_a_start_that_was_seen_is_one(
    bench: Any, site_log: Any
) -> None:
    """On when the log begins (until 100), on for 60 s in its middle, on when it ends (from 900).

    100 + 60 + 100 s on, three runs of which two are open, two starts; only the middle one has a
    length: it is the median, and short.
    """
    log = site_log(window=(0, 1000), states={W1: line(0, 100, 500, 560, 900, 1000, on_first=True)})
    bench.measure({"elm": log}, "measure.cycle")
    (row,) = bench.rows("measure.runtime")
    assert (row["on_s"], row["n_run"], row["n_open_run"], row["n_start"]) == (260, 3, 2, 2)
    (cycle,) = bench.rows("measure.cycle")
    assert (cycle["n_start"], cycle["n_closed_run"], cycle["median_run_s"]) == (2, 1, 60)
    assert [r["length_s"] for r in bench.rows("measure.short_cycle")] == [60]


def test_a_gap_cuts_a_run_into_two_open_ones(bench: Any, site_log: Any) -> None:
    """On from 100 to 200, not known for 5 s, on until 300: 195 s, one start seen."""
    log = site_log(
        window=(0, 400),
        states={W1: [(0, 100, False), (100, 200, True), (205, 300, True), (300, 400, False)]},
    )
    bench.measure({"elm": log}, "measure.cycle")
    runs = bench.rows("interval.output_run")
    assert lengths(log, runs) == [(100, 200), (205, 300)]
    assert [(r["has_start"], r["has_end"], r["is_closed"]) for r in runs] == [
        (True, False, False),
        (False, True, False),
    ]
    (row,) = bench.rows("measure.runtime")
    assert (row["on_s"], row["n_start"], row["n_open_run"]) == (195, 1, 2)
    assert bench.rows("measure.short_cycle") == []


def test_off_for_the_chatter_time_is_bridged(bench: Any, site_log: Any) -> None:
    """Off for 15 s is chatter, off for 16 s is a rest; chatter's seconds are not runtime."""
    log = site_log(window=(0, 1000), states={W1: line(0, 100, 400, 415, 700, 716, 900, 1000)})
    bench.measure({"elm": log}, "measure.runtime")
    assert lengths(log, bench.rows("interval.output_run")) == [(100, 700), (716, 900)]
    (row,) = bench.rows("measure.runtime")
    assert (row["on_s"], row["n_start"], row["n_chatter"]) == (300 + 285 + 184, 2, 1)


def test_a_run_of_just_the_least_length_is_not_short(bench: Any, site_log: Any) -> None:
    """W1: 179 s is short, 180 s is not. Y1: 299 s is short, 300 s is not."""
    log = site_log(
        window=(0, 3000),
        states={W1: line(0, 100, 279, 1000, 1180, 3000), Y1: line(0, 600, 899, 2000, 2300, 3000)},
    )
    bench.measure({"elm": log}, "measure.short_cycle")
    found = [(r["source"], r["what"], r["length_s"]) for r in bench.rows("measure.short_cycle")]
    assert found == [("burner", "run", 179), ("compressor", "run", 299)]


def test_a_rest_of_just_the_least_length_is_not_short(bench: Any, site_log: Any) -> None:
    """Minimum-off not given: under 180 s. Set to 5 min, read at 1 s: under 300 - 1 - 15 = 284 s."""
    states = {Y1: line(0, 600, 1200, 1379, 2000, 2180, 3000, 3283, 4000, 4284, 5000, 6000)}
    logs = {
        "elm": site_log(window=(0, 6000), states=states),
        "oak": site_log(window=(0, 6000), states=states, settings={"compressor_min_off_min": 5.0}),
    }
    bench.measure(logs, "measure.short_cycle")
    found = [
        (r["site_id"], r["length_s"])
        for r in bench.rows("measure.short_cycle")
        if r["what"] == "rest"
    ]
    assert found == [("elm", 179), ("oak", 179), ("oak", 180), ("oak", 283)]


def test_hours_at_the_ends_of_the_fits_range_are_used(bench: Any) -> None:
    """X of 0.2 and 0.8 are in, 0.19 and 0.81 are not; nothing is told of fewer than 8 hours."""
    hour = "('elm', 'burner', 'heating', {}, {}, 2)"
    shares = [0.2] * 4 + [0.8] * 4 + [0.19, 0.81]
    bench.con.execute("create schema if not exists measure")
    for given, n_hour in ((shares, 8), (shares[1:], 7)):
        bench.con.execute(
            "create or replace table measure.cycle_hour as"
            " select * from (values "
            + ", ".join(hour.format(n, f"{x}::double") for n, x in enumerate(given))
            + ") t(site_id, what, mode, hour_ts, runtime_frac, n_start)"
        )
        bench.fill("run.zone")
        bench.fill_thresholds({"elm": {}})
        bench.run("measure.cycle_fit")
        (row,) = bench.rows("measure.cycle_fit")
        assert row["n_hour"] == n_hour
        # z = 4 x 0.2 x 0.8 = 0.64 in each hour, N = 2: Nmax = 2 / 0.64 = 3.125
        assert row["nmax_per_h"] == (None if n_hour < 8 else pytest.approx(3.125))


# ---------------------------------------------------------------------------- levels


def test_at_the_target_is_not_above_it(bench: Any, site_log: Any) -> None:
    """A minute at the target of 0.5, a minute a hundredth over it, read every 10 s: 60 s above,
    and 10 s of climb of which all is above.
    """
    readings = [(s, 0.5) for s in range(0, 61, 10)] + [(s, 0.51) for s in range(70, 131, 10)]
    log = site_log(
        window=(0, 130),
        states={G: line(0, 130, on_first=True)},
        readings={STATIC: readings},
        settings={"static_target_inwc": 0.5},
    )
    bench.measure({"elm": log}, "interval.static_piece")
    pieces = bench.rows("interval.static_piece")
    assert sum(p["above_s"] for p in pieces if p["end_ts"] <= log.ts(60)) == 0
    assert sum(p["above_s"] for p in pieces) == pytest.approx(70)


def test_between_two_readings_the_line_decides(bench: Any, site_log: Any) -> None:
    """From 0.4 to 0.6 in 10 s with the target at 0.55: above for the last quarter, 2.5 s."""
    log = site_log(
        window=(0, 10),
        states={G: line(0, 10, on_first=True)},
        readings={STATIC: [(0, 0.4), (10, 0.6)]},
        settings={"static_target_inwc": 0.55},
    )
    bench.measure({"elm": log}, "interval.static_piece")
    assert sum(p["above_s"] for p in bench.rows("interval.static_piece")) == pytest.approx(2.5)


def test_an_excursion_counts_from_a_minute(bench: Any) -> None:
    """Static at 0.6 over a target of 0.5 for 59 s (elm) and 60 s (oak), 0.3 after it; read every
    40 s, for 79 s (fir) and 80 s (yew).
    """
    sites = {"elm": 59, "fir": 79, "oak": 60, "yew": 80}
    bench.fill("interval.condition", [_heating(s, 0, 300) for s in sites])
    bench.fill(
        "signal.piece",
        [
            p
            for s, above_s in sites.items()
            for p in (_static_piece(s, 0, above_s, 0.6), _static_piece(s, above_s, 300, 0.3))
        ],
    )
    _excursions(bench, {"elm": 10, "fir": 40, "oak": 10, "yew": 40})
    rows = bench.rows("interval.static_above_target")
    found = {r["site_id"]: (r["length_s"], r["counts"]) for r in rows}
    assert found == {"elm": (59, False), "fir": (79, False), "oak": (60, True), "yew": (80, True)}


def test_an_excursion_ends_after_ten_seconds_below_its_hysteresis(bench: Any) -> None:
    """Target 0.5, so below 0.48: for 9 s it goes on (elm), for 10 s it ends (oak); at 0.48 itself
    it goes on for good (ash).
    """
    sites = {"ash": (0.48, 100), "elm": (0.3, 9), "oak": (0.3, 10)}
    bench.fill("interval.condition", [_heating(s, 0, 300) for s in sites])
    bench.fill(
        "signal.piece",
        [
            p
            for s, (low, low_s) in sites.items()
            for p in (
                _static_piece(s, 0, 100, 0.6),
                _static_piece(s, 100, 100 + low_s, low),
                _static_piece(s, 100 + low_s, 300, 0.6),
            )
        ],
    )
    _excursions(bench, dict.fromkeys(sites, 10))
    rows = bench.rows("interval.static_above_target")
    found = {s: [r["length_s"] for r in rows if r["site_id"] == s] for s in sites}
    assert found == {"ash": [300], "elm": [300], "oak": [100, 190]}


def _excursions(bench: Any, sites: dict[str, float]) -> None:
    """From signal.piece and interval.condition, the target at 0.5; interval [s] of each."""
    always = {"start_ts": ALWAYS_START_TS, "end_ts": ALWAYS_END_TS}
    bench.fill(
        "run.setting",
        [{"site_id": s, "name": "static_target_inwc", "value": 0.5} | always for s in sites],
    )
    bench.fill(
        "channel.channel",
        [
            {"site_id": s, "channel_id": 1, "role": "static_pressure", "is_primary": True}
            | {"kind": "analog", "interval_s": step_s}
            for s, step_s in sites.items()
        ],
    )
    bench.fill("interval.relief")
    bench.fill_thresholds({s: {} for s in sites})
    bench.run("interval.static_piece", "interval.static_above_target")


def _at_the_limit(site_log: Any, peak_f: float, call_until: int = 1500) -> Any:
    """Heat drops at second 1000 with supply at its peak; it is back on at 1200."""
    supply = [(0, 70.0), *((s, 130.0) for s in range(300, 991, 10)), (1000, peak_f)]
    supply += [(s, 110.0) for s in range(1010, 1501, 10)]
    supply = [(s, v) for s, v in supply if s >= 300]
    return site_log(
        window=(0, 1500),
        states={
            W1: line(0, 60, 1000, 1200, 1500),
            G: line(0, 1500, on_first=True),
            CALL_1: line(0, 60, call_until, 1500) if call_until < 1500 else line(0, 60, 1500),
        },
        readings={SUPPLY: supply},
        settings={"high_limit_f": 150.0},
    )


def test_a_limit_is_reached_at_its_setting_less_the_sensors_tolerance(
    bench: Any, site_log: Any
) -> None:
    """Limit 150 °F, tolerance 1 °F: 149.0 is a trip (elm), 148.9 is none (oak)."""
    logs = {"elm": _at_the_limit(site_log, 149.0), "oak": _at_the_limit(site_log, 148.9)}
    bench.measure(logs, "interval.trip")
    assert [r["site_id"] for r in bench.rows("interval.trip")] == ["elm"]


def test_a_trips_call_stands_for_thirty_seconds_more(bench: Any, site_log: Any) -> None:
    """The drop is at 1000; a call that ends at 1030 stood (elm), at 1029 it did not (oak)."""
    logs = {
        "elm": _at_the_limit(site_log, 150.0, 1030),
        "oak": _at_the_limit(site_log, 150.0, 1029),
    }
    bench.measure(logs, "interval.trip")
    assert [r["site_id"] for r in bench.rows("interval.trip")] == ["elm"]


def test_second_stage_at_the_delay_less_its_tolerance_is_in_order(
    bench: Any, site_log: Any
) -> None:
    """Delay 10 min, tolerance 30 s (two intervals are less): 570 s is in order, 569 s is early."""

    def log(after_s: int) -> Any:
        return site_log(
            window=(0, 3000),
            states={
                W1: line(0, 100, 3000),
                W2: line(0, 100 + after_s, 2500, 3000),
                CALL_1: line(0, 100, 3000),
            },
            settings={"stage2_min_zones": 1.0, "stage_up_delay_min": 10.0}
            | {"stage_up_clock": "zone_call"},
        )

    bench.measure({"elm": log(570), "oak": log(569)}, "measure.stage_up")
    found = [(r["site_id"], r["result"], r["early_by_s"]) for r in bench.rows("measure.stage_up")]
    assert found == [("elm", "in order", None), ("oak", "early", 31)]


def test_calls_broken_for_less_than_the_bridge_time_are_one(bench: Any, site_log: Any) -> None:
    """W2 comes 10 min after the call began; broken for 29 s it is one call (elm), for 30 s two
    (oak): then the call has stood for 300 s only.
    """

    def log(broken_s: int) -> Any:
        return site_log(
            window=(0, 3000),
            states={
                W1: line(0, 100, 3000),
                W2: line(0, 700, 2500, 3000),
                CALL_1: line(0, 100, 400 - broken_s, 400, 3000),
            },
            settings={"stage2_min_zones": 1.0, "stage_up_delay_min": 10.0}
            | {"stage_up_clock": "zone_call"},
        )

    bench.measure({"elm": log(29), "oak": log(30)}, "measure.stage_up")
    found = [
        (r["site_id"], r["longest_call_s"], r["result"]) for r in bench.rows("measure.stage_up")
    ]
    assert found == [("elm", 600, "in order"), ("oak", 300, "early")]


def test_at_the_comfort_band_is_within_it(bench: Any, site_log: Any) -> None:
    """Setpoint 70 °F, band 2 °F, an hour each: at 68 nothing counts, at 67 one degree-hour."""
    known = [(float(s), 68.0) for s in range(0, HOUR, 60)]
    known += [(float(s), 67.0) for s in range(HOUR, 2 * HOUR + 1, 60)]
    log = site_log(
        window=(0, 2 * HOUR),
        states={CALL_1: line(0, 2 * HOUR, on_first=True)},
        readings={("zone_temp", 1): known, ("zone_heat_setpoint", 1): flat(70.0, 2 * HOUR, 60)},
        interval_s=60.0,
    )
    bench.measure({"elm": log}, "measure.zone_comfort")
    (row,) = bench.rows("measure.zone_comfort")
    assert (row["short_degree_h"], row["over_degree_h"]) == (pytest.approx(1), 0)
    # the last minute's own instant is the log's end, which is no part of it
    assert row["known_s"] == 2 * HOUR


def test_opposing_calls_are_long_beyond_twenty_minutes(bench: Any, site_log: Any) -> None:
    """Heat and cool are called together for 1200 s (not long) and 1201 s (long)."""
    cooling = ("zone_call_y1", 2)
    log = site_log(
        window=(0, 6000),
        states={
            CALL_1: line(0, 6000, on_first=True),
            cooling: line(0, 600, 1800, 3000, 4201, 6000),
            W1: line(0, 6000),
            G: line(0, 6000),
        },
    )
    bench.measure({"elm": log}, "interval.opposing_call")
    found = [(r["length_s"], r["is_long"]) for r in bench.rows("interval.opposing_call")]
    assert found == [(1200, False), (1201, True)]
