"""Logs that are put straight into the store's tables are the ones that their text gives."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import duckdb
import pandas as pd

from pipeline.ingest.load import load_site
from pipeline.site_reader import read_site
from pipeline.store import attach_sites, connect_working
from sample_data import world
from sample_data.world.system import LogFault
from tests.accuracy import planted
from tests.accuracy.made import write_site

FAULTS = (
    LogFault("clock", "static_pressure", amount=-90.0),
    LogFault("drift", "supply_temp", amount=30.0),
    LogFault("spikes", "return_temp", amount=15.0),
    LogFault("inverted", "output_g"),
)
NAMED = """
    select c.column_name, c.role, c.zone, t.* exclude (site_id, channel_id)
    from store.{table} t
    join store.channel c on c.site_id = t.site_id and c.channel_id = t.channel_id
    order by c.column_name, c.role, c.zone, {order}
"""


def _rows(con: duckdb.DuckDBPyConnection, table: str, order: str) -> pd.DataFrame:
    return con.execute(NAMED.format(table=table, order=order)).df()


def test_as_loaded_from_text(tmp_path: Path) -> None:
    """Readings to a thousandth of a degree (one is rounded as text, the other as a number)."""
    system = world.healthy("tuning", 2)
    faulty = replace(system, logging=replace(system.logging, faults=FAULTS))
    folder, _ = write_site(faulty, tmp_path / "text")
    load_site(folder)
    site = read_site(folder)
    with connect_working() as loaded, connect_working() as straight:
        attach_sites(loaded, {site.id: site.store_path})
        plant = planted.Plant(site.id, planted.logged(system), FAULTS)
        planted.fill(straight, [plant], tmp_path / "straight")
        for table, order in (("reading", "ts"), ("state", "start_ts")):
            want, got = _rows(loaded, table, order), _rows(straight, table, order)
            assert len(want) > 100
            pd.testing.assert_frame_equal(got[want.columns], want, check_dtype=False, atol=1e-3)
