"""The store of one site, and the working connection over the stores of many.

The only module that opens DuckDB. A store is one file, site.duckdb: the tables of `[store.*]` in
sql/columns.toml, and three of its own: `meta` (layout, fingerprint of what site.toml says about
parsing), `original`, the exports' own bytes, compressed, so that rows of a file that has vanished
from exports/ can be read again by the same rules as all others, and `tail` with `instants`, what
the next load needs to go on from here without them. `store_writing` writes it.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb
import numpy as np

from pipeline.errors import StoreError
from pipeline.tables import Column, tables

if TYPE_CHECKING:
    import pyarrow as pa

STORE_NAME = "site.duckdb"
# Raised when the same bytes and the same site.toml would be read differently than before.
READER_VERSION = 5
READING = "reading"
SITE_KEY = "site_key"
"""The type of `site_id` in a run: the sites of the batch, sorted, as an enumeration.

Every stage joins, groups and sorts by the site first. Kept as a byte or two instead of text, a
batch of twelve site-weeks then takes an eighth to a quarter less time, and a tenth less memory.
"""


@cache
def store_columns() -> dict[str, tuple[Column, ...]]:
    """The store's tables as columns.toml describes them: table name to its columns, in order."""
    prefix = "store."
    return {n.removeprefix(prefix): t.columns for n, t in tables().items() if n.startswith(prefix)}


def layout() -> str:
    """A short text that changes whenever the store's tables or the reader's rules do."""
    return f"{READER_VERSION}-{_hash_of_columns()}"


@cache
def _hash_of_columns() -> str:
    described = [(t, c.name, c.type) for t, columns in store_columns().items() for c in columns]
    return hashlib.sha256(repr(described).encode()).hexdigest()[:16]


def create_store_tables(
    connection: duckdb.DuckDBPyConnection, schema: str = "main", with_site_id: bool = False
) -> None:
    """Make the empty tables of the store in `schema`, which must exist.

    with_site_id : put `site_id VARCHAR` first, as the views of `attach_sites` do (for tests of
        stages, which read `store.*` without a store on disk)
    """
    for table, columns in store_columns().items():
        described = ["site_id VARCHAR"] if with_site_id else []
        described += [f"{quoted(c.name)} {c.type}" for c in columns]
        connection.execute(
            f"create table {quoted(schema)}.{quoted(table)} ({', '.join(described)})"
        )


def store_table(name: str, columns: Mapping[str, Any]) -> pa.Table:
    """An Arrow table of the store's layout; columns that are not given hold nothing.

    columns : arrays or lists of one length by column name; none at all: an empty table
    """
    import pyarrow as pa  # only a load makes tables

    types = {
        "INTEGER": pa.int32(),
        "BIGINT": pa.int64(),
        "DOUBLE": pa.float64(),
        "BOOLEAN": pa.bool_(),
        "VARCHAR": pa.string(),
    }
    layout = {c.name: types[c.type] for c in store_columns()[name]}
    if unknown := set(columns) - set(layout):
        raise ValueError(f"store.{name} has no column {', '.join(sorted(unknown))}")
    n = len(next(iter(columns.values()))) if columns else 0
    arrays = [
        pa.array(columns[c], t, from_pandas=_may_lack(columns[c]))
        if c in columns
        else pa.nulls(n, t)
        for c, t in layout.items()
    ]
    return pa.table(arrays, names=list(layout))


def _may_lack(values: Any) -> bool:
    """Whether a NaN among the values stands for null; looking for them is dear for Arrow."""
    is_number = isinstance(values, np.ndarray) and values.dtype.kind in "ifb"
    return not is_number or (values.dtype.kind == "f" and bool(np.isnan(values).any()))


def sample_table(samples: Sequence[Mapping[str, Any]]) -> pa.Table:
    """store.sample of the groups that `samples.side_by_side` makes."""
    import pyarrow as pa

    return pa.concat_tables([store_table("sample", s) for s in [{}, *samples]])


def open_store(path: Path, read_only: bool = True) -> duckdb.DuckDBPyConnection:
    """A connection to one store whose layout is this version's.

    Raises StoreError if the file is missing, damaged or of another layout; all three are mended
    by loading again.
    """
    _refuse_missing(path)
    try:
        connection = duckdb.connect(str(path), read_only=read_only, config=_config())
    except duckdb.Error as error:
        raise _cannot_open(path, error) from error
    _shut_in(connection, path.parent)
    try:
        _refuse_other_layout(connection, "meta", path)
    except StoreError:
        connection.close()
        raise
    settle(connection)
    return connection


@contextmanager
def mounted(
    connection: duckdb.DuckDBPyConnection, path: Path, *, read_only: bool = True
) -> Iterator[None]:
    """The tables of one store under their bare names, for as long as the context lasts.

    connection : from `connect_working`; opening another for every store would cost ten times as
        much as looking into one

    Raises StoreError as open_store does.
    """
    _refuse_missing(path)
    with _attached(connection, path, read_only):
        _refuse_other_layout(connection, "meta", path)
        yield


@contextmanager
def begun(connection: duckdb.DuckDBPyConnection, path: Path) -> Iterator[None]:
    """A new database file at `path`, empty, and what is created in it by its bare name."""
    with _attached(connection, path, read_only=False):
        yield


@contextmanager
def _attached(connection: duckdb.DuckDBPyConnection, path: Path, read_only: bool) -> Iterator[None]:
    how = " (read_only)" if read_only else ""
    try:
        connection.execute(f"attach {literal(str(path))} as mounted{how}")
    except duckdb.Error as error:
        raise _cannot_open(path, error) from error
    try:
        connection.execute("use mounted")
        yield
    finally:
        connection.execute("use memory")
        connection.execute("detach mounted")


def read_originals(
    connection: duckdb.DuckDBPyConnection, path: Path
) -> list[tuple[str, str, int, bytes]]:
    """The exports' own bytes in a store of any layout: (sha256, path, n_bytes, packed bytes).

    Empty where there is no usable store.
    """
    if not path.is_file():
        return []
    try:
        with _attached(connection, path, read_only=True):
            query = "select sha256, path, n_bytes, bytes from original order by path, sha256"
            return connection.execute(query).fetchall()
    except (StoreError, duckdb.Error):
        return []


def connect_working(
    memory: str | None = None, reach: Path | None = None
) -> duckdb.DuckDBPyConnection:
    """An empty in-memory connection on which stages run.

    reach : the folder beyond which it reaches no file; None: any file, until `attach_sites`
    memory : how much the tables may hold at once, such as '2GB'; what is beyond it lies in the
        system's folder for temporary files. None: DuckDB's own limit, most of the machine.

    One thread and insertion order kept, so that a streaming window over a stored table sees its
    rows as stored; UTC; ASOF joins never become nested loops; nothing is downloaded. Frames reach
    it by `register`, not by their variable's name, once `attach_sites` has closed it.
    """
    limit = {} if memory is None else {"memory_limit": memory}
    connection = duckdb.connect(":memory:", config=_config() | limit)
    settle(connection)
    if reach is not None:
        _shut_in(connection, reach)
    return connection


@dataclass(frozen=True)
class Stretch:
    """A half-open part of a log, in UTC microseconds on the loggers' own clocks.

    told_until : channel_id and instant of states that end before until_ts
    """

    from_ts: int
    until_ts: int
    told_until: tuple[tuple[int, int], ...] = ()


def attach_sites(
    connection: duckdb.DuckDBPyConnection,
    stores: Mapping[str, Path],
    spans: Mapping[str, Stretch] | None = None,
) -> None:
    """Make schema `store`: per table one view over all the sites' stores, `site_id` first.

    stores : site id to the path of its site.duckdb, opened read-only
    spans : site id to the stretch of which readings, states and files are shown; sites that are
        left out show all of theirs

    Afterwards the connection reaches no other file, and `site_id` is of the type `SITE_KEY`, which
    the sites' names in sorted order make: it sorts and reads as the text does. Raises StoreError
    for a store that is missing, damaged or of another layout.
    """
    selects: dict[str, list[str]] = {table: [] for table in store_columns()}
    if stores:
        names = ", ".join(literal(site_id) for site_id in sorted(stores))
        connection.execute(f"create type {SITE_KEY} as enum ({names})")
    for number, (site_id, path) in enumerate(sorted(stores.items())):
        name = f"site_{number}"
        _refuse_missing(path)
        try:
            connection.execute(f"attach {literal(str(path))} as {quoted(name)} (read_only)")
        except duckdb.Error as error:
            raise _cannot_open(path, error) from error
        for table, columns in store_columns().items():
            listed, cut = _shown(table, columns, (spans or {}).get(site_id))
            selects[table].append(
                f"select {literal(site_id)}::{SITE_KEY} as site_id, {listed}"
                f" from {name}.main.{quoted(table)}{cut}"
            )
    # Before anything is read of them: a stranger's store may hold views in place of tables.
    connection.execute("set enable_external_access = false")
    for number, (_, path) in enumerate(sorted(stores.items())):
        _refuse_other_layout(connection, f"site_{number}.main.meta", path)
    connection.execute("create schema store")
    if stores:
        for table, parts in selects.items():
            body = " union all ".join(parts)
            connection.execute(f"create view store.{quoted(table)} as {body}")
    else:
        create_store_tables(connection, schema="store", with_site_id=True)


def open_file(path: Path, read_only: bool = False) -> duckdb.DuckDBPyConnection:
    """A connection to a DuckDB file that is no site's store, made where there is none.

    Raises StoreError if it cannot be opened.
    """
    try:
        connection = duckdb.connect(str(path), read_only=read_only, config=_config())
    except duckdb.Error as error:
        raise StoreError(
            "this file cannot be opened",
            file=path,
            found=str(error).splitlines()[0],
            expected="a file written by zonetrail and not open for writing elsewhere",
            hint="wait for the other run; else delete it, it is made again from the sites",
        ) from error
    _shut_in(connection, path.parent)
    settle(connection)
    return connection


def _shown(table: str, columns: Sequence[Column], span: Stretch | None) -> tuple[str, str]:
    """The columns of a store's table and the condition on its rows that show one stretch of it."""
    picks = {c.name: quoted(c.name) for c in columns}
    condition = ""
    if span is not None and table in (READING, "sample"):
        condition = f" where ts >= {span.from_ts:d} and ts < {span.until_ts:d}"
    if span is not None and table == "file":
        condition = (
            f" where coalesce(end_ts, last_ts) >= {span.from_ts:d} and first_ts < {span.until_ts:d}"
        )
    if span is not None and table == "state":
        until = f"{span.until_ts:d}"
        if span.told_until:
            whens = " ".join(f"when {c:d} then {ts:d}" for c, ts in span.told_until)
            until = f"case channel_id {whens} else {until} end"
        condition = f" where end_ts > {span.from_ts:d} and start_ts < {until}"
        picks["start_ts"] = f"greatest(start_ts, {span.from_ts:d}) as start_ts"
        picks["end_ts"] = f"least(end_ts, {until}) as end_ts"
    return ", ".join(picks.values()), condition


def quoted(name: str) -> str:
    """The name as an SQL identifier."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """The text as an SQL string, for the few places where no value can be bound."""
    return "'" + text.replace("'", "''") + "'"


def _refuse_missing(path: Path) -> None:
    if not path.is_file():
        raise StoreError("there is no store yet", file=path, hint=_load_again(path))


def _refuse_other_layout(connection: duckdb.DuckDBPyConnection, meta: str, path: Path) -> None:
    try:
        found = store_meta(connection, meta).get("layout")
    except duckdb.Error:
        found = None
    if found != layout():
        raise StoreError(
            "the store was written by another version of zonetrail",
            file=path,
            found=f"layout {found}",
            expected=f"layout {layout()}",
            hint=_load_again(path),
        )


def _cannot_open(path: Path, error: Exception) -> StoreError:
    return StoreError(
        "the store cannot be opened",
        file=path,
        found=str(error).splitlines()[0],
        expected="a store written by zonetrail and not open for writing elsewhere",
        hint=f"delete it and {_load_again(path)}; it is rebuilt from exports/",
    )


def store_meta(connection: duckdb.DuckDBPyConnection, table: str = "meta") -> dict[str, str]:
    """What an open store says about itself: layout, fingerprint, site_id, tool."""
    return dict(connection.execute(f"select name, value from {table}").fetchall())


def _load_again(path: Path) -> str:
    return f"run: zonetrail load {path.parent}"


def _config() -> dict[str, str | bool | int | float | list[str]]:
    # DuckDB's own default would put its overflow files into the folder the user stands in.
    overflow = Path(tempfile.gettempdir()) / f"zonetrail-{os.getpid()}"
    return {
        "threads": 1,
        "preserve_insertion_order": True,
        "autoinstall_known_extensions": False,
        "autoload_known_extensions": False,
        "temp_directory": str(overflow),
    }


def _shut_in(connection: duckdb.DuckDBPyConnection, folder: Path) -> None:
    """Let the connection reach no file outside the folder from now on.

    A database file may come from a stranger, with views and functions in it that run as it is read.
    """
    inside = literal(str(folder.resolve()))
    given = literal(str(folder.absolute()))
    connection.execute(f"set allowed_directories = [{inside}, {given}]")
    connection.execute("set enable_external_access = false")


def settle(connection: duckdb.DuckDBPyConnection) -> None:
    """What every connection needs of its own, a second one to the same database as well."""
    connection.execute("set TimeZone = 'UTC'")
    # In a process without a script, such as a worker, it would be drawn on standard output.
    connection.execute("set enable_progress_bar = false")
    # Threshold 64 (the default) looks at estimates and turned a filtered ASOF join into a nested
    # loop of minutes.
    connection.execute("set asof_loop_join_threshold = 0")
