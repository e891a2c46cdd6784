"""Every table and column of the tool, as sql/columns.toml declares them: the one reader of it."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True)
class Column:
    """One column of one table: its name, SQL type, unit ('-' for none) and meaning."""

    name: str
    type: str
    unit: str
    meaning: str


@dataclass(frozen=True)
class Table:
    """One table: its full name, what one row is, and its columns without `site_id`.

    is_open : it may have more columns than are declared
    """

    name: str
    grain: str
    columns: tuple[Column, ...]
    is_open: bool

    @property
    def with_site(self) -> tuple[Column, ...]:
        """The columns with `site_id` in front, as every table outside a site's own store has."""
        return (Column("site_id", "VARCHAR", "-", "site"), *self.columns)


@cache
def tables() -> dict[str, Table]:
    """Every declared table by its full name, such as 'measure.cycle', in the file's order.

    Raises ValueError naming the column whose text is not `TYPE | unit | meaning`.
    """
    declared = tomllib.loads((files("sql") / "columns.toml").read_text(encoding="utf-8"))
    found = {}
    for schema, group in declared.items():
        for name, body in group.items():
            columns = []
            for column, text in body["columns"].items():
                parts = [p.strip() for p in text.split("|", 2)]
                if len(parts) != 3:
                    raise ValueError(
                        f"columns.toml: {schema}.{name}.{column}: TYPE | unit | meaning"
                    )
                columns.append(Column(column, *parts))
            full = f"{schema}.{name}"
            found[full] = Table(full, body["grain"], tuple(columns), bool(body.get("open", False)))
    return found
