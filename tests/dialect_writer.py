"""A known series written in a random combination of dialect, encoding, dates, units and noise.

Apart from the readers: it knows the standard library's ways to write dates and numbers, and the
factors of the units from their definitions.
"""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("America/Denver")
# (°F or in. w.c. of one unit, of zero): °C and K by definition; 249.08891 Pa is one inch of
# conventional water (NIST SP 811, appendix B); 1 psi = 6894.757 Pa (the same table).
TO_STORE: dict[str, Callable[[float], float]] = {
    "degF": lambda v: v,
    "degC": lambda v: v * 9 / 5 + 32,
    "K": lambda v: (v - 273.15) * 9 / 5 + 32,
    "Pa": lambda v: v / 249.08891,
    "kPa": lambda v: v * 1000 / 249.08891,
    "inwc": lambda v: v,
    "percent": lambda v: v,
}
SHOWN = {
    **{"degF": "°F", "degC": "°C", "K": "K", "Pa": "Pa", "kPa": "kPa"},
    **{"inwc": "in. w.c.", "percent": "%"},
}
WORDS = (("0", "1"), ("off", "on"), ("OFF", "ON"), ("Closed", "Open"), ("no", "yes"))
DATES: dict[str, tuple[str, str | None]] = {
    "iso": ("%Y-%m-%d %H:%M:%S", None),
    "iso_t": ("%Y-%m-%dT%H:%M:%S", None),
    "slashes": ("%Y/%m/%d %H:%M:%S", None),
    "us": ("%m/%d/%Y %H:%M:%S", "mdy"),
    "us_short": ("%m/%d/%y %H:%M:%S", "mdy"),
    "us_half_day": ("%m/%d/%Y %I:%M:%S %p", "mdy"),
    "us_half_day_wide": ("%m/%d/%y %I:%M:%S  %p", "mdy"),
    "european": ("%d.%m.%Y %H:%M:%S", "dmy"),
    "european_points": ("%d.%m.%Y %H.%M.%S", "dmy"),
    "day_first": ("%d/%m/%Y %H:%M:%S", "dmy"),
    "month_named": ("%d-%b-%Y %H:%M:%S", None),
    "month_slashes": ("%d/%b/%Y %H:%M:%S", None),
    "month_short_half": ("%d-%b-%y %I:%M:%S %p", None),
    "month_first": ("%b %d %Y %H:%M:%S", None),
    "weekday": ("%a %d %b %Y %H:%M:%S", None),
    "compact": ("%Y%m%dT%H%M%S", None),
    "day_of_year": ("%Y-%j %H:%M:%S", None),
    "no_year": ("%m/%d %H:%M:%S", "mdy"),
}
SPLIT: dict[str, tuple[str, str, str | None]] = {
    "iso": ("%Y-%m-%d", "%H:%M:%S", None),
    "us": ("%m/%d/%Y", "%I:%M:%S %p", "mdy"),
    "european": ("%d.%m.%Y", "%H:%M:%S", "dmy"),
    "named": ("%d-%b-%Y", "%H:%M:%S", None),
}
PREAMBLE = (
    "Logger: attic", "Interval = 10 s", "[readings]", "<placed by the technician>", "", "-----",
    "Battery 3.61 V", "Rows: 1200", "# first export", "Model A; firmware 3", "Note, see back",
)  # fmt: skip
NOISE = ("# host connected", "Button pressed", "--- read out ---", "")


@dataclass
class Column:
    """One channel of the series: its texts as a number or word, and what they mean."""

    name: str
    role: str
    unit: str | None
    extra: str
    texts: list[str]
    values: list[float | None]


@dataclass
class Written:
    """An export, the site file that goes with it, and what must be read from it.

    expected : per column name the (instant [us], value in the store unit) of every reading
    noise_lines : physical lines (from 1) that hold no reading
    """

    content: bytes
    site_toml: str
    expected: dict[str, list[tuple[int, float]]]
    said: list[str] = field(default_factory=list)


def write(seed: int) -> Written:
    """The export of one seed."""
    chance = random.Random(seed)
    delimiter = chance.choice([",", ",", ";", ";", "\t", "|", " "])
    quoting = chance.choice(["none", "none", "all", "texts"])
    comma = chance.random() < 0.4 and (delimiter != "," or quoting == "all")
    instants = _instants(chance)
    columns = _columns(chance, len(instants), "," if comma else ".", delimiter)
    said: list[str] = [f"delimiter {delimiter!r}, quotes {quoting}, comma {comma}"]
    export_keys: list[str] = []
    heads, times = _times(chance, instants, delimiter, export_keys, said)
    if delimiter == " ":
        quoting = "none"
    is_long = delimiter != " " and chance.random() < 0.15
    unit_at = "site" if delimiter == " " else chance.choice(["header", "header", "row", "site"])
    names = [_named(c, unit_at, chance) for c in columns]
    expected: dict[str, list[tuple[int, float]]] = {}
    for shown, column in zip(names, columns, strict=True):
        in_store = f"{shown} ({SHOWN[column.unit]})" if unit_at == "row" and column.unit else shown
        expected[in_store if not is_long else shown] = [
            (t, v) for t, v in zip(instants, column.values, strict=True) if v is not None
        ]
    if is_long and unit_at == "row":
        unit_at = "column"
    rows: list[list[str]] = []
    if is_long:
        heads = [*heads, "Point", "Value", *(["Unit"] if unit_at == "column" else [])]
        for k, time in enumerate(times):
            for shown, column in zip(names, columns, strict=True):
                if column.texts[k]:
                    unit = [SHOWN.get(column.unit or "", "-")] if unit_at == "column" else []
                    rows.append([*time, shown, column.texts[k], *unit])
        export_keys += ['kind = "long"', 'name_column = "Point"', 'value_column = "Value"']
    else:
        heads = [*heads, *names]
        rows = [[*t, *(c.texts[k] for c in columns)] for k, t in enumerate(times)]
        export_keys.append('kind = "sampled"')
    if comma and (is_long or chance.random() < 0.5):
        export_keys.append('decimal = ","')
    head_rows = [heads]
    if unit_at == "row":
        lead = len(heads) - len(columns)
        units = [""] * lead + [SHOWN.get(c.unit or "", "") for c in columns]
        if any(units):
            head_rows.append(units)
    if not is_long and delimiter != " " and chance.random() < 0.2:
        serials = [str(chance.randint(100_000, 999_999)) for _ in columns]
        head_rows.append([*["serial"][: len(heads) - len(columns)], *serials])
        head_rows[-1] = [""] * (len(heads) - len(head_rows[-1])) + head_rows[-1]
    if delimiter not in " " and chance.random() < 0.15:
        head_rows = [["#", *r] if r is head_rows[0] else ["", *r] for r in head_rows]
        rows = [[str(k + 1), *r] for k, r in enumerate(rows)]
    text = _lines(chance, delimiter, quoting, head_rows, rows, said)
    content = _encoded(chance, text, said)
    return Written(content, _site(columns, expected, unit_at, export_keys), expected, said)


def _instants(chance: random.Random) -> list[int]:
    """Evenly spaced UTC microseconds, a few left out, away from changes of the clocks."""
    step = chance.choice([1, 5, 10, 60, 60, 300, 900, 3600])
    n = chance.randint(12, 36)
    while True:
        start = datetime(2002, 1, 1, tzinfo=UTC) + timedelta(
            seconds=chance.randrange(0, 30 * 365 * 86_400)
        )
        around = [(start + timedelta(hours=h)).astimezone(ZONE).utcoffset() for h in (-30, 0, 66)]
        if len(set(around)) == 1:
            break
    gap = chance.randint(1, n - 1) if chance.random() < 0.3 else None
    made = []
    for k in range(n):
        later = 7 * step if gap is not None and k >= gap else 0
        made.append(int(start.timestamp() + k * step + later) * 1_000_000)
    return made


def _columns(chance: random.Random, n: int, sign: str, delimiter: str) -> list[Column]:
    kinds = [("Supply air", "supply_temp", ("degF", "degC", "K"), 60, 140)]
    kinds += [("Trunk static", "static_pressure", ("Pa", "inwc", "kPa"), 0, 1)]
    kinds += [
        ("Hall", "zone_temp", ("degF", "degC"), 55, 90),
        ("Hall RH", "zone_rh", ("percent",), 20, 70),
    ]
    chosen = chance.sample(kinds, chance.randint(1, 3))
    made = []
    for name, role, units, low, high in chosen:
        unit = chance.choice(units)
        decimals = {"kPa": 4, "inwc": 3}.get(unit, chance.choice([1, 2]))
        decimals = 2 if sign == "," and decimals == 3 else decimals
        texts: list[str] = []
        values: list[float | None] = []
        for _ in range(n):
            store = chance.uniform(low, high)
            written = {
                "degC": (store - 32) / 1.8, "K": (store - 32) / 1.8 + 273.15,
                "Pa": store * 249.08891, "kPa": store * 0.24908891,
            }.get(unit, store)  # fmt: skip
            text = f"{written:.{decimals}f}"
            value: float | None = TO_STORE[unit](float(text))
            if delimiter != " " and chance.random() < 0.08:
                text, value = chance.choice([("", None), ("ERR", None), ("---", None)])
            texts.append(text.replace(".", sign))
            values.append(value)
        extra = "zone = 1\n" if role.startswith("zone") else ""
        made.append(Column(name, role, unit, extra, texts, values))
    if chance.random() < 0.7:
        off, on = chance.choice(WORDS)
        states = [chance.random() < 0.5 for _ in range(n)]
        texts = [on if s else off for s in states]
        made.append(Column("W1 out", "output_w1", None, "", texts, [float(s) for s in states]))
    if chance.random() < 0.3:
        numbers = [chance.randint(0, 3_600) for _ in range(n)]
        group = chance.choice(["", "", "'", "." if sign == "," else ","])
        if group == "," and delimiter == ",":
            group = ""
        texts = [f"{v:,}".replace(",", group) for v in numbers]
        extra = 'form = "seconds_on"\n'
        made.append(Column("Y1 time", "output_y1", None, extra, texts, [float(v) for v in numbers]))
        if group in (",", "."):  # only that one decides nothing by itself
            made[0].texts[0], made[0].values[0] = (
                f"70{sign}5",
                TO_STORE[made[0].unit or ""](70.5),
            )
    return made


def _times(
    chance: random.Random, instants: list[int], delimiter: str, keys: list[str], said: list[str]
) -> tuple[list[str], list[list[str]]]:
    """Heads and cells of the time columns; adds what site.toml must say to `keys`."""
    style = chance.choice(["one", "one", "one", "one", "two", "epoch", "parts", "offset", "serial"])
    utc = [datetime.fromtimestamp(t // 1_000_000, UTC) for t in instants]
    if style == "epoch":
        factor = chance.choice([1, 1_000, 1_000_000])
        said.append(f"epoch x {factor}")
        return ["Unix_time"], [[str(t // 1_000_000 * factor)] for t in instants]
    zone = chance.choice(["site", "site", "utc", "header"])
    head, at = "Time", [u.astimezone(ZONE) for u in utc]
    if zone == "utc":
        at = utc
        keys.append('timezone = "UTC"')
    elif zone == "header" and delimiter != " ":
        hours = chance.choice([-8, -5, 0, 1])
        at = [u + timedelta(hours=hours) for u in utc]
        head = f"Time UTC{hours:+03d}:00" if hours else "Time (UTC)"
    if style == "serial" and delimiter != " ":
        said.append("spreadsheet days")
        zero = datetime(1899, 12, 30)
        days = [(a.replace(tzinfo=None) - zero) / timedelta(days=1) for a in at]
        return [head], [[f"{d:.8f}"] for d in days]
    if style == "parts":
        said.append("parts in columns")
        cells = [
            [f"{a:%Y}", str(a.month), str(a.day), str(a.hour), str(a.minute), str(a.second)]
            for a in at
        ]
        if head != "Time":  # no header cell is left to name the zone
            keys.append(f'timezone = "UTC{hours:+03d}:00"' if hours else 'timezone = "UTC"')
        return ["Year", "Month", "Day", "Hour", "Minute", "Second"], cells
    if style == "two" or delimiter == " ":
        which = chance.choice(list(SPLIT))
        day, clock, order = SPLIT[which]
        said.append(f"two columns, {which}")
        if order:
            keys.append(f'date_order = "{order}"')
        cells = [[a.strftime(day), a.strftime(clock)] for a in at]
        if chance.random() < 0.3 and delimiter != " ":
            return ["Time", head.replace("Time", "Date")], [c[::-1] for c in cells]
        return [head.replace("Time", "Date"), "Time"], cells
    which = chance.choice(list(DATES))
    if style == "offset":
        which = chance.choice(["iso", "iso_t", "us"])
    pattern, order = DATES[which]
    said.append(f"dates {which}, {style}")
    if order:
        keys.append(f'date_order = "{order}"')
    if which == "no_year":
        keys.append(f"year = {at[0].year}")
    if style == "offset":
        hours = chance.choice([-7, -3, 0, 2])
        at = [u + timedelta(hours=hours) for u in utc]
        mark = "Z" if hours == 0 else f"{hours:+03d}:00"
        return [head], [[a.strftime(pattern) + mark] for a in at]
    return [head], [[a.strftime(pattern)] for a in at]


def _named(column: Column, unit_at: str, chance: random.Random) -> str:
    name = column.name
    if unit_at != "header" or column.unit is None:
        return name.replace(" ", "_") if unit_at == "site" else name
    unit = SHOWN[column.unit]
    return chance.choice([f"{name} ({unit})", f"{name} [{unit}]"])


def _lines(
    chance: random.Random,
    delimiter: str,
    quoting: str,
    heads: list[list[str]],
    rows: list[list[str]],
    said: list[str],
) -> list[str]:
    trailing = delimiter if delimiter not in " \t" and chance.random() < 0.15 else ""

    def line(cells: list[str]) -> str:
        if delimiter == " ":
            return "".join(c.ljust(len(c) + chance.randint(1, 4)) for c in cells).rstrip()
        if quoting == "all" or any(delimiter in c for c in cells):
            kind = csv.QUOTE_ALL if quoting == "all" else csv.QUOTE_MINIMAL
            out = io.StringIO()
            csv.writer(out, delimiter=delimiter, quoting=kind, lineterminator="").writerow(cells)
            return out.getvalue() + trailing
        if quoting == "texts":
            cells = [f'"{c}"' if c[:1].isalpha() else c for c in cells]
        return delimiter.join(cells) + trailing

    preamble = [chance.choice(PREAMBLE) for _ in range(chance.choice([0, 0, 1, 3, 12, 40]))]
    if preamble and delimiter == ";":
        preamble = [p.replace(";", ":") for p in preamble]
    made = [*preamble, *(line(h) for h in heads)]
    noisy = chance.random() < 0.4
    for k, row in enumerate(rows):
        if noisy and k > 8 and chance.random() < 0.08:
            made.append(chance.choice([*NOISE, line(heads[0])]))
        made.append(line(row))
    if chance.random() < 0.3:
        made += chance.choice([["End of file"], ["", "Rows written: 12"], ["# stopped"]])
    said.append(f"{len(preamble)} lines above, noise {noisy}, trailing {trailing!r}")
    return made


def _encoded(chance: random.Random, lines: list[str], said: list[str]) -> bytes:
    end = chance.choice(["\n", "\n", "\r\n", "\r"])
    text = end.join(lines) + (end if chance.random() < 0.8 else "")
    encoding = chance.choice(
        ["utf-8", "utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
    )
    said.append(f"{encoding}, lines end in {end!r}")
    mark = b"\xfe\xff" if encoding == "utf-16-be" and chance.random() < 0.5 else b""
    return mark + text.encode(encoding)


def _site(
    columns: list[Column],
    expected: dict[str, list[tuple[int, float]]],
    unit_at: str,
    keys: list[str],
) -> str:
    lines = [
        "[site]",
        'id = "fuzz"',
        'timezone = "America/Denver"',
        "[equipment]",
        'kind = "furnace"',
    ]
    lines += ["[[zone]]", "number = 1", "[[export]]", 'files = "exports/t.csv"', *keys]
    for name, column in zip(expected, columns, strict=True):
        lines += ["[[channel]]", f"column = '{name}'", f'role = "{column.role}"']
        if unit_at == "site" and column.unit:
            lines.append(f'unit = "{column.unit}"')
        lines += column.extra.splitlines()
    return "\n".join(lines) + "\n"
