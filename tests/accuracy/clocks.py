"""How often clock offsets are found, left open or wrong, on systems whose clocks are known.

Every system of the simulated world is logged several times over: once with the clocks as they are
(set by hand to within 2 s), then with the loggers' clocks set wrong or drifting. The stages that
trust.clock_offset is made of run over batches of logs, put into the store's tables as a load of
their text would (`planted`; a test holds the two against each other).

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
import sys
import tempfile
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import click
import duckdb
import numpy as np
import pandas as pd

from pipeline.review import CLOCK_TABLE
from pipeline.stages import frame, run
from pipeline.store import connect_working
from sample_data.world import System, reporting_run
from sample_data.world.catalogue import healthy
from sample_data.world.channels import Channel
from sample_data.world.loop import Record
from sample_data.world.system import LogFault
from tests.accuracy.intervals import wilson
from tests.accuracy.made import stages_of
from tests.accuracy.planted import Logged, Plant, clock_of, fill, logged, without

DAY_S = 86400.0
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
BATCH = 4  # systems whose logs run through the stages at once
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


def delayed(found: list[Channel], record: Record) -> list[Channel]:
    """The fan's output as a board that waits at both ends would get it.

    The world's fan follows G at once; a panel whose G came 45 s before the fan came and went is the
    same log as a board's that holds the fan back at both ends by 45 s.
    """
    early = int(EQUAL_DELAY_S)
    out = []
    for channel in found:
        if channel.role == "output_g":
            values = record.flag("blower")
            channel = replace(channel, values=np.append(values[early:], values[-early:]))
        out.append(channel)
    return out


def base_of(part: str, number: int, form: str) -> Logged:
    """The readings of the system of that number as it is logged in the form."""
    system = system_of(part, number, form)
    if form.startswith("equal"):
        # the code decides what was made, so its hash is part of the name it is kept under
        digest = hashlib.sha256(delayed.__code__.co_code + repr(EQUAL_DELAY_S).encode())
        base = logged(system, delayed, f"-delayed-{digest.hexdigest()[:8]}")
    else:
        base = logged(system)
    return without(base, *FORMS[form])


def plants_of(part: str, number: int, form: str, logs: int) -> list[tuple[Plant, pd.DataFrame]]:
    """`logs` logs of a system in a form, and what is true of each logger."""
    base = base_of(part, number, form)
    made = []
    for turn, log in enumerate(logs_of(number, form)[:logs]):
        faults = []
        for logger, name, sign in log.planted:
            offset, drift = PLANTED[name]
            if offset:
                faults.append(LogFault("clock", ROLE_OF[logger], amount=sign * offset))
            if drift:
                faults.append(LogFault("drift", ROLE_OF[logger], amount=sign * drift))
        site_id = f"{part}-{number}-{form.replace(' ', '-').replace(',', '')}-{turn}"
        plant = Plant(site_id, base, tuple(faults))
        made.append((plant, _truth(plant, log)))
    return made


def _truth(plant: Plant, log: Log) -> pd.DataFrame:
    base = plant.base
    panel = base.interval_s["panel"] or 1
    rows = []
    for logger, name, sign in log.planted:
        if logger not in base.seconds:
            continue
        offset, drift = clock_of(plant, logger)
        days = float(base.seconds[logger][-1] - base.seconds[logger][0]) / DAY_S
        rows.append(
            {
                "site_id": plant.name,
                "logger": logger,
                "form": log.form,
                "planted": name,
                "sign": sign,
                "true_s": offset + drift * days / 2,  # in the middle of its log
                "interval_s": max(base.interval_s[logger] or 1, panel),
                "kind": base.system.kind,
                "starts": base.starts,
            }
        )
    return pd.DataFrame(rows)


def answers_of(part: str, logs: int, batch: Sequence[tuple[int, str]]) -> pd.DataFrame:
    """Truth and answer of every logger of every log of systems in forms, side by side."""
    wall = reporting_run() if part == "reporting" else contextlib.nullcontext()
    with (
        wall,
        tempfile.TemporaryDirectory() as folder,
        contextlib.closing(connect_working()) as con,
    ):
        made = [m for number, form in batch for m in plants_of(part, number, form, logs)]
        fill(con, [plant for plant, _ in made], Path(folder))
        answer = clock_offsets(con)
    answer["logger"] = answer["logger"].str.extract(r"(panel|plenum|static|rooms)")[0]
    truths = pd.concat([truth for _, truth in made], ignore_index=True)
    return truths.merge(answer, on=["site_id", "logger"], how="left", validate="one_to_one")


def clock_offsets(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """trust.clock_offset of the sites of a connection, with how often G came on: `fan_starts`.

    Only the stages that the table is made of are run.
    """
    run(con, stages_of(CLOCK_TABLE))
    fans = con.execute(
        "select site_id, count(*) as fan_starts from channel.state"
        " where role = 'output_g' and is_on group by all"
    ).df()
    return frame(con, CLOCK_TABLE).merge(fans, on="site_id", how="left")


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
    part: str,
    numbers: Iterable[int],
    forms: Sequence[str],
    logs: int,
    jobs: int,
    keep: Callable[[pd.DataFrame], None] | None = None,
) -> pd.DataFrame:
    """Every clock of the systems of these numbers, judged.

    keep : given what is judged so far after each batch, so that a run that is stopped leaves it
    """
    todo = [(number, form) for number in numbers for form in forms]
    batches = [todo[k : k + BATCH] for k in range(0, len(todo), BATCH)]
    task = partial(answers_of, part, logs)
    made = []
    with ProcessPoolExecutor(jobs) if jobs > 1 else contextlib.nullcontext() as pool:
        for rows in pool.map(task, batches) if pool else map(task, batches):
            made.append(rows)
            if keep is not None:
                keep(judged(pd.concat(made, ignore_index=True)))
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
    made: list[pd.DataFrame] = []

    def keep(rows: pd.DataFrame) -> None:
        if path:
            pd.concat([*made, rows]).to_csv(path, index=False)

    if systems:
        made.append(measured(part, range(systems), ["as it is"], logs, jobs, keep))
    if more:
        made.append(measured(part, range(more), list(FORMS)[1:], logs, jobs, keep))
    rows = pd.concat(made, ignore_index=True)
    click.echo(table(rows))
    click.echo(goals(rows))
    sys.stdout.flush()


if __name__ == "__main__":
    main()
