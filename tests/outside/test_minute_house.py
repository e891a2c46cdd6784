"""Runs, starts and runtime on the minute log of a public residential simulator, through the load.

Source: `ochre-nrel` 0.9.2 (BSD-3), eight January days of its shipped house with a gas furnace, in
tests/world/ochre/ (make_house.py has the command). Expected is what a walk along the file's own
column gives: groups of equal minutes (itertools), and that package's own cycle count, on & ~before.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.ingest.load import load_site
from pipeline.review import measure_sites
from pipeline.site_reader import read_site
from pipeline.store import attach_sites, connect_working
from tests.outside.stretches import MINUTE, US

HOUSE = Path(__file__).parents[1] / "world" / "ochre" / "house.csv.gz"
FIRST = pd.Timestamp("2018-01-15", tz="America/Denver")
SITE = """[site]
id = "house"
timezone = "America/Denver"

[equipment]
kind = "furnace"
heating_stages = 1

[[export]]
files = "exports/house.csv"
kind = "{kind}"

[[channel]]
column = "Furnace"
role = "output_w1"
"""

Run = tuple[int, int, bool, bool]  # from and until in minutes; whether each end was seen


@pytest.fixture(scope="module")
def furnace() -> list[int]:
    """0 or 1 for each minute."""
    return [int(v) for v in pd.read_csv(HOUSE)["furnace_on"]]


def runs_of(furnace: list[int], first: int, last: int) -> list[Run]:
    """Runs of minutes first to last, the last one included, by groups of equal minutes."""
    found = []
    at = first
    for is_on, group in groupby(furnace[first : last + 1]):
        until = at + len(list(group))
        if is_on:
            found.append((at, until, at > first, until <= last))
        at = until
    return found


def mid_run(furnace: list[int], after: int) -> int:
    """The second minute of the first run of three minutes or more that begins after a minute."""
    return next(a + 1 for a, b, _, _ in runs_of(furnace, 0, len(furnace) - 1) if a > after < b - 2)


def measured(folder: Path, furnace: list[int], first: int, last: int, kind: str) -> Any:
    """Rows of interval.output_run and the row of measure.runtime, from an export of these minutes.

    kind : sampled, every minute; or change_of_state, the changes and the last minute
    """
    minutes = range(first, last + 1)
    if kind == "change_of_state":
        minutes = [m for m in minutes if m in (first, last) or furnace[m] != furnace[m - 1]]
    at = FIRST + pd.to_timedelta(list(minutes), unit="min")
    lines = [f"{t:%Y-%m-%d %H:%M:%S},{furnace[m]}" for t, m in zip(at, minutes, strict=True)]
    (folder / "exports").mkdir(parents=True)
    text = "\n".join(["Time,Furnace", *lines, ""])
    (folder / "exports" / "house.csv").write_text(text, encoding="utf-8")
    (folder / "site.toml").write_text(SITE.format(kind=kind), encoding="utf-8")
    site = read_site(folder)
    load_site(folder)
    con = connect_working()
    try:
        attach_sites(con, {site.id: site.store_path})
        measure_sites(con, [site])
        runs = con.execute(
            "select start_ts, end_ts, has_start, has_end, is_closed from interval.output_run"
            " order by start_ts"
        ).fetchall()
        runtime = con.execute("select * from measure.runtime").df().to_dict("records")
    finally:
        con.close()
    zero = int(FIRST.timestamp()) * US
    told = [((a - zero) / (60 * US), (b - zero) / (60 * US), *ends) for a, b, *ends in runs]
    return told, runtime


# from and until: whole; from inside a run to inside a run; a day from inside a run on
@pytest.fixture(scope="module", params=["whole", "open at both ends", "open at its start"])
def stretch(request: pytest.FixtureRequest, furnace: list[int]) -> Iterator[tuple[int, int]]:
    ends = {
        "whole": (0, len(furnace) - 1),
        "open at both ends": (mid_run(furnace, 500), mid_run(furnace, 9000)),
        "open at its start": (mid_run(furnace, 1440), 2 * 1440),
    }
    yield ends[request.param]


def test_every_run_of_the_minutes(
    furnace: list[int], stretch: tuple[int, int], tmp_path: Path
) -> None:
    """A reading holds to the next and the last one for a minute: n readings of 1 are n minutes."""
    first, last = stretch
    expected = runs_of(furnace, first, last)
    told, (row,) = measured(tmp_path, furnace, first, last, "sampled")
    assert [r[:4] for r in told] == expected
    assert [r[4] for r in told] == [start and end for _, _, start, end in expected]
    on = pd.Series(furnace[first : last + 1], dtype=bool)
    assert row["on_s"] == MINUTE * on.sum()
    # ochre's cycles: on & ~on.shift(); what was on at the first minute is none of them
    assert row["n_start"] == (on & ~on.shift(fill_value=True)).sum()
    assert row["n_run"] == len(expected)
    assert row["n_open_run"] == sum(not (start and end) for _, _, start, end in expected)


def test_the_same_as_a_log_of_changes(
    furnace: list[int], stretch: tuple[int, int], tmp_path: Path
) -> None:
    """Known to the file's last row, so the last minute has no length; all else is the same."""
    first, last = stretch
    told, (row,) = measured(tmp_path, furnace, first, last, "change_of_state")
    expected = runs_of(furnace, first, last - 1)
    if expected[-1][1] == last and furnace[last] == 0:
        # the change to off in the last row is an end that was seen
        expected[-1] = (*expected[-1][:3], True)
    assert [r[:4] for r in told] == expected
    assert row["on_s"] == MINUTE * sum(furnace[first:last])


def test_the_stretches_are_open_where_they_say(furnace: list[int]) -> None:
    """Hundreds of runs; the cuts lie inside runs, so the tests above see open ones at both ends."""
    first, last = mid_run(furnace, 500), mid_run(furnace, 9000)
    cut = runs_of(furnace, first, last)
    assert len(runs_of(furnace, 0, len(furnace) - 1)) > 100 and len(cut) > 50
    assert (cut[0][2], cut[-1][3]) == (False, False)
    assert all(start and end for _, _, start, end in cut[1:-1])
