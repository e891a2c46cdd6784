"""A site with a year of one-minute rows, made of the sample site's days over and over.

    python tests/benchmarks/year_site.py FOLDER [--days 365]

One wide export of 25 channels and a site file with the sample's settings and visits; local days of
standard time, so that the calendar's clock changes are met as a real log would meet them. The
weather is that of one January week; runs, trips and stages are those of the sample. Readings differ
by a digit's noise from day to day, as a page of real ones would hardly pack otherwise.
"""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.load import load_site
from pipeline.store import attach_sites, connect_working
from sample_data.unpack import unpack_site

DAY_S = 86_400
FIRST_S = int(np.datetime64("2025-02-01T07:00:00", "s").astype(np.int64))
LOGGED_FROM_S = int(np.datetime64("2026-01-13T07:00:00", "s").astype(np.int64))
N_LOGGED_DAYS = 6
DECIMALS = {"temperature": 1, "pressure": 3}


def write_site(folder: Path, days: int = 365) -> Path:
    """The site folder, with its export; `days` long."""
    sample = unpack_site("larch-14", folder.parent / "sample")
    load_site(sample)
    with connect_working() as con:
        attach_sites(con, {"larch-14": sample / "site.duckdb"})
        channels = con.execute(
            "select channel_id, role, zone, kind from store.channel where role is not null"
            " and kind in ('analog', 'state') order by kind, role, zone"
        ).df()
        readings = con.execute("select channel_id, ts, value from store.reading").df()
        states = con.execute("select channel_id, start_ts, end_ts, is_on from store.state").df()
    minutes = LOGGED_FROM_S + np.arange(N_LOGGED_DAYS * 1_440) * 60
    n = days * 1_440
    at = np.arange(n) % len(minutes)
    dither = np.random.default_rng(8)
    columns: list[pa.Array] = []
    said = []
    for channel in channels.itertuples():
        zone = "" if pd.isna(channel.zone) else f" {int(channel.zone)}"
        name = f"{channel.role}{zone}"
        if channel.kind == "analog":
            own = readings[readings["channel_id"] == channel.channel_id]
            value = np.interp(minutes, own["ts"] / 1e6, own["value"])
            is_static = "static" in channel.role
            # a digit's noise of its own every minute: days that repeat to the digit pack to nothing
            noise = dither.integers(-1, 2, n) * (0.005 if is_static else 0.1)
            texts = [f"{v:.3f}" if is_static else f"{v:.1f}" for v in value[at] + noise]
            columns.append(pa.array(texts))
        else:
            own = states[states["channel_id"] == channel.channel_id]
            on = own[own["is_on"]]
            begun = np.searchsorted(np.sort(on["start_ts"].to_numpy()) / 1e6, minutes, "right")
            ended = np.searchsorted(np.sort(on["end_ts"].to_numpy()) / 1e6, minutes, "right")
            texts = ["1" if b > e else "0" for b, e in zip(begun, ended, strict=True)]
            columns.append(pa.array(texts).take(pa.array(at)))
        unit = ""
        if channel.kind == "analog":
            unit = '\nunit = "inwc"' if "static" in channel.role else '\nunit = "degF"'
        said.append(f'[[channel]]\ncolumn = "{name}"\nrole = "{channel.role}"{unit}')
        if zone:
            said[-1] += f"\nzone = {zone.strip()}"
    stamps = pa.array((FIRST_S + np.arange(n) * 60) * 1_000_000, pa.timestamp("us"))
    stamps = pc.utf8_slice_codeunits(pc.strftime(stamps, "%Y-%m-%d %H:%M:%S"), 0, 19)
    lines = pc.binary_join_element_wise(stamps, *columns, ",").to_pylist()
    header = ",".join(["Time", *(re.findall(r'column = "(.*)"', s)[0] for s in said)])
    (folder / "exports").mkdir(parents=True)
    (folder / "exports" / "year.csv").write_text("\n".join([header, *lines, ""]), encoding="utf-8")
    sheet = (sample / "site.toml").read_text(encoding="utf-8")
    kept = re.split(r"(?m)^\[\[(?:visit|export|channel|clock)\]\]", sheet)[0]
    head = kept.replace('id = "larch-14"', 'id = "larch-year"')
    export = '[[export]]\nfiles = "exports/*.csv"\ntimezone = "UTC"\nkind = "sampled"'
    text = "\n\n".join([head.rstrip(), export, *said]) + "\n"
    (folder / "site.toml").write_text(text, encoding="utf-8")
    return folder


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--days", type=int, default=365)
    given = parser.parse_args()
    print(write_site(given.folder, given.days))


if __name__ == "__main__":
    main()
