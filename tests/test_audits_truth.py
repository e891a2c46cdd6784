"""Audits of outputs and calls against what the simulated world knows: two systems, end to end.

The truth is kept to the second by code that shares nothing with the pipeline.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from pipeline.ingest.load import load_site
from pipeline.review import measure_sites
from pipeline.site_reader import read_site
from pipeline.store import attach_sites, connect_working
from sample_data import world


def _us(iso: str) -> int:
    return round(dt.datetime.fromisoformat(iso).timestamp()) * 1_000_000


def _measured(name: str, folder: Path) -> tuple[dict[str, Any], Any]:
    """The truth of a tuning system with this condition, and a connection with its measures."""
    facts = world.make_site(world.with_condition(name, 2, "tuning", 0), folder)
    load_site(folder)
    site = read_site(folder)
    con = connect_working()
    attach_sites(con, {site.id: site.store_path})
    measure_sites(con, [site])
    return facts, con


@pytest.fixture(scope="module")
def both_fuels(tmp_path_factory: pytest.TempPathFactory) -> Any:
    facts, con = _measured("both fuels at once", tmp_path_factory.mktemp("fuels"))
    yield facts, con
    con.close()


def test_both_fuels_to_the_second(both_fuels: Any) -> None:
    facts, con = both_fuels
    found = con.execute("select start_ts, end_ts from interval.both_fuels order by 1").fetchall()
    true = [(_us(b["start"]), _us(b["end"])) for b in facts["balance"]["both_fuels"]]
    # outputs are logged as changes to the second: what is found is true to the second
    assert set(found) <= set(true)
    assert len(found) > 10
    # and nothing is missed but where an output was not known
    gaps = con.execute(
        "select start_ts, end_ts from trust.gap where role like 'output_%'"
    ).fetchall()
    missed = set(true) - set(found)
    assert all(any(a < end and b > start for a, b in gaps) for start, end in missed)


def test_defrosts_are_found_and_none_is_made_up(both_fuels: Any) -> None:
    facts, con = both_fuels
    true = [(_us(d["start"]), _us(d["end"])) for d in facts["defrosts"]]
    found = con.execute("select start_ts, end_ts from interval.defrost").fetchall()

    def meets(one: tuple[int, int], others: list[tuple[int, int]]) -> bool:
        return any(one[0] < b and one[1] > a for a, b in others)

    assert all(meets(d, true) for d in found)
    # shorter than the least length, or cut short at once by Y, tells nothing in supply
    longer = [d for d in true if d[1] - d[0] >= 180_000_000]
    assert sum(meets(d, found) for d in longer) >= 0.9 * len(longer) > 10


def test_the_fuels_part_where_the_panel_parts_them(both_fuels: Any) -> None:
    _, con = both_fuels
    value, given, is_steady = con.execute(
        "select value, given, is_steady from measure.setting_seen where name = 'changeover_f'"
    ).fetchone()
    # half a degree for the outdoor sensor's own interval and noise
    assert is_steady
    assert value == pytest.approx(given, abs=0.5)


def test_second_stage_that_never_came_on(tmp_path: Path) -> None:
    facts, con = _measured("second stage never comes", tmp_path)
    found = con.execute(
        "select start_ts from measure.stage_up_missing"
        " where result = 'never came on' and not in_visit order by 1"
    ).fetchall()
    con.close()
    true = [
        _us(e["start"])
        for e in facts["second_stage"]["heating"]["never_came_on"]
        if not e["in_visit"]
    ]
    # the truth's events begin when second stage has been in order for five minutes
    assert [a + 300_000_000 for (a,) in found] == [pytest.approx(t, abs=2_000_000) for t in true]
    assert len(true) > 3
