"""A year of one-minute rows: a whole load beside DuckDB's own reading of the file.

Writes one export of 28 channels (11 analog, 17 states) at one minute for a year, with 50 malformed
lines (cut short, a cell too many, words for numbers, the header again, a broken time), 10 blank
lines and 20 gaps, and in turn measures

load   `load_site` into a store that is not there yet: every row accounted for, rejects kept,
       zone and daylight saving resolved, states as segments, the original kept in the store
peer   DuckDB's typed `read_csv` of the same file into a table, faulty lines dropped

Both take the file from disk; the first round of each is not counted. Only the ratio of the medians
of one run means anything, as the machine's speed changes.

Run: python tests/benchmarks/load_year.py [--rounds 7]
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import duckdb
import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.load import load_site

N = 525_600
GOAL = 2.5
ANALOG = (
    *(("Supply air (°F)", "supply_temp", None), ("Return air (°F)", "return_temp", None)),
    *(("Outdoor (°F)", "outdoor_temp", None), ("Trunk static (Pa)", "static_pressure", None)),
    *(("Return static (Pa)", "return_static", None), ("Return RH (%)", "return_rh", None)),
    *((f"Zone {z} (°F)", "zone_temp", z) for z in (1, 2, 3, 4)),
    ("Zone 1 RH (%)", "zone_rh", 1),
)
STATE = (
    *((f"Z{z} {t}", f"zone_call_{t.lower()}", z) for z in (1, 2, 3, 4) for t in ("W1", "Y1")),
    *((f"Z{z} damper", "zone_damper", z) for z in (1, 2, 3, 4)),
    *((f"{t} out", f"output_{t.lower()}", None) for t in ("W1", "W2", "Y1", "G")),
    ("Blower running", "blower_run", None),
)


def write_site(folder: Path) -> tuple[Path, int]:
    """A site with the year's export; returns the export and how many malformed lines it has."""
    rng = np.random.default_rng(14)
    minutes = np.arange(N) * 60 + int(np.datetime64("2025-01-01", "s").astype(np.int64))
    stamps = pc.strftime(pa.array(minutes * 1_000_000, pa.timestamp("us")), "%Y-%m-%d %H:%M:%S")
    stamps = pc.utf8_slice_codeunits(stamps, 0, 19)
    columns = [stamps]
    wave = np.sin(np.arange(N) * 2 * np.pi / 1_440)
    for k, (name, _, _) in enumerate(ANALOG):
        middle, swing = (70, 20) if "°F" in name else (120, 60) if "Pa" in name else (45, 10)
        value = middle + swing * wave + rng.normal(0, 2, N) + k
        columns.append(_texts(np.rint(value * 10).astype(np.int64)))
    for k in range(len(STATE)):
        on = (np.arange(N) // (17 + 3 * k)) % 3 == 0
        columns.append(pa.array(["0", "1"]).take(pa.array(on.astype(np.int64))))
    lines = pc.binary_join_element_wise(*columns, ",").to_pylist()
    keep = np.ones(N, bool)
    for start in np.sort(rng.choice(np.arange(1_000, N - 5_000, 1_000), 20, replace=False)):
        keep[start : start + int(rng.integers(5, 900))] = False
    # The clocks of the zone skip and repeat an hour; this logger keeps UTC.
    lines = [line for line, kept in zip(lines, keep.tolist(), strict=True) if kept]
    header = ",".join(["Time", *(n for n, _, _ in ANALOG), *(n for n, _, _ in STATE)])
    spoilt = np.sort(rng.choice(len(lines) - 10, 50, replace=False)) + 2
    for k, at in enumerate(spoilt.tolist()):
        cells = lines[at].split(",")
        lines[at] = (
            lines[at][:40],
            lines[at] + ",7",
            ",".join([cells[0], "ERR", *cells[2:]]),
            header,
            ",".join(["2025-13-40 99:00:00", *cells[1:]]),
        )[k % 5]
    for at in np.sort(rng.choice(len(lines), 10, replace=False))[::-1].tolist():
        lines.insert(at + 1, "")
    preamble = ["Readings of one year", "One row a minute", ""]
    (folder / "exports").mkdir(parents=True)
    export = folder / "exports" / "year.csv"
    export.write_text("\n".join([*preamble, header, *lines, ""]), encoding="utf-8")
    said = ['[site]\nid = "year"\ntimezone = "America/Denver"\n[equipment]\nkind = "furnace_ac"']
    said.append('[[export]]\nfiles = "exports/*.csv"\ntimezone = "UTC"\nkind = "sampled"')
    for name, role, zone in (*ANALOG, *STATE):
        said.append(f'[[channel]]\ncolumn = "{name}"\nrole = "{role}"')
        if zone is not None:
            said[-1] += f"\nzone = {zone}"
    (folder / "site.toml").write_text("\n".join(said), encoding="utf-8")
    return export, len(spoilt)


def _texts(tenths: np.ndarray) -> pa.Array:
    distinct, places = np.unique(tenths, return_inverse=True)
    return pa.array([f"{v / 10:.1f}" for v in distinct.tolist()]).take(pa.array(places))


def peer(export: Path) -> int:
    """Rows that DuckDB's typed reader brings into a table."""
    columns = {"time": "TIMESTAMP"}
    columns |= {f"a{k}": "DOUBLE" for k in range(len(ANALOG))}
    columns |= {f"s{k}": "TINYINT" for k in range(len(STATE))}
    with duckdb.connect() as connection:
        connection.execute(
            "create table year as select * from read_csv(?, auto_detect = false, header = true, "
            "skip = 3, delim = ',', quote = '', columns = ?, "
            "timestampformat = '%Y-%m-%d %H:%M:%S', ignore_errors = true)",
            [str(export), columns],
        )
        return int(connection.execute("select count(*) from year").fetchall()[0][0])


def measured(work: Callable[[], object]) -> float:
    """Wall seconds of one call."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rounds", type=int, default=7)
    rounds = parser.parse_args().rounds
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "year"
        export, n_spoilt = write_site(folder)
        store = folder / "site.duckdb"
        seconds: dict[str, list[float]] = {"load": [], "peer": []}
        for turn in range(rounds + 1):
            store.unlink(missing_ok=True)
            for what, work in (
                ("load", lambda: load_site(folder)),
                ("peer", lambda: peer(export)),
            ):
                taken = measured(work)
                if turn:
                    seconds[what].append(taken)
        report = load_site(folder)
        size = export.stat().st_size / 1e6
        print(f"{size:.0f} MB, {report.total('n_read'):,} rows read, {n_spoilt} lines malformed:")
        print(
            f"  load: {report.total('n_loaded'):,} loaded, {report.total('n_rejected')} rejected, "
            f"{report.total('n_bad_cells')} bad cells; peer: {peer(export):,} rows"
        )
        middle = {what: statistics.median(taken) for what, taken in seconds.items()}
        for what, taken in seconds.items():
            spread = f"{min(taken):.2f} to {max(taken):.2f}"
            print(f"  {what}: median {middle[what]:.2f} s ({spread}, {rounds} rounds)")
        pairs = [a / b for a, b in zip(seconds["load"], seconds["peer"], strict=True)]
        print(
            f"  ratio of the medians {middle['load'] / middle['peer']:.2f}, "
            f"median of the rounds' ratios {statistics.median(pairs):.2f} (goal {GOAL})"
        )


if __name__ == "__main__":
    main()
