"""Systems of the world: healthy ones are healthy, faults show, exports agree with the truth."""

import io
import json
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline import findings
from pipeline.ingest.load import load_site
from pipeline.review import review_site
from sample_data import world
from sample_data.world.channels import panel_states
from sample_data.world.codes import CODES
from sample_data.world.conditions import CONDITIONS
from sample_data.world.dialects import DIALECTS
from sample_data.world.hunting import reversals
from sample_data.world.known import Known, last_for
from sample_data.world.labels import EVERY_CODE
from sample_data.world.log_faults import LOG_FAULTS
from sample_data.world.make import made

LOG_NAMES = {trouble.name for trouble in LOG_FAULTS}


@pytest.fixture(autouse=True)
def kept_apart(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Made sites go to a folder of the session; compiled code stays where it is."""
    folder = tmp_path_factory.getbasetemp() / "world"
    monkeypatch.setattr("sample_data.world.make.cache_folder", lambda: folder)


def ranges(system: world.System) -> dict[str, Any]:
    """What a technician looks at first, outside the visits."""
    kept = world.record(system)
    k = Known(system, kept)
    fan, asked = k.blower & k.judged, k.heating | k.cooling
    gas = last_for(k.record.flag("flame") & k.blower & k.judged & ~k.y1, 420)
    cold = last_for(k.cooling & k.record.flag("compressor") & k.judged, 600)
    on = k.heating | k.cooling
    starts = np.flatnonzero(np.diff((on & k.judged).astype(int)) > 0)
    # hours with the equipment on for 30 to 70 % of the time, as starts per hour mean something
    hours = on[: len(on) // 3600 * 3600].reshape(-1, 3600).mean(axis=1)
    counts = np.bincount(starts // 3600, minlength=len(hours))[: len(hours)]
    half = counts[(hours > 0.3) & (hours < 0.7)]
    off = [
        float(np.quantile(k.slow(k.zone_error(i), 600)[k.judged & ~recovering(k, i)], 0.98))
        for i in range(kept.zones)
    ]
    return {
        "gas_f": np.quantile(k.supply[gas], [0.05, 0.5, 0.95]) if gas.sum() > 600 else None,
        "cool_f": np.quantile(k.supply[cold], [0.05, 0.5, 0.95]) if cold.sum() > 600 else None,
        "static_inwc": np.quantile(k.static[last_for(fan & asked, 180)], [0.05, 0.5, 0.99])
        if fan.sum() > 3600
        else None,
        "starts_per_h": float(half.mean()) if len(half) > 5 else None,
        "off_f": max(off),
    }


def recovering(k: Known, zone: int) -> Any:
    """Three hours from the end of a setback, five for compressors."""
    z = k.system.zones[zone]
    of_day = (k.system.first_second + np.arange(len(k.judged))) % 86400
    if z.back_from_s == z.back_to_s:
        return np.zeros(len(k.judged), dtype=bool)
    return (of_day - z.back_to_s) % 86400 < (18000 if k.system.plant.heats > 0 else 10800)


def check_healthy(system: world.System) -> None:
    """Common practice, no source: supply 100-150 °F in gas heat and 50-60 °F in cooling (48-62
    at the edges of a week), static 0.1-0.8 in. w.c., 2-6 starts an hour at half load, setpoints
    held within 2 °F outside recovery."""
    told = ranges(system)
    if told["gas_f"] is not None:
        assert 95 < told["gas_f"][0] and 100 < told["gas_f"][1] and told["gas_f"][2] < 150
    if told["cool_f"] is not None:
        assert 48 < told["cool_f"][0] and 50 < told["cool_f"][1] < 61 and told["cool_f"][2] < 64
    if told["static_inwc"] is not None:
        assert 0.05 < told["static_inwc"][0] and 0.1 < told["static_inwc"][1] < 0.5
        assert told["static_inwc"][2] < 0.8
    if told["starts_per_h"] is not None:
        assert 1.9 < told["starts_per_h"] < 6
    assert told["off_f"] < 2.0


@pytest.mark.parametrize("number", [2, 3, 4])
def test_healthy_systems_are_healthy(number: int) -> None:
    system = world.healthy("tuning", number)
    check_healthy(system)


@pytest.mark.slow
@pytest.mark.parametrize("number", range(100))
def test_many_healthy_systems_are_healthy(number: int) -> None:
    system = world.healthy("tuning", number)
    check_healthy(system)
    told = made(system)[2]
    assert told["labels"]["must"] == []
    assert [name for name, holds in told["identities"].items() if not holds] == []


def shown(name: str, severity: int, number: int = 1) -> dict[str, Any]:
    """The truth of a tuning system with a condition."""
    return made(world.with_condition(name, severity, "tuning", number))[2]


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("second stage for one zone", "second-stage-too-few-zones"),
        ("furnace's own limit opens", "equipment-cut-outs"),
        ("no relief", "static-above-target"),
        ("power lost", "power-dropout"),
    ],
)
def test_planted_conditions_show_in_events(name: str, code: str) -> None:
    told = shown(name, 3)
    assert code in told["labels"]["must"]
    assert [name for name, holds in told["identities"].items() if not holds] == []


@pytest.mark.slow
@pytest.mark.parametrize("severity", [2, 3])
@pytest.mark.parametrize("name", [c.name for c in CONDITIONS] + sorted(LOG_NAMES))
def test_every_condition_shows_at_the_stronger_severities(name: str, severity: int) -> None:
    told = shown(name, severity)
    assert told["labels"]["must"], name
    assert [name for name, holds in told["identities"].items() if not holds] == []


def test_labels_hold_every_code_once() -> None:
    system = world.with_condition("bypass open", 2, "tuning", 1)
    told = made(replace(system, days=1.0))[2]
    lists = [told["labels"][ask] for ask in ("must", "may", "must_not")]
    assert sorted(code for some in lists for code in some) == sorted(EVERY_CODE)


def test_catalogue_has_every_condition_at_three_severities() -> None:
    systems = world.catalogue("tuning")
    assert len({system.name for system in systems}) == len(systems)
    planted = {(name, level) for system in systems for name, level in system.conditions}
    for name in [c.name for c in CONDITIONS] + sorted(LOG_NAMES):
        assert {level for told, level in planted if told == name} == {1, 2, 3}, name
    assert {len(system.zones) for system in systems} == {2, 3, 4, 5, 6}
    assert {system.plant.blower for system in systems} == {0.0, 1.0, 2.0}
    assert any(len(system.branches) > len(system.zones) for system in systems)


def test_the_two_parts_share_nothing() -> None:
    tuning, reporting = (
        world.catalogue("tuning"),
        [world.healthy("reporting", number) for number in range(60)],
    )
    assert not {s.climate for s in tuning} & {s.climate for s in reporting}
    assert not {s.seed for s in tuning} & {s.seed for s in reporting}
    shares = [{tuple(b.share for b in s.branches) for s in some} for some in (tuning, reporting)]
    assert not shares[0] & shares[1]


def test_a_reporting_system_is_refused_in_a_tuning_run(tmp_path: Path) -> None:
    system = world.healthy("reporting", 1)
    for use in (world.record, world.truth, lambda s: world.make_site(s, tmp_path)):
        with pytest.raises(world.OtherPart, match="reporting_run"):
            use(system)
    with world.reporting_run():
        with pytest.raises(world.OtherPart):
            world.record(world.healthy("tuning", 1))
        assert len(world.record(system)) == system.seconds


# --- exports against the truth, read back by other means --------------------------------------


def test_same_description_gives_the_same_bytes(tmp_path: Path) -> None:
    system = replace(world.healthy("tuning", 9), days=1.0)
    first, second = (made(system) for _ in range(2))
    assert [e.text for e in first[1]] == [e.text for e in second[1]]
    assert json.dumps(first[2]) == json.dumps(second[2])
    facts = world.make_site(system, tmp_path)
    assert facts == json.loads(json.dumps(first[2]))
    for export in first[1]:
        text = (tmp_path / "exports" / export.name).read_bytes().decode("utf-8")
        assert text == export.text


def dialect_of(dialect: str) -> world.System:
    """A tuning system that is logged in a dialect, states on change."""
    system = world.healthy("tuning", 20)
    logging = replace(system.logging, dialect=dialect, states="change", fast_s=10, slow_s=60)
    return replace(system, days=0.2, logging=logging)


DELIMITERS = {"semicolon": ";", "spreadsheet days": ";", "tabs": "\t", "points": "\t", "bars": "|"}
LOCAL = {
    "semicolon": "%d.%m.%Y %H:%M:%S",
    "points": "%d.%m.%Y %H.%M.%S",
    "bars": "%d %b %Y %H:%M:%S",
}
UTC_BY = {
    "epoch": {"unit": "s"},
    "milliseconds": {"unit": "ms"},
    "utc": {},
    "offset": {},
}


def read(system: world.System, text: str) -> pd.DataFrame:
    """An export as a table with UTC instants, by pandas."""
    dialect = system.logging.dialect
    how: dict[str, Any] = {"sep": DELIMITERS.get(dialect, ",")}
    how |= {"decimal": ","} if dialect in ("semicolon", "points") else {}
    how |= {"skiprows": 3} if dialect == "twelve hour" else {}
    table = pd.read_csv(io.StringIO(text), **how, skip_blank_lines=False)
    if dialect == "unit line":
        units = pd.read_csv(io.StringIO(text), nrows=1, dtype=str).iloc[0]
        table = pd.read_csv(io.StringIO(text), skiprows=[1])
        table.columns = [n if pd.isna(u) else f"{n} ({u})" for n, u in units.items()]
    first = table.pop(table.columns[0])
    if dialect in UTC_BY:
        table.index = pd.to_datetime(first, utc=True, **UTC_BY[dialect])
        return table
    if dialect == "spreadsheet days":
        local = pd.to_datetime(first, unit="D", origin="1899-12-30").dt.round("s")
    elif dialect == "twelve hour":
        local = pd.to_datetime(first + " " + table.pop("Time"), format="%m/%d/%Y %I:%M:%S %p")
    else:
        local = pd.to_datetime(first, format=LOCAL.get(dialect, "%Y-%m-%d %H:%M:%S"))
    table.index = pd.DatetimeIndex(local).tz_localize(system.weather.timezone).tz_convert("UTC")
    return table[::-1] if dialect == "newest first" else table


@pytest.mark.parametrize("dialect", [name for name in DIALECTS if name != "long"])
def test_exports_read_back_give_the_record(dialect: str) -> None:
    """Runtime of every output to the second from the panel's file, and supply air within five
    times its noise and half a digit."""
    system = dialect_of(dialect)
    kept, files, told = made(system)
    by_name = {export.name: export for export in files}
    panel = read(system, by_name["panel.csv"].text)
    assert str(panel.index[0]).replace(" ", "T")[:19] == told["window"]["start"][:19]
    seconds = np.diff((panel.index - panel.index[0]).total_seconds())
    for channel in panel_states(system, kept):
        if not channel.role.startswith("output"):
            continue
        on = panel[channel.column].astype(str).isin(["on", "ON", "1", "Yes", "True"])
        assert seconds[on.to_numpy()[:-1]].sum() == told["runtime_s"][channel.role]
    plenum = by_name["plenum.csv"]
    table = read(system, plenum.text)
    supply = table[plenum.channels[0].column].to_numpy()
    true = np.asarray(plenum.channels[0].values)[plenum.seconds]
    assert np.abs(supply - true).max() < 5 * 0.12 + 0.06
    first = pd.Timestamp(told["files"]["plenum.csv"]["first"])
    offset = told["files"]["plenum.csv"]["clock_offset_s"]
    assert (table.index[0] - first).total_seconds() == offset


def test_every_column_has_one_channel_in_the_site_file(tmp_path: Path) -> None:
    system = dialect_of("tabs")
    world.make_site(system, tmp_path)
    told = tomllib.loads((tmp_path / "site.toml").read_text(encoding="utf-8"))
    named = sorted((c["file"], c["column"]) for c in told["channel"])
    columns = []
    for path in sorted((tmp_path / "exports").glob("*.csv")):
        head = path.read_text(encoding="utf-8").split("\n")[0].split("\t")
        columns += [(f"exports/{path.name}", column) for column in head[1:]]
    assert named == sorted(columns)


def test_faults_of_the_log_stand_in_the_log() -> None:
    ahead = world.combined(("clock ahead", "static zero shifted"), 2, "tuning", 5)
    _, files, told = made(ahead)
    static = next(e for e in files if e.name == "static.csv")
    table = read(ahead, static.text) if ahead.logging.dialect != "long" else None
    assert told["files"]["static.csv"]["clock_offset_s"] == pytest.approx(240, abs=3)
    assert {"clock-offset", "static-zero-shifted"} <= set(told["labels"]["must"])
    if table is not None:
        quiet = table.iloc[:, 0]
        assert quiet.tail(2000).min() > 0.5 * 0.08 * 249.0889


@pytest.mark.parametrize(("every_s", "days"), [(1, 0.1), (900, 2.0)])
def test_rates_from_a_second_to_a_quarter_of_an_hour(
    every_s: int, days: float, tmp_path: Path
) -> None:
    """Every channel sampled alike: no row is lost, and the tool's runtime lies within the bound it
    gives itself, to the second at 1 s but for one interval at each end of each run."""
    system = replace(world.healthy("tuning", 20), days=days)
    rates = {"fast_s": every_s, "slow_s": every_s, "states": "sampled", "dialect": "plain"}
    told = world.make_site(
        replace(system, logging=replace(system.logging, **rates)),  # type: ignore[arg-type]
        tmp_path,
    )
    panel = pd.read_csv(tmp_path / "exports" / "panel.csv")
    assert set(np.diff(pd.to_datetime(panel["Time"]).to_numpy()) / np.timedelta64(1, "s")) == {
        every_s
    }
    made = review_site(tmp_path)
    assert made.load.total("n_rejected") == made.load.total("n_repeated") == 0
    assert made.load.total("n_loaded") == made.load.total("n_read") > 0
    runtime = made.result.frames["measure.runtime"].set_index("output")
    for output in ("output_w1", "output_g"):
        true_s = told["runtime_s"][output]
        assert abs(runtime["on_s"][output] - true_s) <= runtime["plus_minus_s"][output]
        if every_s == 1:
            assert abs(runtime["on_s"][output] - true_s) <= 1


@pytest.mark.parametrize("dialect", DIALECTS)
def test_the_tool_loads_every_dialect(dialect: str, tmp_path: Path) -> None:
    world.make_site(replace(dialect_of(dialect), days=0.1), tmp_path)
    report = load_site(tmp_path)
    assert report.total("n_rejected") == report.total("n_repeated") == report.n_conflicts == 0
    assert report.total("n_loaded") == report.total("n_read") > 0


def test_hunting_is_told_from_static_at_rest() -> None:
    """Worked by hand: 0.3, 0.5, 0.3, 0.5, 0.3 turns three times; swings of 0.08 do not count."""
    swings = np.repeat([0.3, 0.5, 0.3, 0.5, 0.3], 20)
    assert reversals(swings, 0.1) == 3
    assert reversals(0.3 + 0.4 * (swings - 0.3), 0.1) == 0


def test_codes_are_file_names_of_findings_or_proposals() -> None:
    """A code of a finding that exists is its file name with - for _; the rest is listed."""
    folder = Path(findings.__file__).parent
    there = {path.stem.replace("_", "-") for path in folder.glob("[a-z]*.py")}
    # planted into readings by tests/accuracy/planted.py: no logger of the world has these faults
    beside = {"log-too-coarse", "missing-readings", "reversing-valve-sense", "sensor-lag"}
    assert there <= set(EVERY_CODE) | beside, "a finding that nothing ever asks for"
    assert set(EVERY_CODE) == set(CODES)
    assert {code for code, meaning in CODES.items() if not meaning} == set()


@pytest.mark.slow
@pytest.mark.parametrize("number", range(12))
def test_the_tool_loads_what_the_world_exports(number: int, tmp_path: Path) -> None:
    world.make_site(world.healthy("tuning", number), tmp_path)
    report = load_site(tmp_path)
    assert report.total("n_rejected") == report.total("n_repeated") == report.n_conflicts == 0
    assert report.total("n_loaded") == report.total("n_read") > 0
