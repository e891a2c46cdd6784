"""Laws of loading, on random exports and against other libraries."""

from __future__ import annotations

import random
import re
import shutil
import tempfile
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pint
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from pipeline.errors import UserError
from pipeline.ingest import merge, timestamps, written_times
from pipeline.ingest.load import load_site
from pipeline.ingest.values import read_values
from pipeline.site import Channel
from pipeline.site_reader import read_site
from pipeline.store import open_store

QUICK = settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
SAMPLE = Path(__file__).parents[1] / "sample_data" / "larch-14"
START = datetime(2026, 1, 14, 10, 0, 0)

SITE = """
[site]
id = "law"
timezone = "America/Denver"
[equipment]
kind = "furnace_ac"
[[export]]
files = "exports/*.csv"
kind = "{kind}"
[[channel]]
column = "Supply (°F)"
role = "supply_temp"
[[channel]]
column = "W1"
role = "output_w1"
"""


def make_site(folder: Path, kind: str, files: dict[str, str]) -> Path:
    """A site folder with these exports."""
    (folder / "exports").mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(SITE.format(kind=kind), encoding="utf-8")
    for name, text in files.items():
        (folder / "exports" / name).write_text(text, encoding="utf-8")
    return folder


def csv(rows: list[tuple[int, str, str]]) -> str:
    """Rows (seconds after START, supply, state) as an export."""
    lines = [f"{START + timedelta(seconds=s):%Y-%m-%d %H:%M:%S},{t},{w}" for s, t, w in rows]
    return "\n".join(["Time,Supply (°F),W1", *lines, ""])


def content(site: Path) -> dict[str, list[tuple[Any, ...]]]:
    """What the store holds, file names and numbers apart."""
    with open_store(site / "site.duckdb") as connection:
        return {
            table: connection.execute(f"from {table}").fetchall()
            for table in ("reading", "state", "channel")
        }


@st.composite
def logs(draw: st.DrawFn) -> tuple[str, list[tuple[int, str, str]]]:
    """A log's kind and rows; changes never more than half an hour apart."""
    kind = draw(st.sampled_from(["sampled", "change_of_state"]))
    n = draw(st.integers(4, 24))
    steps = st.sampled_from([10, 10, 10, 10, 20, 50]) if kind == "sampled" else st.integers(1, 1800)
    at = np.cumsum(draw(st.lists(steps, min_size=n, max_size=n))).tolist()
    temp = st.one_of(st.integers(-40, 2000).map(lambda v: f"{v / 10:.1f}"), st.just(""))
    state = st.sampled_from(["on", "off", ""])
    rows = [(int(s), draw(temp), draw(state)) for s in at]
    rows[0] = (rows[0][0], "100.0", "on")
    return kind, rows


@st.composite
def cut_logs(
    draw: st.DrawFn,
) -> tuple[str, list[tuple[int, str, str]], list[list[tuple[int, str, str]]], list[str]]:
    """A log, the same in pieces that may overlap, and the pieces' file names in any order."""
    kind, rows = draw(logs())
    cuts = sorted(draw(st.sets(st.integers(1, len(rows) - 1), max_size=3)))
    edges = [0, *cuts, len(rows)]
    pieces = []
    for first, last in pairwise(edges):
        back = draw(st.integers(0, first))
        pieces.append(rows[first - back : last])
    names = draw(st.permutations([f"part_{k}.csv" for k in range(len(pieces))]))
    return kind, rows, pieces, list(names)


@QUICK
@given(cut_logs())
def test_any_order_and_split_of_files_gives_the_same_store(
    tmp_path: Path,
    cut: tuple[str, list[tuple[int, str, str]], list[list[tuple[int, str, str]]], list[str]],
) -> None:
    kind, rows, pieces, names = cut
    with tempfile.TemporaryDirectory(dir=tmp_path) as name:
        folder = Path(name)
        whole = make_site(folder / "whole", kind, {"all.csv": csv(rows)})
        parts = make_site(
            folder / "parts",
            kind,
            {n: csv(piece) for n, piece in zip(names, pieces, strict=True)},
        )
        one, many = load_site(whole), load_site(parts)
        assert content(whole) == content(parts)
        assert one.total("n_loaded") == many.total("n_loaded")
        assert many.total("n_read") == sum(len(piece) for piece in pieces)
        for file in (*one.files, *many.files):
            assert file.n_read == file.n_loaded + file.n_rejected + file.n_repeated


@settings(QUICK, max_examples=4)
@given(cut_logs())
def test_loading_piece_by_piece_is_loading_at_once(
    tmp_path: Path,
    cut: tuple[str, list[tuple[int, str, str]], list[list[tuple[int, str, str]]], list[str]],
) -> None:
    kind, _, pieces, names = cut
    with tempfile.TemporaryDirectory(dir=tmp_path) as folder:
        files = {n: csv(piece) for n, piece in zip(names, pieces, strict=True)}
        at_once = make_site(Path(folder) / "a", kind, files)
        load_site(at_once)
        slowly = Path(folder) / "b"
        for name, text in files.items():
            load_site(make_site(slowly, kind, {name: text}))
        with open_store(at_once / "site.duckdb") as one, open_store(slowly / "site.duckdb") as two:
            for table in ("file", "channel", "reading", "state", "reject", "repeat", "conflict"):
                query = f"from {table} order by all"
                assert one.execute(query).fetchall() == two.execute(query).fetchall()


DAMAGE = (
    b'"',
    b"\n",
    b"\r",
    b",",
    b"\0",
    b"\xff",
    b"\xc2\xb0",
    b"9999-12-31 23:59:59",
    b",,,,",
    b"NaN",
)
CORPUS = Path(__file__).parent / "exports"


@settings(QUICK, max_examples=20)
@given(
    case=st.sampled_from(sorted(p.name for p in CORPUS.iterdir() if p.is_dir())),
    cuts=st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 12), st.sampled_from(DAMAGE)),
        min_size=1,
        max_size=3,
    ),
)
def test_a_damaged_export_is_accounted_for_or_refused(
    tmp_path: Path, case: str, cuts: list[tuple[float, int, bytes]]
) -> None:
    with tempfile.TemporaryDirectory(dir=tmp_path) as name:
        site = Path(shutil.copytree(CORPUS / case, Path(name) / case))
        for file in (site / "exports").iterdir():
            content = file.read_bytes()
            for where, length, put_in in cuts:
                at = round(where * len(content))
                content = content[:at] + put_in + content[at + length :]
            file.write_bytes(content)
        try:
            report = load_site(site)
        except UserError as error:
            assert error.expected
            return
        for account in report.files:
            counted = account.n_loaded + account.n_rejected + account.n_repeated
            assert account.n_read == counted


@settings(QUICK, max_examples=6)
@given(
    odd=st.lists(
        st.tuples(
            st.integers(700, 2_200),
            st.sampled_from(
                ["", " 70.5", "ERR", "-999", "9999", "nan", "inf", "1e2", "what", "70,5"]
            ),
        ),
        max_size=8,
        unique_by=lambda pair: pair[0],
    ),
    run=st.sampled_from([0, 1_300]),
)
def test_numbers_cut_at_once_are_those_cut_as_texts(
    tmp_path: Path, odd: list[tuple[int, str]], run: int
) -> None:
    # The sampled lines, the first 460 and the last 100, are clean; what stands between is not.
    rows = [(10 * k, f"{100 + k % 9}.5", "on" if k % 2 else "off") for k in range(3_000)]
    for at, text in odd:
        rows[at] = (10 * at, f'"{text}"' if "," in text else text, "off")
    for at in range(900, 900 + run):
        rows[at] = (10 * at, "-999", "off")
    with tempfile.TemporaryDirectory(dir=tmp_path) as name, pytest.MonkeyPatch.context() as patch:
        one = make_site(Path(name) / "a", "sampled", {"a.csv": csv(rows)})
        load_site(one)
        patch.setattr("pipeline.ingest.file_reading.is_plain_numbers", lambda *_: False)
        other = make_site(Path(name) / "b", "sampled", {"a.csv": csv(rows)})
        load_site(other)
        assert content(one) == content(other)
        with open_store(one / "site.duckdb") as a, open_store(other / "site.duckdb") as b:
            query = "from reject order by all"
            assert a.execute(query).fetchall() == b.execute(query).fetchall()


def test_loading_twice_is_loading_once(tmp_path: Path) -> None:
    rows = [(10 * k, f"{100 + k}.0", "on" if k % 3 else "off") for k in range(40)]
    site = make_site(tmp_path, "sampled", {"a.csv": csv(rows)})
    first = load_site(site)
    before = (site / "site.duckdb").read_bytes()
    again = load_site(site)
    assert (first.is_rebuilt, again.is_rebuilt) == (True, False)
    assert [f.was_loaded for f in (*first.files, *again.files)] == [False, True]
    assert (site / "site.duckdb").read_bytes() == before


def test_rows_of_a_vanished_file_stay_and_are_reported(tmp_path: Path) -> None:
    rows = [(10 * k, f"{100 + k}.0", "on") for k in range(40)]
    files = {"a.csv": csv(rows[:20]), "b.csv": csv(rows[20:])}
    site = make_site(tmp_path, "sampled", files)
    load_site(site)
    before = content(site)
    (site / "exports" / "a.csv").unlink()
    report = load_site(site)
    assert [(f.path, f.is_present) for f in report.files] == [
        ("exports/a.csv", False),
        ("exports/b.csv", True),
    ]
    assert content(site) == before
    # It comes back under another name: the same file, no row twice.
    (site / "exports" / "back.csv").write_text(files["a.csv"], encoding="utf-8")
    report = load_site(site)
    assert [(f.path, f.is_present) for f in report.files] == [
        ("exports/back.csv", True),
        ("exports/b.csv", True),
    ]
    assert report.total("n_repeated") == 0
    assert content(site) == before


def test_a_copy_of_a_file_is_not_loaded_twice(tmp_path: Path) -> None:
    rows = [(10 * k, f"{100 + k}.0", "on") for k in range(20)]
    site = make_site(tmp_path, "sampled", {"a.csv": csv(rows), "copy of a.csv": csv(rows)})
    report = load_site(site)
    assert report.copies == (("exports/copy of a.csv", "exports/a.csv"),)
    assert len(report.files) == 1


def test_a_site_file_that_says_something_else_about_reading_rebuilds(tmp_path: Path) -> None:
    site = make_site(
        tmp_path, "sampled", {"a.csv": csv([(10 * k, "100.0", "on") for k in range(9)])}
    )
    load_site(site)
    first = content(site)["reading"][0][1]
    text = (site / "site.toml").read_text(encoding="utf-8")
    (site / "site.toml").write_text(
        text.replace('kind = "sampled"', 'kind = "sampled"\ntimezone = "UTC"'), encoding="utf-8"
    )
    assert load_site(site).is_rebuilt
    # Denver is seven hours behind UTC in January.
    assert first - content(site)["reading"][0][1] == 7 * 3600 * 1_000_000


# ---------------------------------------------------------------------- times, against zoneinfo

ZONES = (
    *("America/Denver", "America/New_York", "America/St_Johns", "Europe/London"),
    *("Australia/Lord_Howe", "Asia/Kolkata", "America/Phoenix"),
)


@QUICK
@given(
    zone=st.sampled_from(ZONES),
    month=st.sampled_from([3, 4, 10, 11]),
    minutes=st.sampled_from([2, 10, 15]),
    shift=st.integers(0, 14),
)
@example(zone="America/Denver", month=11, minutes=10, shift=0)
@example(zone="Australia/Lord_Howe", month=4, minutes=10, shift=3)
def test_clock_readings_become_the_instants_zoneinfo_made_them_of(
    zone: str, month: int, minutes: int, shift: int
) -> None:
    # Outside check: zoneinfo writes the clock readings of a whole month of known instants.
    first = datetime(2026, month, 1, tzinfo=UTC) + timedelta(minutes=shift)
    instants = [first + timedelta(minutes=minutes * k) for k in range(31 * 1440 // minutes)]
    readings = [t.astimezone(ZoneInfo(zone)).replace(tzinfo=None) for t in instants]
    epoch = datetime(1970, 1, 1)
    local = np.array([(t - epoch) // timedelta(microseconds=1) for t in readings], np.int64)
    found = timestamps.to_utc(local, np.ones(len(local), bool), timestamps.zone_of(zone), True)
    assert not found.skipped.any() and not found.undecided.any() and found.fixed_us is None
    expected = [(t.replace(tzinfo=None) - epoch) // timedelta(microseconds=1) for t in instants]
    assert (found.utc == np.array(expected, np.int64)).all()


@pytest.mark.parametrize("zone", ZONES[:5])
def test_times_that_zoneinfo_cannot_bring_back_are_skipped(zone: str) -> None:
    # Outside check: a clock reading that zoneinfo does not map onto itself never was.
    info = ZoneInfo(zone)
    readings = pd.date_range("2026-01-01", "2026-12-31", freq="30min").to_pydatetime()
    local = np.array([int(t.replace(tzinfo=UTC).timestamp()) * 10**6 for t in readings], np.int64)
    skipped = timestamps.to_utc(local, np.ones(len(local), bool), info, True).skipped
    there_and_back = [
        t.replace(tzinfo=info).astimezone(UTC).astimezone(info).replace(tzinfo=None) == t
        for t in readings
    ]
    assert skipped.tolist() == [not same for same in there_and_back]
    assert skipped.sum() == (1 if zone == "Australia/Lord_Howe" else 2)


FORMATS = {
    "%Y-%m-%d %H:%M:%S": "ymd",
    "%Y-%m-%dT%H:%M:%S": "ymd",
    "%Y/%m/%d %H:%M": "ymd",
    "%m/%d/%Y %I:%M:%S %p": "mdy",
    "%m/%d/%y %H:%M": "mdy",
    "%d.%m.%Y %H:%M:%S": "dmy",
    "%d-%b-%Y %H:%M:%S": "dmy",
    "%d/%m/%Y, %I:%M %p": "dmy",
    "%Y-%m-%d %H:%M:%S.%f": "ymd",
}


@QUICK
@given(
    pattern=st.sampled_from(sorted(FORMATS)),
    moments=st.lists(
        st.datetimes(datetime(2000, 1, 1), datetime(2068, 12, 31)), min_size=1, max_size=30
    ),
    strip=st.booleans(),
)
def test_written_times_are_read_as_strptime_reads_them(
    pattern: str, moments: list[datetime], strip: bool
) -> None:
    texts = [m.strftime(pattern) for m in moments]
    # Outside check: the standard library's own reading of the same texts.
    expected = [datetime.strptime(t, pattern) for t in texts]
    if strip and "%b" not in pattern:
        texts = [re.sub(r"(^|/)0(?=\d/)", r"\1", t) for t in texts]
    fields = written_times.split_texts(pa.array(texts), True)
    local, good = written_times.local_us(fields, FORMATS[pattern])
    assert good.all()
    epoch = datetime(1970, 1, 1)
    assert local.tolist() == [(t - epoch) // timedelta(microseconds=1) for t in expected]


@pytest.mark.parametrize(
    "text",
    ["2026-02-29 10:00:00", "2026-13-01 10:00:00", "2026-01-14 25:00:00", "2026-01-14 10:60:00",
     "13/14/2026 1:00 PM", "01/14/2026 13:00 AM", "2026-01-14", "yesterday", "", "10:00:00"],
)  # fmt: skip
def test_times_that_cannot_be_are_not_read(text: str) -> None:
    fields = written_times.split_texts(pa.array([text]), True)
    assert not written_times.local_us(fields, "mdy")[1].any()


def test_midnight_written_as_24_is_the_next_day() -> None:
    fields = written_times.split_texts(pa.array(["2026-01-14 24:00:00"]), True)
    local, good = written_times.local_us(fields, "ymd")
    assert good[0] and local[0] == int(datetime(2026, 1, 15, tzinfo=UTC).timestamp()) * 10**6


def test_an_hour_without_a_step_back_is_placed_by_its_neighbours() -> None:
    # One reading every ten minutes in Denver, the logger read out at 1:20 of the first pass: the
    # row before the hour is ten minutes earlier, so it is the first pass (UTC-6).
    denver = timestamps.zone_of("America/Denver")
    day = int(datetime(2026, 11, 1, tzinfo=UTC).timestamp())
    first = np.arange(day, day + 4801, 600) * 10**6
    found = timestamps.to_utc(first, np.ones(len(first), bool), denver, True)
    assert not found.undecided.any() and (found.utc - first == 6 * 3600 * 10**6).all()
    # Set at 1:20 of the second pass: the row after the hour is ten minutes later (UTC-7).
    second = np.arange(day + 4800, day + 12001, 600) * 10**6
    found = timestamps.to_utc(second, np.ones(len(second), bool), denver, True)
    assert not found.undecided.any() and (found.utc - second == 7 * 3600 * 10**6).all()
    # Nothing but 1:20 to 1:50: nobody can tell.
    alone = np.arange(day + 4800, day + 6601, 600) * 10**6
    assert timestamps.to_utc(alone, np.ones(len(alone), bool), denver, True).undecided.all()


# ------------------------------------------------------------------------- values, against pint

PINT = {
    "degF": "degF", "degC": "degC", "K": "kelvin", "Pa": "pascal", "kPa": "kilopascal",
    "mbar": "millibar", "psi": "psi", "mmH2O": "cmH2O / 10", "inwc": "2.54 * cmH2O",
}  # fmt: skip


@pytest.mark.parametrize("unit", PINT)
def test_readings_are_converted_as_pint_converts_them(unit: str, tmp_path: Path) -> None:
    # pint's cmH2O is conventional water (1 kg/l) under standard gravity, as the store unit's is.
    registry: pint.UnitRegistry = pint.UnitRegistry()
    is_temperature = unit in ("degF", "degC", "K")
    (tmp_path / "site.toml").write_text(SITE.format(kind="sampled"), encoding="utf-8")
    role = "outdoor_temp" if is_temperature else "static_pressure"
    channel = Channel(column="x", role=role, unit=unit)
    written = ["0", "1", "-3.25", "98.6", "250"]
    values = read_values(pa.array(written), channel, unit, ".", (), read_site(tmp_path))
    target = registry.degF if is_temperature else registry.parse_units("cmH2O") * 1
    for text, value in zip(written, values.value, strict=True):
        if is_temperature:
            expected = registry.Quantity(float(text), PINT[unit]).to(target).magnitude
        else:
            quantity = float(text) * registry.parse_expression(PINT[unit])
            expected = quantity.to("cmH2O").magnitude / 2.54
        # 1e-9: both sides are exact factors up to rounding of doubles.
        assert value == pytest.approx(expected, rel=1e-9, abs=1e-9)


# ---------------------------------------------------------------- intervals and state segments


def test_nominal_interval_is_the_median_within_a_stretch_of_constant_rate() -> None:
    # 60 steps of 10 s, then 60 of 60 s: two stretches; the step from one to the other is the
    # second's. Two lone gaps do not make a stretch.
    steps = [10] * 30 + [300] + [10] * 30 + [60] * 60
    ts = np.cumsum([0, *steps]) * 1_000_000
    assert merge.constant_rates(ts) == [(0, 61, 10e6), (61, 122, 60e6)]
    assert merge.nominal_interval_us(ts) == 10e6


def test_nineteen_steps_of_another_length_are_not_a_new_rate() -> None:
    steps = [10] * 40 + [60] * 19 + [10] * 40
    ts = np.cumsum([0, *steps]) * 1_000_000
    assert [s[2] for s in merge.constant_rates(ts)] == [10e6]
    steps = [10] * 40 + [60] * 20 + [10] * 40
    ts = np.cumsum([0, *steps]) * 1_000_000
    assert [s[2] for s in merge.constant_rates(ts)] == [10e6, 60e6, 10e6]


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=50, deadline=None)
def test_sampled_segments_are_those_of_a_slow_plain_loop(seed: int) -> None:
    # Second implementation: reading by reading, as the definition is worded, for one rate.
    chance = random.Random(seed)
    ts, at = [], 0
    for _ in range(chance.randint(2, 40)):
        at += chance.choice([10, 10, 10, 10, 10, 25, 26, 40])
        ts.append(at * 10**6)
    on = [chance.random() < 0.5 for _ in ts]
    steps = sorted(b - a for a, b in pairwise(ts))
    nominal = float(np.median(steps))
    expected: list[tuple[int, int, bool]] = []
    for k, (t, state) in enumerate(zip(ts, on, strict=True)):
        held = t + round(nominal)
        if k + 1 < len(ts) and ts[k + 1] - t <= 2.5 * nominal:
            held = ts[k + 1]
        if expected and expected[-1][1] == t and expected[-1][2] == state:
            expected[-1] = (expected[-1][0], held, state)
        else:
            expected.append((t, held, state))
    got = merge.sampled_segments(merge.Times(np.array(ts)), np.array(on, float), 2.5)
    assert list(zip(*(g.tolist() for g in got), strict=True)) == expected


# ------------------------------------------------------------------- the sample, against pandas


@pytest.fixture(scope="module")
def larch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample site, loaded."""
    folder = tmp_path_factory.mktemp("sample") / "larch-14"
    shutil.copytree(SAMPLE, folder)
    load_site(folder)
    return folder


@pytest.mark.parametrize(
    ("file", "columns", "options", "time_format", "scale"),
    [
        ("plenum_temps", ["Date", "Time"], {"skiprows": 6}, "%m/%d/%Y %I:%M:%S %p", 1.0),
        # 249.08891 Pa is one inch of conventional water: NIST SP 811, appendix B.
        ("trunk_static", ["Time"], {"sep": ";", "decimal": ","}, "%Y-%m-%d %H:%M:%S", 249.08891),
    ],
)
def test_sample_readings_are_those_that_pandas_reads(
    larch: Path,
    file: str,
    columns: list[str],
    options: dict[str, Any],
    time_format: str,
    scale: float,
) -> None:
    frame = pd.read_csv(SAMPLE / "exports" / f"{file}.csv.gz", **options)
    clock = frame[columns[0]] if len(columns) == 1 else frame[columns[0]] + " " + frame[columns[1]]
    local = pd.to_datetime(clock, format=time_format)
    ts = local.dt.tz_localize("America/Denver").dt.tz_convert("UTC").astype("int64").to_numpy()
    with open_store(larch / "site.duckdb") as connection:
        for name in frame.columns[len(columns) :]:
            got = connection.execute(
                "select ts, value from reading join channel using (channel_id) "
                "where column_name = ? order by ts",
                [name],
            ).fetchnumpy()
            assert (got["ts"] == ts).all()
            assert got["value"] == pytest.approx(frame[name].to_numpy() / scale, abs=1e-12)


def test_sample_runtimes_are_those_of_a_forward_filled_frame(larch: Path) -> None:
    frame = pd.read_csv(SAMPLE / "exports" / "panel_states.csv.gz")
    at = pd.to_datetime(frame["Timestamp"], utc=True)
    states = frame.ffill()
    held = (at.shift(-1).fillna(at.iloc[-1]) - at).dt.total_seconds()
    with open_store(larch / "site.duckdb") as connection:
        got = connection.execute(
            "select column_name, coalesce(sum((end_ts - start_ts) / 1e6) filter (is_on), 0), "
            "count(*) filter (is_on) from channel left join state using (channel_id) "
            "where not is_sampled group by all"
        ).fetchall()
    assert {name for name, _, _ in got} == set(frame.columns[1:])
    for name, seconds, runs in got:
        is_on = states[name].isin(["on", "open", "alarm"])
        assert seconds == pytest.approx(held[is_on].sum(), abs=1e-6)
        assert runs == (is_on & ~is_on.shift(fill_value=False)).sum()


def test_a_quiet_log_of_changes_is_as_fine_as_its_stamps(tmp_path: Path) -> None:
    # Changes minutes apart, stamped to the second: 1 s, however rarely something changes; stamped
    # to the minute: 60 s.
    for seconds, expected in ((("07", "12", "00"), 1.0), (("00", "00", "00"), 60.0)):
        site = tmp_path / seconds[0]
        (site / "exports").mkdir(parents=True)
        (site / "site.toml").write_text(SITE.format(kind="change_of_state"), encoding="utf-8")
        rows = [
            f"2026-01-14T{at}:{s}-07:00,{word}"
            for at, s, word in zip(
                ("10:00", "10:05", "11:00"), seconds, ("off", "on", "off"), strict=True
            )
        ]
        text = "\n".join(["Time,W1", *rows, ""])
        (site / "exports" / "panel.csv").write_text(text, encoding="utf-8")
        text = (site / "site.toml").read_text(encoding="utf-8")
        supply = '[[channel]]\ncolumn = "Supply (°F)"\nrole = "supply_temp"\n'
        (site / "site.toml").write_text(text.replace(supply, ""), encoding="utf-8")
        with open_store(load_site(site).store) as connection:
            found = connection.execute("select interval_s from channel").fetchall()
        assert found == [(expected,)]
