"""No stage tries every pair of a long log: what a join has to try is counted, not timed.

A join that knows of two tables only that they belong to one site (or zone, or channel), and then
compares times, tries each row of the one against each of the other: a year has 3,700 times as many
pairs as six days, and takes minutes where six days take a hundredth of a second. DuckDB says of
every join how many rows came in on either side.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipeline.ingest.load import load_site
from pipeline.run_tables import prepare
from pipeline.site_reader import read_site
from pipeline.stages import listed, run
from pipeline.store import attach_sites, connect_working
from sample_data.unpack import unpack_site

MOST_PAIRS = 60_000
"""In the six days of the sample. Sixty thousand are some 200 million in a year: half a second."""
OF_A_SITE = 64
"""Channels, zones, settings and days of the sample: so few rows on a side are not a log's."""
WHOSE = {
    "site_id", "zone", "role", "source", "mode", "output", "channel_id", "kind", "limit_kind",
    "name",
}  # fmt: skip
"""Columns that say whose a row is, not when."""


def joins(node: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Joins of a plan that compare more than they look up; a nearest row (asof) is looked up."""
    name = node["name"]
    if ("JOIN" in name and not name.startswith("ASOF")) or "CROSS_PRODUCT" in name:
        yield node
    for child in node.get("children", []):
        yield from joins(child)


def pairs_tried(join: dict[str, Any]) -> int:
    """Rows of one side times rows of the other, unless a time or a place in time is looked up."""
    told = join["extra_info"].get("Conditions", [])
    conditions = [told] if isinstance(told, str) else told
    equal = [c for c in conditions if re.fullmatch(r"[^<>]+ (=|IS NOT DISTINCT FROM) [^<>]+", c)]
    if any(c.split(" ")[0] not in WHOSE and not c.startswith("CASE") for c in equal):
        return 0
    if len(equal) == len(conditions) and conditions:  # nothing is compared: a plain lookup
        return 0
    few, many = sorted(child.get("intermediate_rows", 0) for child in join["children"])
    return int(few * many) if few > OF_A_SITE else 0


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """What DuckDB did at every stage of the sample site."""
    site = read_site(unpack_site("larch-14", tmp_path_factory.mktemp("growth")))
    load_site(site.path.parent)
    made = {}
    with connect_working() as con:
        attach_sites(con, {site.id: site.store_path})
        prepare(con, [site], None)
        for stage in listed():
            if stage.folder >= "80_view":
                break
            if stage.sql is None:
                run(con, [stage])
                continue
            schema, name = stage.table.split(".")
            con.execute(f'create schema if not exists "{schema}"')
            row = con.execute(
                f'explain (analyze, format json) create table "{schema}"."{name}" as {stage.sql}'
            ).fetchone()
            made[stage.key] = json.loads(row[1])["operator"][0]
    return made


def test_no_stage_tries_every_pair(plans: dict[str, dict[str, Any]]) -> None:
    tried = {
        (key, join["name"], str(join["extra_info"].get("Conditions"))[:200]): pairs_tried(join)
        for key, plan in plans.items()
        for join in joins(plan)
    }
    assert len(tried) > 300  # the plans were read
    assert {at: n for at, n in tried.items() if n > MOST_PAIRS} == {}


def test_a_join_by_site_and_time_alone_is_seen(tmp_path: Path) -> None:
    with connect_working() as con:
        con.execute(
            "create table stretch as select 'a' as site_id, range as start_ts, range + 5 as end_ts,"
            " range // 100 as day_n from range(1000)"
        )
        ask = (
            "select count(*) from stretch a join stretch b on a.site_id = b.site_id and {}"
            "a.start_ts < b.end_ts and b.start_ts < a.end_ts"
        )
        counts = []
        for by in ("", "a.day_n = b.day_n and "):
            row = con.execute(f"explain (analyze, format json) {ask.format(by)}").fetchone()
            plan = json.loads(row[1])["operator"][0]
            counts.append([pairs_tried(j) for j in joins(plan)])
    assert counts == [[1_000_000], [0]]
