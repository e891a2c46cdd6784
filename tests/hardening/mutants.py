"""Bent exports and site files: each a function of a number, so that any can be made again."""

from __future__ import annotations

import gzip
import io
import random
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tests.hardening.bent_values import (
    BYTES,
    ENCODINGS,
    MARKS,
    NUMBERS,
    PACKED_NAMES,
    SITE_KEYS,
    SITE_VALUES,
    STAMPS,
    TABLES,
    TEXTS,
)

CORPUS = Path(__file__).parents[1] / "exports"


@dataclass(frozen=True)
class Bent:
    """One bent input: what was done to it, the site file and the exports by their path."""

    kind: str
    name: str
    site: bytes
    files: dict[str, bytes]

    def write(self, folder: Path) -> None:
        """Lay it out as a site folder."""
        (folder / "site.toml").parent.mkdir(parents=True, exist_ok=True)
        (folder / "site.toml").write_bytes(self.site)
        for path, content in self.files.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_bytes(content)


def as_it_is(folder: Path) -> Bent:
    """A site folder with nothing done to it yet."""
    files = {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in sorted((folder / "exports").rglob("*"))
        if p.is_file()
    }
    return Bent("as it is", folder.name, (folder / "site.toml").read_bytes(), files)


@cache
def corpus() -> tuple[Bent, ...]:
    """The corpus folders that are small enough to be bent often."""
    found = [as_it_is(p.parent) for p in sorted(CORPUS.glob("*/site.toml"))]
    return tuple(c for c in found if sum(map(len, c.files.values())) < 30_000)


def bent(seed: int, number: int, kind: str | None = None, of: Bent | None = None) -> Bent:
    """The bent input of that number; of one kind, and of one site, where they are named."""
    rng = random.Random(f"{seed}/{number}")
    whole = of or rng.choice(corpus())
    kind = kind or rng.choices(list(KINDS), [w for _, w in KINDS.values()])[0]
    change = KINDS[kind][0]
    if kind.startswith("site"):
        site = whole.site
        for _ in range(rng.choice((1, 1, 2, 4))):
            site = change(rng, site)
        return Bent(kind, whole.name, site, whole.files)
    files = dict(whole.files)
    path = rng.choice(sorted(files))
    content = files.pop(path)
    if kind == "packed":
        path, content = _packed(rng, path, content)
    else:
        for _ in range(1 if kind in HEAVY else rng.choice((1, 1, 2, 5))):
            content = change(rng, content)
    files[path] = content
    if kind == "rows" and rng.random() < 0.3:  # a second piece of the same log beside it
        files[path.replace(".", "_2.", 1)] = change(rng, content)
    return Bent(kind, whole.name, whole.site, files)


# --- bytes -----------------------------------------------------------------------------------


def _bytes(rng: random.Random, content: bytes) -> bytes:
    data = bytearray(content)
    at = rng.randrange(len(data) + 1)
    end = min(len(data), at + int(rng.expovariate(1 / 8)) + 1)
    what = rng.randrange(7)
    if what == 0 and at < len(data):
        data[at] ^= 1 << rng.randrange(8)
    elif what == 1:
        del data[at:end]
    elif what == 2:
        data[at:at] = rng.choice(BYTES) * rng.choice((1, 1, 1, 3, 40))
    elif what == 3:
        data[at:at] = data[at:end] * rng.choice((1, 2, 20))
    elif what == 4:
        other = rng.choice(list(rng.choice(corpus()).files.values()))
        start = rng.randrange(len(other) + 1)
        data[at:end] = other[start : start + rng.randrange(1, 400)]
    elif what == 5:
        del data[at:]
    else:
        data[at:end] = rng.randbytes(end - at)
    return bytes(data)


# --- structure -------------------------------------------------------------------------------


class _Table:
    """A file as lines of cells; what is not understood stays as it is."""

    def __init__(self, content: bytes) -> None:
        self.encoding = "utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8"
        try:
            text = content.decode(self.encoding)
        except UnicodeDecodeError:
            self.encoding, text = "latin-1", content.decode("latin-1")
        self.end = "\r\n" if "\r\n" in text else "\n"
        lines = text.replace("\r\n", "\n").split("\n")
        body = "\n".join(lines[len(lines) // 3 :])
        self.mark = max((",", ";", "\t", "|"), key=body.count)
        self.rows = [line.split(self.mark) for line in lines]
        usual = max(map(len, self.rows), key=[len(r) for r in self.rows].count)
        self.data = [n for n, row in enumerate(self.rows) if len(row) == usual] or [0]

    def bytes(self) -> bytes:
        text = self.end.join(self.mark.join(row) for row in self.rows)
        return text.encode(self.encoding, errors="replace")


def _on_table(change: Callable[[random.Random, _Table], None]) -> Callable[..., bytes]:
    def changed(rng: random.Random, content: bytes) -> bytes:
        table = _Table(content)
        change(rng, table)
        return table.bytes()

    return changed


def _some_row(rng: random.Random, table: _Table) -> list[str]:
    return table.rows[rng.choice(table.data)]


def _readings(rng: random.Random, table: _Table) -> None:
    for _ in range(rng.choice((1, 1, 3, 10))):
        row = _some_row(rng, table)
        row[rng.randrange(len(row))] = rng.choice(NUMBERS)
    if rng.random() < 0.1:  # a whole column of one extreme value
        column, value = rng.randrange(1, 9), rng.choice(NUMBERS)
        for n in table.data[1:]:
            if column < len(table.rows[n]):
                table.rows[n][column] = value


def _stamps(rng: random.Random, table: _Table) -> None:
    for _ in range(rng.choice((1, 1, 3, 10))):
        row = _some_row(rng, table)
        at = rng.randrange(min(2, len(row)))
        written = row[at]
        if rng.random() < 0.5:
            row[at] = rng.choice(STAMPS)
        else:  # its own form, other digits: a year from 1900 to 2200, a month 13, an hour 25
            year = str(rng.randrange(1900, 2201))
            changed = written.replace("2026", year)
            digits = [i for i, c in enumerate(changed) if c.isdigit()]
            if changed == written and digits:
                i = rng.choice(digits)
                changed = changed[:i] + str(rng.randrange(10)) + changed[i + 1 :]
            row[at] = changed
    if rng.random() < 0.15:  # all rows in another year: a clock that was never set
        year = str(rng.randrange(1900, 2201))
        for n in table.data:
            table.rows[n] = [
                c.replace("2026", year).replace("/26 ", f"/{year[2:]} ") for c in table.rows[n]
            ]


def _texts(rng: random.Random, table: _Table) -> None:
    for _ in range(rng.choice((1, 1, 3, 10))):
        row = rng.choice(table.rows)
        at = rng.randrange(len(row))
        row[at] = rng.choice((rng.choice(TEXTS), row[at] + rng.choice(TEXTS)))


def _rows(rng: random.Random, table: _Table) -> None:
    rows, what = table.rows, rng.randrange(8)
    if what == 0:
        rng.shuffle(rows)
    elif what == 1:
        rows[:] = [r for r in rows for _ in range(rng.choice((1, 1, 2)))]
    elif what == 2:
        rows[:] = [r for r in rows if rng.random() > 0.3] or [[""]]
    elif what == 3:
        rows.reverse()
    elif what == 4:
        rows.insert(rng.randrange(len(rows) + 1), list(rng.choice(rows)))
    elif what == 5:
        at = rng.choice(table.data)
        rows[at:] = rows[at : at + rng.choice((0, 1, 2))] or [[""]]
    elif what == 6:
        rows[:0] = [[rng.choice(TEXTS)] for _ in range(rng.choice((1, 5, 80)))]
    else:
        rows += [list(r) for r in rows]


def _columns(rng: random.Random, table: _Table) -> None:
    width = max(map(len, table.rows))
    what, at = rng.randrange(6), rng.randrange(width)
    for n, row in enumerate(table.rows):
        if what == 0:
            del row[at : at + 1]
        elif what == 1:
            row.insert(at, "" if rng.random() < 0.1 else str(n))
        elif what == 2:
            row[:] = row[at:] + row[:at]
        elif what == 3:
            row[:] = row[: at + 1]
        elif what == 4:
            row += row[at:]
        elif n in table.data and rng.random() < 0.3:
            row[:] = row[: rng.randrange(len(row) + 1)]


def _marks(rng: random.Random, table: _Table) -> None:
    what = rng.randrange(5)
    if what == 0:
        table.mark = rng.choice(MARKS)
    elif what == 1:
        table.rows = [[f'"{c}"' if rng.random() < 0.5 else c for c in r] for r in table.rows]
    elif what == 2:
        table.end = rng.choice(("\r", "\n", "\r\n", "\n\n", "\r\r\n", "\x0b", "\x85", ""))
    elif what == 3:
        table.encoding = rng.choice(ENCODINGS)
    else:
        table.rows = [[c.replace(".", ",") for c in r] for r in table.rows]


# --- much of it ------------------------------------------------------------------------------


def _wide(rng: random.Random, table: _Table) -> None:
    names, first = table.rows[table.data[0]], table.data[1:] or table.data
    many = rng.choice((200, 1_000, 5_000))
    names += [f"extra {k}" for k in range(many)]
    for n in first:
        table.rows[n] += [rng.choice(("1", "", "x"))] * many


def _long_line(rng: random.Random, table: _Table) -> None:
    row = rng.choice(table.rows)
    row[rng.randrange(len(row))] = rng.choice(("9", "x", ",", '"', " ", "1,", "\\")) * rng.choice(
        (70_000, 1_000_000, 10_000_000)
    )


def _many_rows(rng: random.Random, table: _Table) -> None:
    times = rng.choice((100, 2_000))
    table.rows += [list(table.rows[rng.choice(table.data)]) for _ in range(times * 5)]


# --- packed ----------------------------------------------------------------------------------


def _packed(rng: random.Random, path: str, content: bytes) -> tuple[str, bytes]:
    name = rng.choice((Path(path).name, *PACKED_NAMES))
    if rng.random() < 0.5:
        content = _bytes(rng, content)
    if rng.random() < 0.3:
        content, path = gzip.compress(content, mtime=0), path + ".gz"
    else:
        out = io.BytesIO()
        with zipfile.ZipFile(
            out, "w", rng.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED))
        ) as archive:
            for n in range(rng.choice((1, 1, 2, 30))):
                archive.writestr(zipfile.ZipInfo(name if n == 0 else f"{n}.csv"), content)
        content, path = out.getvalue(), path + rng.choice((".zip", ".zip", ".xlsx", ".csv"))
    for _ in range(rng.choice((0, 1, 3))):
        content = _bytes(rng, content)
    return path, content


# --- site.toml -------------------------------------------------------------------------------


def _site_value(rng: random.Random, site: bytes) -> bytes:
    lines = site.decode(errors="replace").split("\n")
    settings = [n for n, line in enumerate(lines) if "=" in line] or [0]
    n = rng.choice(settings)
    key = lines[n].partition("=")[0] or "id "
    lines[n] = f"{key}= {rng.choice(SITE_VALUES)}"
    return "\n".join(lines).encode()


def _site_key(rng: random.Random, site: bytes) -> bytes:
    lines = site.decode(errors="replace").split("\n")
    at = rng.randrange(len(lines) + 1)
    what = rng.randrange(5)
    if what == 0:
        lines.insert(at, f"{rng.choice(SITE_KEYS)} = {rng.choice(SITE_VALUES)}")
    elif what == 1:
        del lines[at : at + rng.choice((1, 1, 3))]
    elif what == 2:
        lines.insert(at, rng.choice(lines))
    elif what == 3:
        name = rng.choice(TABLES)
        lines.insert(at, rng.choice((f"[{name}]", f"[[{name}]]", f"[{name}.{name}]", f"[{name}")))
    else:
        rng.shuffle(lines)
    return "\n".join(lines).encode()


KINDS: dict[str, tuple[Callable[..., bytes], float]] = {
    "bytes": (_bytes, 24),
    "readings": (_on_table(_readings), 12),
    "stamps": (_on_table(_stamps), 14),
    "texts": (_on_table(_texts), 10),
    "rows": (_on_table(_rows), 8),
    "columns": (_on_table(_columns), 8),
    "marks": (_on_table(_marks), 6),
    "packed": (lambda rng, content: content, 4),
    "site values": (_site_value, 6),
    "site keys": (_site_key, 5),
    "site bytes": (_bytes, 3),
    "wide": (_on_table(_wide), 0.05),
    "long line": (_on_table(_long_line), 0.05),
    "many rows": (_on_table(_many_rows), 0.05),
}
# Kinds that make megabytes: rare among many, once each in the short form.
HEAVY = ("wide", "long line", "many rows")
