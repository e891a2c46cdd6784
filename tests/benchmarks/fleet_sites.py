"""Many cheap sites for the fleet's benchmark: the sample fleet's logs, moved in time and shaken.

Nothing is simulated anew. Each site takes one of the sample fleet's systems that its loggers wrote
in plain tables, begins on one of its days, and gets noise of its own on every reading (a tenth of a
degree, half a pascal, a normal draw), so that no two logs are alike byte for byte; calls, runs and
faults are those of the system it was taken from. A log longer than the system's two weeks begins
again from its first day, with other noise: the weather repeats, the work does not. All logs end on
LAST_DAY. How right the fleet is cannot be told from such sites, only what it costs.
"""

from __future__ import annotations

import datetime as dt
import io
import os
import re
import shutil
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from sample_data.fleet.sites import DAYS, FIRST_DAY, FLEET
from sample_data.unpack import unpack_fleet_site

LAST_DAY = dt.date(2026, 2, 28)
NOISE = {"plenum": 0.1, "rooms": 0.1, "static": 0.5}
"""Standard deviation of what is added, in the file's unit: °F, °F, Pa."""
WHOLE_DAYS = range(1, int(DAYS))  # the first and the last day hold the visits
TIME = "Time"


@dataclass(frozen=True)
class Base:
    """One system of the sample fleet: its site file, and its logs day by day.

    days : per file and day from WHOLE_DAYS, rows with seconds of the day in TIME
    """

    toml: str
    days: dict[str, list[pd.DataFrame]]


def names() -> list[str]:
    """The systems that sites are made of."""
    return [s.id for s in FLEET if s.dialect == "plain" and not s.trouble]


@cache
def base(site_id: str, folder: Path) -> Base:
    """The system, unpacked below `folder` if it is not there yet."""
    site = folder / site_id
    if not site.exists():
        # a run that was stopped leaves no half of a system behind
        with tempfile.TemporaryDirectory(dir=_made(folder)) as part:
            unpack_fleet_site(site_id, Path(part)).rename(site)
    first = pd.Timestamp(FIRST_DAY)
    days: dict[str, list[pd.DataFrame]] = {}
    for path in sorted((site / "exports").glob("*.csv")):
        rows = pd.read_csv(path, dtype=str if path.stem == "panel" else None, keep_default_na=False)
        at = pd.to_datetime(rows[TIME])
        day = (at.dt.normalize() - first).dt.days
        rows[TIME] = (at - at.dt.normalize()).dt.total_seconds().astype(int)
        parts = [rows[day == n].reset_index(drop=True) for n in WHOLE_DAYS]
        if path.stem == "panel":
            # a day of changes says at its midnight what holds
            parts = [_from_midnight(part, rows[day < n]) for n, part in enumerate(parts, start=1)]
        days[path.stem] = parts
    text = (site / "site.toml").read_text(encoding="utf-8")
    for name in days:  # files of later offloads are the same logger's
        text = text.replace(f'"exports/{name}.csv"', f'"exports/{name}*.csv"')
    # no visit is told of: the loggers hang for as long as the log is made
    text = re.sub(r"\[\[visit\]\]\n(?:\w+ = .*\n)+\n", "", text)
    return Base(text, days)


def write_fleet(fleet: Path, n: int, days: int, bases: Path, pool: Path) -> None:
    """The fleet of the first n sites; what is in `pool` already is linked, not made again."""
    for number in range(n):
        name = f"s{number:04d}"
        if not (pool / name).exists():
            with tempfile.TemporaryDirectory(dir=_made(pool)) as part:
                write_site(Path(part) / name, number, days, bases)
                (Path(part) / name).rename(pool / name)
        if not (fleet / name).exists():
            with tempfile.TemporaryDirectory(dir=_made(fleet.parent)) as part:
                shutil.copytree(pool / name, Path(part) / name, copy_function=os.link)
                (Path(part) / name).rename(_made(fleet) / name)


def _made(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def write_site(folder: Path, number: int, days: int, bases: Path) -> None:
    """The site folder of that number with a log of `days` days, one file a logger."""
    name = names()[number % len(names())]
    system = base(name, bases)
    (folder / "exports").mkdir(parents=True)
    text = system.toml.replace(f'id = "{name}"', f'id = "{site_id(number)}"', 1)
    (folder / "site.toml").write_text(text, encoding="utf-8")
    write_days(folder, number, range(days), days, bases)


def write_days(folder: Path, number: int, which: range, days: int, bases: Path) -> None:
    """Days `which` of a log of `days` days, one more file a logger; day 0 is the log's first."""
    system = base(names()[number % len(names())], bases)
    first = LAST_DAY - dt.timedelta(days=days - 1)
    for stem, parts in system.days.items():
        rng = np.random.default_rng([number, which.start, *stem.encode()])
        whole = []
        for n in which:
            part = parts[(number + n) % len(parts)].copy()
            midnight = pd.Timestamp(first + dt.timedelta(days=n))
            part[TIME] = (midnight + pd.to_timedelta(part[TIME], unit="s")).dt.strftime(
                "%Y-%m-%d %H:%M:%S"
            )
            if stem in NOISE:
                read = part.columns[1:]
                shaken = part[read] + rng.normal(0.0, NOISE[stem], part[read].shape)
                fixed = [c for c in read if "set" in c]
                shaken[fixed] = part[fixed]
                part[read] = shaken.round(1)
            whole.append(part)
        text = io.StringIO()
        pd.concat(whole).to_csv(text, index=False)
        last = "" if which.start == 0 else f"_{which.start}"
        (folder / "exports" / f"{stem}{last}.csv").write_text(text.getvalue(), encoding="utf-8")


def site_id(number: int) -> str:
    """The id of a made site."""
    return f"made-{number:04d}"


def _from_midnight(day: pd.DataFrame, before: pd.DataFrame) -> pd.DataFrame:
    """The day's changes, beginning with the states as they stood at its midnight."""
    if before.empty or (len(day) and day[TIME].iloc[0] == 0):
        return day
    stood = before.tail(1).copy()
    stood[TIME] = 0
    return pd.concat([stood, day], ignore_index=True)
