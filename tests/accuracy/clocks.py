"""How often clock offsets are found, left open or wrong, on systems whose clocks are known.

Every system of the simulated world is logged several times over: once with the clocks as they are
(set by hand to within 2 s), then with the loggers' clocks set wrong or drifting. Load and the
stages up to trust.clock_offset run over all logs of a system as one batch of sites.

    python -m tests.accuracy.clocks --part tuning --systems 24
    python -m tests.accuracy.clocks --part reporting --jobs 2

*Found*: the offset is given and within one sample interval of the slower channel of the truth.
*Near*: given, beyond that, and the truth lies within the doubt that stands beside it. *Open*: none
is given, or none beyond its own doubt. *Wrong*: what is said excludes the truth. What the table
calls an offset of a drifting clock is that of the middle of the log.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import sys
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from math import sqrt
from pathlib import Path

import click
import numpy as np
import pandas as pd

from pipeline.ingest.load import load_site
from pipeline.review import CLOCK_TABLE
from pipeline.run_tables import prepare
from pipeline.site_reader import read_site
from pipeline.stages import discover, frame, run
from pipeline.store import attach_sites, connect_working
from sample_data.world import System, record, reporting_run
from sample_data.world.catalogue import healthy
from sample_data.world.channels import Channel, channels
from sample_data.world.export import Export, one_file
from sample_data.world.kept import cache_folder, source_hash
from sample_data.world.loop import Record
from sample_data.world.site_file import site_toml
from sample_data.world.system import LogFault

HOUR_S, DAY_S = 3600.0, 86400.0
# what is planted: its name, a clock's offset in s, and its drift in s a day
PLANTED: dict[str, tuple[float, float]] = {
    "aligned": (0, 0),
    "7 s": (7, 0),
    "90 s": (90, 0),
    "7 min": (420, 0),
    "1 h": (3600, 0),
    "30 s/day": (0, 30),
    "30 s": (30, 0),
}
ROLE_OF = {"static": "static_pressure", "plenum": "supply_temp", "rooms": "zone_temp"}
LOGGERS = tuple(ROLE_OF)
# how a system is logged: its name, and the roles that are left out
FORMS: dict[str, tuple[str, ...]] = {
    "as it is": (),
    "no damper": ("zone_damper",),
    "calls only": ("output_", "zone_damper", "flame", "compressor_run", "blower_run"),
    "equal fan delays": (),
    "equal, no damper": ("zone_damper",),
}
EQUAL_DELAY_S = 45.0
CYCLES = 20  # starts of heating or cooling that a day of cycling has


@dataclass(frozen=True)
class Log:
    """One log of a system: how, and what was planted in each logger's clock."""

    form: str
    planted: tuple[tuple[str, str, int], ...]  # logger, key of PLANTED, sign


def logs_of(number: int, form: str) -> list[Log]:
    """The aligned log of a form and those whose clocks are set wrong; signs and order by number.

    In every log each logger has its own error, so three clocks are tried at a time.
    """
    names = list(PLANTED)[1:]
    made = [Log(form, tuple((logger, "aligned", 1) for logger in LOGGERS))]
    for turn in range(2):
        planted = []
        for place, logger in enumerate(LOGGERS):
            at = (number + 2 * place + 3 * turn) % len(names)
            planted.append((logger, names[at], 1 if (number // 6 + place + turn) % 2 else -1))
        made.append(Log(form, tuple(planted)))
    return made


def system_of(part: str, number: int, form: str) -> System:
    """The healthy system of that number as it is in the form."""
    system = healthy(part, number)
    if form.startswith("equal"):
        plant = replace(
            system.plant,
            fan_on_delay_s=EQUAL_DELAY_S,
            fan_off_delay_s=EQUAL_DELAY_S,
            compressor_fan_off_s=EQUAL_DELAY_S,
        )
        told = [
            (name, int(EQUAL_DELAY_S) if name in ("fan_on_delay_s", "fan_off_delay_s") else value)
            for name, value in system.equipment
        ]
        system = replace(system, plant=plant, equipment=tuple(told))
    return system


def with_clocks(system: System, log: Log) -> System:
    """The system with the log's errors in its loggers' clocks."""
    faults = []
    for logger, name, sign in log.planted:
        offset, drift = PLANTED[name]
        if offset:
            faults.append(LogFault("clock", ROLE_OF[logger], amount=sign * offset))
        if drift:
            faults.append(LogFault("drift", ROLE_OF[logger], amount=sign * drift))
    return replace(system, logging=replace(system.logging, faults=tuple(faults)))


def delayed(found: list[Channel], record: Record, form: str) -> list[Channel]:
    """In the forms with equal delays, the fan's output as a board that waits would get it.

    The world's fan follows G at once; a panel whose G came 45 s before the fan came and went is the
    same log as a board's that holds the fan back at both ends by 45 s.
    """
    if not form.startswith("equal"):
        return found
    early = int(EQUAL_DELAY_S)
    out = []
    for channel in found:
        if channel.role == "output_g":
            values = record.flag("blower")
            channel = replace(channel, values=np.append(values[early:], values[-early:]))
        out.append(channel)
    return out


def write_log(system: System, record: Record, log: Log, folder: Path) -> list[Export]:
    """site.toml and exports/ of one log into `folder`."""
    left_out = FORMS[log.form]
    found = [c for c in channels(system, record) if not c.role.startswith(left_out or ("-",))]
    found = delayed(found, record, log.form)
    names = list(dict.fromkeys(c.file for c in found))
    files = [one_file(system, name, [c for c in found if c.file == name]) for name in names]
    (folder / "exports").mkdir(parents=True)
    for export in files:
        (folder / "exports" / export.name).write_text(export.text, encoding="utf-8", newline="")
    (folder / "site.toml").write_text(site_toml(system, files), encoding="utf-8")
    return files


def true_offset_s(export: Export) -> float:
    """The clock's error in the middle of its log."""
    days = float(export.seconds[-1] - export.seconds[0]) / DAY_S
    return export.clock_offset_s + export.drift_s_per_day * days / 2


def starts_of(record: Record) -> int:
    """How often heating or cooling began."""
    on = record.flag("w1") | record.flag("y1") | record.flag("aux")
    return int((np.diff(on.astype(np.int8)) > 0).sum())


def kept_logs(
    part: str, number: int, forms: Sequence[str], logs: int
) -> list[tuple[Path, pd.DataFrame]]:
    """Folders with `logs` loaded logs of a system in each form, and what is true of each logger.

    Kept from one call to the next under a name made of the description and the world's source.
    """
    made = []
    for form in forms:
        base = system_of(part, number, form)
        kept: Record | None = None
        for turn, log in enumerate(logs_of(number, form)[:logs]):
            system = with_clocks(base, log)
            told = repr((system, log, FORMS[form])) + source_hash() + _own_hash()
            key = f"{part}-{number}-{form.replace(' ', '-').replace(',', '')}-{turn}"
            folder = cache_folder() / "clocks" / f"{key}-{_digest(told)}"
            truth = folder / "truth.csv"
            if not truth.exists():
                kept = kept or record(base)
                named = replace(system, name=key)
                building = folder.with_name(f".{folder.name}.{os.getpid()}")
                shutil.rmtree(building, ignore_errors=True)
                files = write_log(named, kept, log, building)
                _truth(named, kept, log, files).to_csv(building / "truth.csv", index=False)
                load_site(building)
                building.rename(folder)
            made.append((folder, pd.read_csv(truth)))
    return made


def _truth(system: System, kept: Record, log: Log, files: Sequence[Export]) -> pd.DataFrame:
    of = {f.name.removesuffix(".csv"): f for f in files}
    panel = of["panel"].interval_s or 1
    rows = []
    for logger, name, sign in log.planted:
        if logger not in of:
            continue
        own = of[logger].interval_s or 1
        rows.append(
            {
                "site_id": system.name,
                "logger": logger,
                "form": log.form,
                "planted": name,
                "sign": sign,
                "true_s": true_offset_s(of[logger]),
                "interval_s": max(own, panel),
                "kind": system.kind,
                "starts": starts_of(kept),
            }
        )
    return pd.DataFrame(rows)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _own_hash() -> str:
    """Of what writes logs here; a change in how they are judged needs no new ones."""
    parts = (write_log, delayed, system_of, logs_of, with_clocks, _truth)
    return _digest("".join(str(part.__code__.co_code) + str(part.__code__.co_consts[1:])
                           for part in parts))  # fmt: skip


def answers_of(part: str, forms: Sequence[str], logs: int, number: int) -> pd.DataFrame:
    """Truth and answer of every logger of every log of a system, side by side."""
    wall = reporting_run() if part == "reporting" else contextlib.nullcontext()
    with wall:
        made = kept_logs(part, number, forms, logs)
    truths = pd.concat([truth for _, truth in made], ignore_index=True)
    answer = clock_offsets([folder for folder, _ in made])
    answer["logger"] = answer["logger"].str.extract(r"(panel|plenum|static|rooms)")[0]
    return truths.merge(answer, on=["site_id", "logger"], how="left", validate="one_to_one")


def clock_offsets(folders: Iterable[Path]) -> pd.DataFrame:
    """trust.clock_offset of a batch of loaded sites, with how often G came on: `fan_starts`."""
    sites = []
    for folder in folders:
        load_site(folder)
        sites.append(read_site(folder))
    con = connect_working()
    try:
        attach_sites(con, {site.id: site.store_path for site in sites})
        prepare(con, sites)
        stages = discover(con)
        last = next(n for n, s in enumerate(stages) if s.table == CLOCK_TABLE)
        run(con, stages[: last + 1])
        made = frame(con, CLOCK_TABLE)
        fans = con.execute(
            "select site_id, count(*) as fan_starts from channel.state"
            " where role = 'output_g' and is_on group by all"
        ).df()
        return made.merge(fans, on="site_id", how="left")
    finally:
        con.close()


def judged(answers: pd.DataFrame) -> pd.DataFrame:
    """The answers with `error_s`, `result` (found, near, open, wrong), `is_false` and `cycled`."""
    rows = answers.copy()
    given = rows["offset_s"].notna() & rows["confidence"].isin(["shown", "likely"])
    doubt = rows["plus_minus_s"].fillna(0.0)
    error = (rows["offset_s"] - rows["true_s"]).abs()
    rows["error_s"] = error.where(given)
    # stamps are whole seconds on both sides
    within = given & (error <= rows["interval_s"] + 1)
    claimed = given & (rows["offset_s"].abs() > doubt)
    honest = given & (error <= doubt + 1)
    rows["result"] = np.select(
        [within, claimed & honest, ~claimed & (honest | ~given)], ["found", "near", "open"], "wrong"
    )
    rows["is_false"] = claimed & (error > doubt + 1)
    rows["cycled"] = rows["starts"] >= CYCLES
    # where the furnace's board alone runs the fan, static has no edge without a timer
    by_board = (rows["logger"] == "static") & (rows["fan_starts"].fillna(0) < CYCLES)
    rows["logger"] = rows["logger"].where(~by_board, "static, board's fan")
    return rows


def wilson(n: int, of: int) -> tuple[float, float]:
    """Wilson's interval of a share at 95 %. Source: E. B. Wilson, JASA 22 (1927), 209-212."""
    if of == 0:
        return 0.0, 1.0
    z, share = 1.959964, n / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return max(0.0, middle - half), min(1.0, middle + half)


def table(rows: pd.DataFrame) -> str:
    """Counts per form, logger and planted error, with Wilson's interval of the share found."""
    lines = [
        f"{'log':<17}{'logger':<21}{'planted':<10}{'n':>4}{'found':>7}{'near':>6}{'open':>6}"
        f"{'wrong':>7}   {'found, 95 %':<14}{'off by, median and 95th'}"
    ]
    order = {name: place for place, name in enumerate(PLANTED)}
    groups = rows[rows["cycled"]].groupby(["form", "logger", "planted"], sort=False)
    for (form, logger, name), some in sorted(
        groups, key=lambda g: (list(FORMS).index(g[0][0]), g[0][1], order[g[0][2]])
    ):
        counts = some["result"].value_counts()
        found = int(counts.get("found", 0))
        low, high = wilson(found, len(some))
        error = some["error_s"].dropna()
        off = f"{error.median():.0f} and {error.quantile(0.95):.0f} s" if len(error) else "-"
        lines.append(
            f"{form:<17}{logger:<21}{name:<10}{len(some):>4}{found:>7}"
            f"{counts.get('near', 0):>6}{counts.get('open', 0):>6}{counts.get('wrong', 0):>7}   "
            f"{low:>4.0%} to {high:<6.0%}{off}"
        )
    return "\n".join(lines)


def goals(rows: pd.DataFrame) -> str:
    """The figures that are promised, each with its count."""
    edge = rows[
        rows["cycled"]
        & (rows["form"] == "as it is")
        & rows["logger"].isin(["static", "plenum"])
        & ~rows["planted"].isin(["aligned", "7 s"])
    ]
    found = int((edge["result"] == "found").sum())
    low, high = wilson(found, len(edge))
    aligned = rows[rows["planted"] == "aligned"]
    sites = aligned.groupby("site_id")["is_false"].any()
    wrong = int((rows["result"] == "wrong").sum())
    hours = rows[(rows["logger"] == "rooms") & rows["cycled"] & (rows["planted"] == "1 h")]
    told = int((hours["result"] != "open").sum())
    return "\n".join(
        [
            f"offsets of 30 s and more with an edge without delay and a day of cycling: {found} of "
            f"{len(edge)} found ({found / max(1, len(edge)):.1%}, {low:.1%} to {high:.1%})",
            f"aligned systems with a false offset: {int(sites.sum())} of {len(sites)}",
            f"wrong in all: {wrong} of {len(rows)} clocks",
            f"rooms loggers one hour off that were told: {told} of {len(hours)}",
        ]
    )


def measured(
    part: str, numbers: Iterable[int], forms: Sequence[str], logs: int, jobs: int
) -> pd.DataFrame:
    """Every clock of the systems of these numbers, judged."""
    task = partial(answers_of, part, forms, logs)
    if jobs > 1:
        with ProcessPoolExecutor(jobs) as pool:
            made = list(pool.map(task, numbers))
    else:
        made = [task(number) for number in numbers]
    return judged(pd.concat(made, ignore_index=True))


@click.command()
@click.option("--part", type=click.Choice(["tuning", "reporting"]), default="tuning")
@click.option("--systems", default=160, help="How many systems as they are logged.")
@click.option("--more", default=24, help="How many of them in each of the other forms.")
@click.option("--logs", default=2, help="Logs of each, 1 to 3: the first has its clocks right.")
@click.option("--jobs", default=2)
@click.option("--rows", "path", type=click.Path(path_type=Path), help="Every clock, as CSV.")
def main(part: str, systems: int, more: int, logs: int, jobs: int, path: Path | None) -> None:
    """Print how often clocks were found, left open or wrong."""
    rows = measured(part, range(systems), ["as it is"], logs, jobs)
    if more:
        rows = pd.concat(
            [rows, measured(part, range(more), list(FORMS)[1:], logs, jobs)], ignore_index=True
        )
    if path:
        rows.to_csv(path, index=False)
    click.echo(table(rows))
    click.echo(goals(rows))
    sys.stdout.flush()


if __name__ == "__main__":
    main()
