"""How often faults of channels are found, missed or told where there are none.

Every fault is planted at three severities on systems of the simulated world that are healthy
otherwise; batches of sites run through the stages up to the findings about the log at once.

    python -m tests.accuracy.channels --part tuning
    python -m tests.accuracy.channels --part reporting --jobs 2

*Recall*: the planted fault's finding is found. *False alarm*: a healthy site-week, or an odd but
fine one, with a finding of the check. *Beside*: another check's finding beside a planted fault.
"""

from __future__ import annotations

import contextlib
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path

import click
import numpy as np
import pandas as pd

from pipeline.findings._clocks import off_clocks
from pipeline.findings._judge import judge_rules, rules
from pipeline.findings._site import SiteFrames
from pipeline.result import SiteInfo, Span
from pipeline.review import CLOCK_TABLE
from pipeline.stages import frame, run
from pipeline.store import connect_working
from pipeline.thresholds import values_for
from sample_data import world
from sample_data.world.channels import Channel
from sample_data.world.log_faults import LOG_FAULTS
from sample_data.world.system import LogFault, System
from tests.accuracy.intervals import wilson
from tests.accuracy.made import stages_of, wall
from tests.accuracy.planted import Logged, Plant, fill, logged

CODES = (
    "stuck-sensor",
    "sensor-spikes",
    "sensor-out-of-range",
    "missing-readings",
    "log-too-coarse",
    "unit-mismatch",
    "swapped-probes",
    "reversing-valve-sense",
    "static-zero-shifted",
    "static-flat",
    "sun-on-outdoor-sensor",
    "sensor-lag",
    "state-inverted",
    "state-never-changes",
    "zones-exchanged",
)
CLOCK = "clock-offset"
"""Planted and counted like the checks, for what it does to them; `clocks` measures it."""
SEEDS = 5
LEAST_CALLS = 5
HEALTHY = 150
BATCH = 8


@dataclass(frozen=True)
class Fault:
    """A fault to plant: its finding, what it needs of a system, and the plant by severity."""

    name: str
    code: str
    plant: object  # (name, base, severity 1..3, seed) -> Plant
    fits: object = None  # (System) -> bool
    role: str = ""  # the state channel it needs, on at some time
    all_call: bool = False  # every zone must have called, or nothing could show it
    graded: bool = True  # False: it is there or not; planted once per seed, as the strongest


def _of_world(trouble: object) -> Fault:
    def plant(name: str, base: Logged, severity: int, seed: int) -> Plant:
        return Plant(name, base, trouble.faults[severity - 1])  # type: ignore[attr-defined]

    graded = len(set(trouble.faults)) > 1  # type: ignore[attr-defined]
    all_call = trouble.code == "zones-exchanged"  # type: ignore[attr-defined]
    return Fault(
        trouble.name,
        trouble.code,
        plant,
        graded=graded,
        all_call=all_call,  # type: ignore[attr-defined]
    )


def _fault(kind: str, role: str, zone: int = -1) -> object:
    def plant(name: str, base: Logged, severity: int, seed: int) -> Plant:
        return Plant(name, base, (LogFault(kind, role, zone),))

    return plant


def _blank(name: str, base: Logged, severity: int, seed: int) -> Plant:
    """Cells that stayed empty."""
    role = ("supply_temp", "zone_temp", "outdoor_temp", "static_pressure", "return_temp")[seed]
    return Plant(name, base, blank={role: (0.07, 0.2, 0.5)[severity - 1]})


def _coarse(name: str, base: Logged, severity: int, seed: int) -> Plant:
    """Values written in coarse steps of the file's unit."""
    if seed % 2:
        return Plant(name, base, decimals={"static_pressure": (6.0, 12.0, 25.0)[severity - 1]})
    role = ("supply_temp", "", "return_temp", "", "zone_temp")[seed]
    return Plant(name, base, decimals={role: (1.5, 2.0, 5.0)[severity - 1]})


def _turned_valve(name: str, base: Logged, severity: int, seed: int) -> Plant:
    """site.toml says the reversing valve's sense the wrong way round."""

    def told(text: str) -> str:
        turn = {'"cooling"': '"heating"', '"heating"': '"cooling"'}
        lines = [
            line.replace(word, turn[word])
            if line.startswith("ob_energised_in") and (word := line.split(" = ")[1]) in turn
            else line
            for line in text.splitlines()
        ]
        return "\n".join(lines) + "\n"

    return Plant(name, base, told=told)


def _slow_probe(name: str, base: Logged, severity: int, seed: int) -> Plant:
    """A supply probe with a time constant of its own."""

    def spoil(kept: Logged, channel: Channel, read: np.ndarray) -> np.ndarray:
        if channel.role != "supply_temp":
            return read
        step = kept.interval_s[channel.file] or 1
        keep = np.exp(-step / (90.0, 240.0, 480.0)[severity - 1])
        out = np.empty_like(read)
        level = read[0]
        for k, value in enumerate(read.tolist()):
            level = keep * level + (1 - keep) * value
            out[k] = level
        return out

    return Plant(name, base, spoil=spoil)


def _warm_spot(name: str, base: Logged, severity: int, seed: int) -> Plant:
    """An outdoor sensor beside a vent that warms while the equipment runs."""

    def spoil(kept: Logged, channel: Channel, read: np.ndarray) -> np.ndarray:
        if channel.role != "outdoor_temp":
            return read
        ts = kept.seconds[channel.file]
        on = np.zeros(len(ts))
        for c in kept.channels:
            if c.role in ("output_w1", "output_y1", "output_aux"):
                at = np.searchsorted(kept.seconds[c.file], ts, side="right") - 1
                on = np.maximum(on, np.asarray(c.values, float)[np.clip(at, 0, None)])
        keep = np.exp(-float(kept.interval_s[channel.file] or 60) / 300.0)
        warm = np.zeros(len(ts))
        for k in range(1, len(ts)):
            warm[k] = keep * warm[k - 1] + (1 - keep) * on[k]
        scale = 1 / 1.8 if channel.unit == "degC" else 1.0
        return read + (4.0, 8.0, 16.0)[severity - 1] * scale * warm

    return Plant(name, base, spoil=spoil)


def _turned_sign(name: str, base: Logged, severity: int, seed: int) -> Plant:
    """Tubes on the wrong ports: static with the other sign."""

    def spoil(kept: Logged, channel: Channel, read: np.ndarray) -> np.ndarray:
        return -read if channel.role == "static_pressure" else read

    return Plant(name, base, spoil=spoil)


def _wrong_degrees(name: str, base: Logged, severity: int, seed: int) -> Plant:
    """site.toml tells °F for °C or the other way round."""
    role = ("supply_temp", "return_temp", "zone_temp")[severity - 1]
    return Plant(name, base, told=partial(_told_unit, role=role))


def _told_unit(text: str, role: str) -> str:
    out, inside, done = [], False, False
    for line in text.splitlines():
        if line.startswith("[["):
            inside = False
        if line == f'role = "{role}"':
            inside = not done
        if inside and line.startswith("unit = "):
            line = {
                'unit = "degF"': 'unit = "degC"',
                'unit = "degC"': 'unit = "degF"',
                'unit = "Pa"': f'unit = "{"kPa"}"',
            }[line]
            done = True
        out.append(line)
    return "\n".join(out) + "\n"


def _kilopascal(name: str, base: Logged, severity: int, seed: int) -> Plant:
    return Plant(name, base, told=partial(_told_unit, role="static_pressure"))


def _has_valve(system: System) -> bool:
    return system.plant.heats > 0 and system.plant.compressor > 0


def _has_burner(system: System) -> bool:
    return system.plant.furnace > 0 and system.season == "heating"


def _has_cold_calls(system: System) -> bool:
    return system.plant.compressor > 0 and system.season != "shoulder"


def _has_proof(system: System) -> bool:
    return system.logging.proof and _has_burner(system)


FAULTS: list[Fault] = [
    *(_of_world(t) for t in LOG_FAULTS if t.code in CODES),
    Fault("cells left empty", "missing-readings", _blank),
    Fault("steps too coarse", "log-too-coarse", _coarse),
    Fault(
        "valve's sense told wrong", "reversing-valve-sense", _turned_valve, _has_valve, graded=False
    ),
    Fault("slow supply probe", "sensor-lag", _slow_probe),
    Fault("vent beside the outdoor sensor", "sun-on-outdoor-sensor", _warm_spot),
    Fault("static's sign", "unit-mismatch", _turned_sign, graded=False),
    Fault("°F for °C", "unit-mismatch", _wrong_degrees),
    Fault("kPa told for Pa", "unit-mismatch", _kilopascal, graded=False),
    *(
        Fault(
            f"{words} inverted",
            "state-inverted",
            _fault("inverted", role, zone),
            fits,
            role,
            graded=False,
        )
        for words, role, zone, fits in (
            ("W1", "output_w1", -1, _has_burner),
            ("Y1", "output_y1", -1, _has_cold_calls),
            ("a call", "zone_call_w1", 0, _has_burner),
        )
    ),
    *(
        Fault(
            f"{words} never changes",
            "state-never-changes",
            _fault("dead", role),
            fits,
            role,
            graded=False,
        )
        for words, role, fits in (
            ("flame", "flame", _has_proof),
            ("W1", "output_w1", _has_burner),
        )
    ),
    *(_of_world(t) for t in LOG_FAULTS if t.code == CLOCK),
]


@dataclass(frozen=True)
class Case:
    """One site to judge: a system by its number, and what is planted on it."""

    number: int
    fault: str = ""
    severity: int = 0
    seed: int = 0
    odd: str = ""

    @property
    def name(self) -> str:
        """The site's id."""
        words = self.fault or self.odd or "healthy"
        plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in words)
        return f"{plain}-{self.severity}-{self.seed}-{self.number}"


def cases(part: str, seeds: int, n_healthy: int, names: Sequence[str] = ()) -> list[Case]:
    """Everything to judge, sites of one system together."""
    found = [Case(n) for n in range(n_healthy)]
    found += [Case(500 + 21 * i + k, odd=name) for i, name in enumerate(world_odd()) for k in
              range(seeds) if n_healthy]  # fmt: skip
    for i, fault in enumerate(FAULTS):
        if names and not any(word in fault.name for word in names):
            continue
        number = 7 * i
        for seed in range(seeds):
            while not _fits(fault, world.healthy(part, number % HEALTHY)):
                number += 1
            severities = (1, 2, 3) if fault.graded else (3,)
            found += [Case(number % HEALTHY, fault.name, s, seed) for s in severities]
            number += 11
    return sorted(found, key=lambda c: (c.number, c.fault, c.severity))


def _fits(fault: Fault, system: System) -> bool:
    """Whether the system can have the fault: a channel that is not logged cannot be inverted."""
    if fault.fits is not None and not fault.fits(system):  # type: ignore[operator]
        return False
    if fault.all_call:
        return all(n >= LEAST_CALLS for n in _calls(logged(system)).values())
    if not fault.role:
        return True
    named = [c for c in logged(system).channels if c.role == fault.role]
    return any(np.asarray(c.values, bool).any() for c in named if c.zone in (-1, 0))


def _calls(base: Logged) -> dict[int, int]:
    """How often each zone called for heat or cooling."""
    found = dict.fromkeys(range(len(base.system.zones)), 0)
    for c in base.channels:
        if c.role in ("zone_call_w1", "zone_call_y1", "zone_call_aux"):
            found[c.zone] += int((np.diff(np.asarray(c.values, np.int8)) > 0).sum())
    return found


def world_odd() -> Iterable[str]:
    """Names of the odd but fine systems."""
    from sample_data.world.log_faults import ODD

    return ODD


def judge_batch(batch: Sequence[Case], part: str) -> list[tuple[Case, dict[str, str], float]]:
    """Per case: result by code, and the seconds its share of the trust stages took."""
    by_name = {f.name: f for f in FAULTS}
    chosen = [r for r in rules() if r.code in CODES]
    with contextlib.ExitStack() as stack:
        stack.enter_context(wall(part))
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        plants = []
        for case in batch:
            system = (
                world.odd(case.odd, part, case.number)
                if case.odd
                else world.healthy(part, case.number)
            )
            base = logged(system)
            if case.fault:
                plant = by_name[case.fault].plant(  # type: ignore[operator]
                    case.name, base, case.severity, case.seed
                )
                plants.append(plant)
            else:
                plants.append(Plant(case.name, base))
        con = connect_working()
        sites = fill(con, plants, folder)
        names = {"signal.coverage", *(t for r in chosen for t in r.declaration.needs_tables)}
        stages = stages_of(*names, CLOCK_TABLE)
        took = defaultdict(float)
        run(con, stages, lambda s, t: took.__setitem__(s.folder, took[s.folder] + t))
        out = []
        for case, site in zip(batch, sites, strict=True):
            frames = {n: frame(con, n, site.id) for n in {*names, CLOCK_TABLE}}
            window = frame(con, "run.window", site.id).iloc[0]
            info = SiteInfo(
                site_id=site.id, name=site.id, timezone=site.timezone, complaint=None,
                kind=site.equipment.kind, zones={z.number: z.name for z in site.zones},
                settings=(), visits=(), guesses=(),
            )  # fmt: skip
            frames_of = SiteFrames(
                info, Span(int(window.start_ts), int(window.end_ts)), frames,
                values_for(site.thresholds),
            )  # fmt: skip
            _, judged = judge_rules(frames_of, chosen)
            results = {j.code: j.result for j in judged}
            results[CLOCK] = "found" if off_clocks(frames_of) else "not found"
            out.append((case, results, took["30_trust"] / len(batch)))
        con.close()
    return out


def table(results: Sequence[tuple[Case, dict[str, str], float]], show: bool = False) -> list[str]:
    """The lines of the report."""
    code_of = {f.name: f.code for f in FAULTS}
    lines = [f"{'check':24}{'sev 1':>8}{'sev 2':>8}{'sev 3':>8}{'2+3':>9}  Wilson 95 %   "
             f"{'healthy':>8}{'odd':>5}{'beside':>8}"]  # fmt: skip
    pooled = [0, 0]
    healthy = [r for r in results if not r[0].fault and not r[0].odd]
    odd = [r for r in results if r[0].odd]
    planted = [r for r in results if r[0].fault]
    for code in (*CODES, CLOCK):
        mine = [(c, r) for c, r, _ in planted if code_of[c.fault] == code]
        cells = []
        for severity in (1, 2, 3):
            some = [r.get(code) == "found" for c, r in mine if c.severity == severity]
            cells.append(f"{sum(some)}/{len(some)}")
        strong = [r.get(code) == "found" for c, r in mine if c.severity >= 2]
        if code != CLOCK:
            pooled[0], pooled[1] = pooled[0] + sum(strong), pooled[1] + len(strong)
        low, high = wilson(sum(strong), len(strong))
        false = sum(r.get(code) == "found" for _, r, _ in healthy)
        false_odd = sum(r.get(code) == "found" for _, r, _ in odd)
        beside = sum(r.get(code) == "found" for c, r, _ in planted if code_of[c.fault] != code)
        lines.append(
            f"{code:24}{cells[0]:>8}{cells[1]:>8}{cells[2]:>8}"
            f"{sum(strong):>5}/{len(strong):<3}  {low:.2f} to {high:.2f}   {false:>8}{false_odd:>5}"
            f"{beside:>8}"
        )
    low, high = wilson(*pooled)
    lines.append(
        f"pooled at severity 2 and 3: {pooled[0]}/{pooled[1]} = "
        f"{pooled[0] / max(1, pooled[1]):.3f} ({low:.3f} to {high:.3f}); "
        f"{len(healthy)} healthy site-weeks, {len(odd)} odd ones"
    )
    if results:
        seconds = float(np.mean([t for _, _, t in results]))
        lines.append(f"stages of trust: {seconds:.2f} s a site, in batches")
    if show:
        for case, r, _ in results:
            told = sorted(code for code, result in r.items() if result == "found")
            want = code_of.get(case.fault)
            if (want and (want not in told or len(told) > 1)) or (not want and told):
                lines.append(f"  {case.name}: {', '.join(told) or 'nothing'}")
    return lines


@click.command()
@click.option("--part", type=click.Choice(["tuning", "reporting"]), default="tuning")
@click.option("--seeds", default=SEEDS, help="Sites per fault and severity.")
@click.option("--healthy", "n_healthy", default=HEALTHY, help="Healthy site-weeks.")
@click.option("--jobs", default=1, help="Processes.")
@click.option("--only", multiple=True, help="Faults whose name holds this.")
@click.option("--rows", "path", type=click.Path(path_type=Path), help="Every result, as CSV.")
@click.option("--show", is_flag=True, help="Name every site that was not as it should be.")
def main(
    part: str,
    seeds: int,
    n_healthy: int,
    jobs: int,
    only: tuple[str, ...],
    path: Path | None,
    show: bool,
) -> None:
    """Print recall by severity and false alarms of each check."""
    started = time.perf_counter()
    with wall(part):
        todo = cases(part, seeds, n_healthy, only)
    batches = [todo[k : k + BATCH] for k in range(0, len(todo), BATCH)]
    results: list[tuple[Case, dict[str, str], float]] = []
    judge = partial(judge_batch, part=part)
    with ProcessPoolExecutor(jobs) as pool:
        for n, made in enumerate(pool.map(judge, batches), start=1):
            results += made
            if path:  # after each batch, so that a run that is stopped leaves what it had
                pd.DataFrame([{**asdict(c), **r} for c, r, _ in results]).to_csv(path, index=False)
            if sys.stderr.isatty():
                click.echo(f"\r{n}/{len(batches)}", nl=False, err=True)
    click.echo("\n".join(table(results, show)))
    click.echo(f"{len(results)} sites in {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
