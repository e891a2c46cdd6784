"""The sample site: it regenerates, obeys physics, tells its story, and its truth holds."""

import gzip
import io
import json
import tomllib
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sample_data.simulator import larch_14 as site
from sample_data.simulator.air import airflow, rooms_second
from sample_data.simulator.house import (
    CLOSE_DAMPER,
    ORDER_G,
    ORDER_W1,
    ORDER_W2,
    Record,
    simulate,
)
from sample_data.simulator.known import segments
from sample_data.simulator.loggers import exports, lagged
from sample_data.simulator.parameters import density_ratio

HOME = Path(__file__).resolve().parent.parent / "sample_data" / site.SITE
FIRST_HOURS = site.second_of("2026-01-12 17:00:00")  # three hours of logs
FILES = ("plenum_temps.csv", "trunk_static.csv", "panel_states.csv", "rooms_outdoor.csv")


def committed(name: str) -> str:
    with gzip.open(HOME / "exports" / f"{name}.gz", "rt", encoding="utf-8", newline="") as file:
        return file.read()


@pytest.fixture(scope="module")
def truth() -> Any:
    return json.loads(gzip.decompress((HOME / "truth.json.gz").read_bytes()))


@pytest.fixture(scope="module")
def start() -> Record:
    """The record up to the end of the first three logged hours, by plain Python."""
    return site.record(FIRST_HOURS, use_numba=False)


@pytest.fixture(scope="module")
def panel() -> pd.DataFrame:
    """The exported panel log by second: True for on and open, index in UTC."""
    log = pd.read_csv(io.StringIO(committed("panel_states.csv")))
    log.index = pd.DatetimeIndex(pd.to_datetime(log.pop("Timestamp"), utc=True))
    log = log.ffill()
    states = log.isin(["on", "open", "alarm"])
    return states.resample("1s").ffill().iloc[:-1]  # the last row is when the log was stopped


@pytest.fixture(scope="module")
def plenum() -> pd.DataFrame:
    """The exported plenum temperatures, index in UTC."""
    table = pd.read_csv(io.StringIO(committed("plenum_temps.csv")), skiprows=6)
    local = pd.to_datetime(table["Date"] + " " + table["Time"], format="%m/%d/%Y %I:%M:%S %p")
    table.index = pd.DatetimeIndex(local).tz_localize(site.TIMEZONE).tz_convert("UTC")
    return table[["Supply air (°F)", "Return air (°F)"]]


@pytest.fixture(scope="module")
def static() -> pd.Series:
    """The exported static in in. w.c. with its clock put right by the planted offset."""
    table = pd.read_csv(io.StringIO(committed("trunk_static.csv")), sep=";", decimal=",")
    local = pd.DatetimeIndex(pd.to_datetime(table["Time"])) - pd.Timedelta(seconds=240)
    table.index = local.tz_localize(site.TIMEZONE).tz_convert("UTC")
    return table["Trunk static (Pa)"] / 249.08891


# --- it can be made again ---------------------------------------------------------------------


def test_a_shorter_record_gives_the_committed_files_first_rows(start: Record) -> None:
    made = exports(start)
    assert tuple(export.name for export in made) == FILES
    for export in made:
        assert export.text.endswith("\n")
        assert export.text.count("\n") > 50
        assert committed(export.name).startswith(export.text), export.name


def test_compiled_and_plain_agree_to_the_last_bit(start: Record) -> None:
    pytest.importorskip("numba")
    compiled = site.record(FIRST_HOURS, use_numba=True)
    assert np.array_equal(compiled.signals, start.signals)
    assert np.array_equal(compiled.flags, start.flags)


def test_without_numba_the_record_is_made_by_plain_python(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sample_data.simulator.house.numba_installed", lambda: False)
    monkeypatch.setattr("sample_data.simulator.house.compiled", None)  # calling it would fail
    assert len(site.record(60).flags) == 60


def test_committed_files_are_small() -> None:
    paths = [*HOME.rglob("*.gz")]
    assert {path.name for path in paths} == {f"{n}.gz" for n in (*FILES, "truth.json")}
    assert sum(path.stat().st_size for path in paths) < 2_000_000


def test_every_column_has_one_channel_in_the_site_file() -> None:
    channels = tomllib.loads((HOME / "site.toml").read_text(encoding="utf-8"))["channel"]
    named = sorted((channel["file"], channel["column"]) for channel in channels)
    skip = {"plenum_temps.csv": (6, ",", 2), "trunk_static.csv": (0, ";", 1)}
    skip |= {"panel_states.csv": (0, ",", 1), "rooms_outdoor.csv": (0, "\t", 1)}
    columns = []
    for name, (before, delimiter, times) in skip.items():
        header = committed(name).split("\n")[before].split(delimiter)
        columns += [(f"exports/{name}", column) for column in header[times:]]
    assert named == sorted(columns)


# --- physics ----------------------------------------------------------------------------------


def test_fan_laws_and_duct_curve() -> None:
    """Flow goes with speed, pressure with its square: 1,200 to 1,500 rpm gives 10,000 to 12,500
    CFM and 2.0 to 3.125 in. w.c. (a published worked example of the fan laws)."""
    branch = [0.0] * 4
    slow = airflow(site.SYSTEM, 0.8, 70.0, [1.0, 0.0, 1.0, 0.5], branch)
    fast = airflow(site.SYSTEM, 1.0, 70.0, [1.0, 0.0, 1.0, 0.5], branch)
    assert fast[0] / slow[0] == pytest.approx(12_500 / 10_000, rel=1e-12)
    assert fast[1] / slow[1] == pytest.approx(3.125 / 2.0, rel=1e-12)
    assert sum(branch) == pytest.approx(fast[0], rel=1e-12)


def test_closing_dampers_raises_static_and_lowers_flow() -> None:
    branch = [0.0] * 4
    results = [
        airflow(site.SYSTEM, 1.0, 70.0, position, branch)
        for position in ([1.0] * 4, [1.0, 1.0, 1.0, 0.0], [1.0, 0.0, 1.0, 0.0], [0.0, 0, 1.0, 0])
    ]
    flows, statics = zip(*results, strict=True)
    assert list(flows) == sorted(flows, reverse=True)
    assert list(statics) == sorted(statics)


def test_density_ratio_against_the_standard_atmosphere() -> None:
    """Public design-guide table: 6,000 ft 0.801, 7,000 ft 0.772, 8,000 ft 0.743; psychrolib gives
    12.1002 psia at 5,280 ft, over 14.696 psia = 0.82337."""
    assert density_ratio(6000) == pytest.approx(0.801, abs=5e-4)
    assert density_ratio(7000) == pytest.approx(0.772, abs=5e-4)
    assert density_ratio(8000) == pytest.approx(0.743, abs=5e-4)
    assert density_ratio(5280) == pytest.approx(0.82337, abs=1e-5)


@pytest.mark.parametrize(("closed", "second_stage"), [((), True), ((0, 1), True), ((1, 2), False)])
def test_steady_rise_balances_the_output(closed: tuple[int, ...], second_stage: bool) -> None:
    """q = 1.08 x density ratio x CFM x rise within 0.5 % after 40 min of one output and one set
    of dampers; 1.08 is the handbook's 0.075 lb/ft³ x 0.24 Btu/lb°F x 60 min/h."""
    order = ORDER_G | ORDER_W1 | (ORDER_W2 if second_stage else 0)
    for zone in closed:
        order |= 1 << (CLOSE_DAMPER + zone)
    ones = np.ones(2400)
    orders = np.full(2400, order, dtype=np.int64)
    held = simulate(site.SYSTEM, 0, 20 * ones, 0 * ones, ones, orders, site.START_F, False)
    supply, back, cfm = (held.signal(name)[-1] for name in ("supply_f", "return_f", "cfm"))
    output = 68_000 if second_stage else 41_000
    assert 1.08 * 0.82337 * cfm * (supply - back) == pytest.approx(output, rel=0.005)


def test_rooms_keep_every_btu() -> None:
    """What rooms store in a second is what air, sun and people bring less what goes outside.

    By hand, at 20 °F outside, no sun, activity 1, branches 100/50/25/25 CFM at 110 °F, air 70,
    68, 69, 66 and envelope 67, 66, 65, 62 °F. Return is the branches' mix: (100·70 + 50·68 +
    25·69 + 25·66) / 200 = 68.875 °F, so air brings a·200·(110 - 68.875), duct loss included, as
    the basement gets it. Doors and stairs cancel.
    """
    air, mass = [70.0, 68.0, 69.0, 66.0], [67.0, 66.0, 65.0, 62.0]
    rooms = site.SYSTEM.rooms
    before = [*air, *mass]
    out = sum(u * (t - 20.0) for u, t in zip(rooms.air_loss_btuh_f, air, strict=True))
    out += sum(u * (t - 20.0) for u, t in zip(rooms.mass_loss_btuh_f, mass, strict=True))
    out += rooms.ground_loss_btuh_f[3] * (62.0 - rooms.ground_f)
    brought = site.SYSTEM.air_btuh_cfm_f * 200.0 * (110.0 - 68.875) + sum(rooms.gain_btuh)
    rooms_second(
        site.SYSTEM, air, mass, [0.0] * 4, [100.0, 50.0, 25.0, 25.0], 110.0, 20.0, 0.0, 1.0
    )
    capacity = [*rooms.air_btu_f, *rooms.mass_btu_f]
    stored = sum(
        c * (now - then) for c, now, then in zip(capacity, [*air, *mass], before, strict=True)
    )
    assert 3600.0 * stored == pytest.approx(brought - out, rel=1e-6)


def test_probe_lag_against_the_closed_form() -> None:
    """Lag 90 s, step 70 to 160 °F: 150 °F after 90·ln(9) = 197.75 s (closed form)."""
    step = np.concatenate([[70.0], np.full(400, 160.0)])
    reached = int(np.argmax(lagged(step, 90.0) >= 150.0))
    assert reached == pytest.approx(197.75, abs=2.0)


# --- the story, read back from the exports -----------------------------------------------------


def test_identities_of_the_truth(truth: Any) -> None:
    assert len(truth["identities"]) >= 14
    assert [name for name, holds in truth["identities"].items() if not holds] == []


def test_panel_log_gives_the_truth_of_every_point(truth: Any, panel: pd.DataFrame) -> None:
    assert str(panel.index[0]) == truth["window"]["start"].replace("T", " ").replace("Z", "+00:00")
    length = datetime.fromisoformat(truth["window"]["end"]) - datetime.fromisoformat(
        truth["window"]["start"]
    )
    assert len(panel) == length.total_seconds()
    for point, seconds in truth["runtime_s"].items():
        assert panel[point].sum() == seconds, point
        assert len(segments(panel[point].to_numpy())) == len(truth["states"][point]), point
    assert not panel["Fault"].any()


def test_trips_stand_in_the_exports(
    truth: Any, panel: pd.DataFrame, plenum: pd.DataFrame, static: pd.Series
) -> None:
    """Each trip: supply at 149 °F or more, all heat off, a zone calling on for 30 s; no others."""
    supply = plenum["Supply air (°F)"]
    heat = panel["W1"] | panel["Y1"]
    calling = panel[[f"Z{zone} call" for zone in site.ZONES]].any(axis=1)
    drops = heat.index[heat.shift(fill_value=False) & ~heat]
    seen = []
    for drop in drops:
        around = supply[drop - pd.Timedelta(seconds=30) : drop + pd.Timedelta(seconds=30)]
        if len(around) and around.max() >= 149.0 and calling[drop:][:30].all():
            seen.append(drop.strftime("%Y-%m-%dT%H:%M:%SZ"))
    assert seen == [trip["drop"] for trip in truth["trips"]]
    assert 15 <= len(seen) <= 30
    alone = [trip for trip in truth["trips"] if trip["zones_calling"] == [3]]
    assert len(alone) >= 0.9 * len(seen)
    for trip in truth["trips"]:
        before = pd.Timestamp(trip["drop"]) - pd.Timedelta(seconds=10)
        assert static[:before].iloc[-1] > 0.45
        assert panel.loc[before, "W2"]


def test_the_visit_cycles_every_output_within_fifteen_minutes(panel: pd.DataFrame) -> None:
    test = panel["2026-01-12T21:24:00Z":"2026-01-12T21:39:00Z"]
    for output in ("W1", "W2", "Y1", "G", "O/B"):
        assert len(segments(test[output].to_numpy())) == 1, output


def test_time_above_target_can_be_read_off_the_log(
    truth: Any, panel: pd.DataFrame, static: pd.Series
) -> None:
    """Readings above 0.40 with G on, five seconds each, against the noise-free seconds."""
    fan = panel["G"].reindex(static.index, fill_value=False)
    counted = 5 * int((fan & (static > 0.40)).sum())
    assert counted == pytest.approx(truth["static"]["whole_span"]["above_target_s"], rel=0.01)


def test_short_runs_are_enough_to_be_a_finding(truth: Any, panel: pd.DataFrame) -> None:
    lengths = np.array([end - start for start, end in segments(panel["W1"].to_numpy())])
    burner = truth["cycles"]["W1"]["whole_span"]
    assert (len(lengths), (lengths < 180).sum()) == (burner["starts"], burner["short_runs"])
    assert burner["short_runs_not_ended_by_limit"] >= 0.10 * burner["starts"]
    by_day = burner["short_runs_not_ended_by_limit_by_day"]
    assert sum(count >= 3 for count in by_day.values()) >= 2


def test_everything_else_is_healthy(
    panel: pd.DataFrame, plenum: pd.DataFrame, static: pd.Series
) -> None:
    """Setpoints held, supply 105-140 °F in steady heat, static in range, starts bounded: common
    practice, no source."""
    lines = committed("rooms_outdoor.csv").split("\n")
    good = [line for line in lines[1:] if line.count("\t") == 5 and "ERR" not in line]
    rooms = pd.read_csv(io.StringIO("\n".join([lines[0], *good])), sep="\t")
    rooms = rooms[rooms["Time"] != "Time"].set_index("Time").astype(float)
    rooms.index = pd.DatetimeIndex(rooms.index)
    day = rooms["2026-01-13":"2026-01-19"].between_time("10:00", "21:30")
    assert day["Main floor (°F)"].between(68.5, 71.0).all()
    assert day["Upstairs (°F)"].between(68.0, 71.0).all()
    assert day["Basement (°F)"].between(64.5, 72.0).all()
    bedroom = rooms["2026-01-13":"2026-01-19"].between_time("22:30", "08:00")
    assert bedroom["Garage bedroom (°F)"].between(68.5, 71.0).all()
    assert rooms["Outdoor (°F)"].between(5.0, 46.0).all()
    assert rooms["Outdoor (°F)"].min() < 10 < 42 < rooms["Outdoor (°F)"].max()

    state = panel.reindex(plenum.index, method="ffill")
    zones = state[[f"Z{zone} call" for zone in site.ZONES]].sum(axis=1)
    held = state["W1"].astype(int).rolling(36).min() == 1  # six minutes of burner heat
    several = plenum["Supply air (°F)"][held & (zones >= 2)]
    assert several.quantile(0.01) > 105
    assert several.quantile(0.99) < 145
    assert (plenum["Supply air (°F)"] < 170).all()
    mild = plenum["Supply air (°F)"][state["Y1"] & ~state["O/B"]]
    assert mild.quantile(0.99) < 120

    at = panel.reindex(static.index, method="ffill")
    zones = at[[f"Z{zone} call" for zone in site.ZONES]].sum(axis=1)
    several_static = static[at["W1"] & (zones >= 2)]
    assert (several_static > 0.40).mean() < 0.06  # while relief waits
    assert several_static.median() > 0.15
    off = ~at["G"].astype(bool) & (at["G"].astype(int).rolling(12).max() == 0)
    assert static[off].abs().max() < 0.02

    starts = (panel["W1"] & ~panel["W1"].shift(fill_value=False)).resample("1h").sum()
    assert starts.max() <= 10
    assert starts.mean() < 6


def test_heat_pump_runs_above_38_f_and_never_with_the_burner(
    start: Record, panel: pd.DataFrame, truth: Any
) -> None:
    assert not (panel["W1"] & panel["Y1"]).any()
    heating = [run for run in truth["runs"]["Y1"] if not run["cooling"]]
    outdoor = site.outdoor()
    for run in heating:
        second = int((datetime.fromisoformat(run["start"]) - site.START).total_seconds())
        assert outdoor[second] >= 38.0
        assert outdoor[second : second + run["seconds"]].min() > 36.5
    assert sum(run["seconds"] for run in heating) > 6 * 3600


def test_malformed_lines_and_gap_are_where_the_truth_says(truth: Any, plenum: pd.DataFrame) -> None:
    rooms = committed("rooms_outdoor.csv").split("\n")
    told = truth["files"]["rooms_outdoor.csv"]["malformed"]
    assert [fact["kind"] for fact in told] == ["cut short", "bad cell", "repeated header"]
    for fact in told:
        assert rooms[fact["line"] - 1] == fact["text"]
    for name in FILES:
        facts = truth["files"][name]
        assert committed(name).count("\n") == facts["preamble_lines"] + 1 + facts["rows"]
    step = plenum.index.to_series().diff().dt.total_seconds()
    assert sorted(step.dropna().unique()) == [10.0, 10833.0]
    gap = truth["files"]["plenum_temps.csv"]["gaps"][0]
    assert str(step.idxmax()) == gap["first_after"].replace("T", " ").replace("Z", "+00:00")
