"""A store written whole, or what is new added to one: beside it, and renamed over it.

Whoever reads goes on reading the old file; a load that is killed leaves it as it was.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import duckdb
import pyarrow as pa

from pipeline.errors import StoreError
from pipeline.samples import READING_VIEW, placed, side_by_side
from pipeline.store import (
    READING,
    begun,
    connect_working,
    create_store_tables,
    layout,
    mounted,
    quoted,
    sample_table,
    store_columns,
    store_meta,
    store_table,
)

GOING_ON = ("tail", "instants")
"""Tables of the store alone, with what the next load goes on from."""


class ChangedMeanwhileError(Exception):
    """Another load has written the store since it was read. Never leaves the load."""


@dataclass(frozen=True)
class Additions:
    """What a load adds to a store, every row of it later than what is there.

    before : hashes of the exports that are there, in order; fingerprint : as in meta
    rows : more rows of tables of `[store.*]`; those of reading only for channels with a slot
    anew : tables that are written whole, with those of GOING_ON among them
    file_ends : by file_id, how far the states of files already there are known now
    states_again : channel_id and start_ts of segments whose end has moved: `rows` has them again
    originals : as write_store's
    """

    before: list[str]
    fingerprint: str
    rows: Mapping[str, pa.Table]
    anew: Mapping[str, pa.Table]
    file_ends: Mapping[int, int]
    states_again: list[tuple[int, int]]
    originals: Callable[[], pa.Table]


def write_store(
    path: Path,
    contents: Mapping[str, pa.Table],
    originals: Callable[[], pa.Table],
    meta: Mapping[str, str],
    connection: duckdb.DuckDBPyConnection | None = None,
) -> None:
    """Write a whole store beside `path` and rename it over the old one.

    contents : every table of `[store.*]` and those of GOING_ON, columns by name, rows in the order
        in which they are kept
    originals : makes sha256, path, n_bytes, packed bytes and dialect of every export behind them;
        asked for last, so that packing can go on meanwhile
    connection : from `connect_working`; a new one if None
    """
    with (
        _beside(path) as part,
        _lent(connection) as con,
        _two_threads(con),
        begun(con, part),
        _whole(con),
    ):
        create_store_tables(con)
        con.execute(f"drop table {READING}")
        samples, slot = side_by_side(contents[READING], contents["channel"])
        kept = dict(contents) | {"sample": sample_table(samples), "slot": store_table("slot", slot)}
        for table in store_columns():
            if table != READING:
                _insert(con, table, kept[table])
        con.execute(READING_VIEW)
        for name in GOING_ON:
            if name in contents:
                _create(con, name, contents[name])
        _create(con, "original", originals())
        con.execute("create table meta (name VARCHAR, value VARCHAR)")
        rows = sorted({**meta, "layout": layout()}.items())
        con.executemany("insert into meta values (?, ?)", [list(row) for row in rows])


def add_to_store(connection: duckdb.DuckDBPyConnection, path: Path, additions: Additions) -> None:
    """Add to the store at `path`; as with write_store, all or nothing.

    connection : from `connect_working`

    Raises ChangedMeanwhileError where the store holds other exports than `additions` go on from:
    two loads at once would else add the same rows twice.
    """
    con = connection
    with _beside(path) as part:
        shutil.copyfile(path, part)
        with mounted(con, part, read_only=False), _whole(con):
            there = con.execute("select sha256 from file order by file_id").fetchall()
            is_same = [sha for (sha,) in there] == additions.before
            if not is_same or store_meta(con).get("fingerprint") != additions.fingerprint:
                raise ChangedMeanwhileError
            if additions.states_again:
                moved = pa.array(additions.states_again, pa.list_(pa.int64(), 2)).flatten()
                pairs = {"channel_id": moved[::2], "start_ts": moved[1::2]}
                con.register("incoming", pa.table(pairs))
                con.execute(
                    "delete from state s using incoming i"
                    " where s.channel_id = i.channel_id and s.start_ts = i.start_ts"
                )
                con.unregister("incoming")
            for file_id, end_ts in additions.file_ends.items():
                con.execute("update file set end_ts = ? where file_id = ?", [end_ts, file_id])
            for table, rows in additions.rows.items():
                if table == READING:
                    slots = con.execute("select channel_id, group_id, slot from slot").fetchall()
                    more = placed(rows, {c: (group, slot) for c, group, slot in slots})
                    _insert(con, "sample", sample_table(more))
                else:
                    _insert(con, table, rows)
            for table, rows in additions.anew.items():
                if table in GOING_ON:
                    con.execute(f"drop table {table}")
                    _create(con, table, rows)
                else:
                    con.execute(f"delete from {quoted(table)}")
                    _insert(con, table, rows)
            _insert(con, "original", additions.originals())


@contextmanager
def _beside(path: Path) -> Iterator[Path]:
    """A path to write to that takes the place of `path` once all went well."""
    _remove_left_behind(path)
    try:
        handle, name = tempfile.mkstemp(prefix=path.name + ".", suffix=".part", dir=path.parent)
    except OSError as error:
        raise _cannot_write(path, error) from error
    os.close(handle)
    part = Path(name)
    part.unlink()  # DuckDB refuses to open an empty file
    try:
        yield part
        part.replace(path)
    except (OSError, duckdb.IOException) as error:
        raise _cannot_write(path, error) from error
    finally:
        part.unlink(missing_ok=True)
        part.with_name(part.name + ".wal").unlink(missing_ok=True)


@contextmanager
def _lent(
    connection: duckdb.DuckDBPyConnection | None,
) -> Iterator[duckdb.DuckDBPyConnection]:
    if connection is not None:
        yield connection
        return
    with connect_working() as made:
        yield made


@contextmanager
def _whole(con: duckdb.DuckDBPyConnection) -> Iterator[None]:
    """One transaction: a commit for each of some twenty statements would be twenty waits."""
    con.execute("begin")
    try:
        yield
        con.execute("commit")
        con.execute("checkpoint mounted")
    except BaseException:
        with suppress(duckdb.Error):  # what failed may have ended it
            con.execute("rollback")
        raise


@contextmanager
def _two_threads(con: duckdb.DuckDBPyConnection) -> Iterator[None]:
    """Two threads for a while: insertion order is kept with them, and only reading relies on one.

    Setting them up takes longer than the little that is added to a store.
    """
    con.execute("set threads = 2")
    try:
        yield
    finally:
        con.execute("set threads = 1")


def _insert(con: duckdb.DuckDBPyConnection, table: str, rows: pa.Table) -> None:
    if rows.num_rows == 0:
        return
    con.register("incoming", rows)
    names = ", ".join(quoted(name) for name in rows.column_names)
    con.execute(f"insert into {quoted(table)} ({names}) select {names} from incoming")
    con.unregister("incoming")


def _create(con: duckdb.DuckDBPyConnection, table: str, rows: pa.Table) -> None:
    con.register("incoming", rows)
    con.execute(f"create table {quoted(table)} as select * from incoming")
    con.unregister("incoming")


def _remove_left_behind(path: Path) -> None:
    """Take away what loads that were killed have left; none takes an hour."""
    for part in path.parent.glob(f"{path.name}.*.part*"):
        if time.time() - part.stat().st_mtime > 3_600:
            part.unlink(missing_ok=True)


def _cannot_write(path: Path, error: Exception) -> StoreError:
    return StoreError(
        "the store cannot be written",
        file=path,
        found=str(error).splitlines()[0],
        expected="a folder that can be written to, on a disk with room",
    )
