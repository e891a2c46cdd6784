"""What a fleet costs: seconds and peak memory by stage, by number of sites, and for a day more.

    python tests/benchmarks/fleet_bench.py [--sites 50 200 1000] [--jobs 1 2] [--rounds 2]
        [--added-day 200] [--to out/fleet-bench] [--keep FOLDER]

Fleets of one week at one minute are built from nothing, by `zonetrail fleet` in a process of its
own, sizes and jobs in turn and in rounds, so that a machine that drifts drifts for all. Then a
fleet of 28 days is built and one day is added to every site, as one more offload of each logger;
then five more days at once, and the day that ends the fifth week of every site. All sites end their
weeks on one day here, those of a real fleet on any: a day of its costs what six such days and one
that ends a week cost, by seven.
Its sites are made cheaply (see fleet_sites.py). Seconds are of the processor, all processes
together; those of the clock stand beside them. Peak memory is the kernel's own high mark of the
process by stage, and of the largest worker. Results go to results.json, fleet_bench.svg draws them.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import platform
import re
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

WEEK, MONTH = 7, 28
ADDED = (
    ("build", 0, MONTH),
    ("day added", MONTH, MONTH + 1),
    ("five added", MONTH + 1, MONTH + 6),
    ("week ended", MONTH + 6, MONTH + 7),
)
"""What is done to the fleet of 28 days: its name, and the days that have come, from and to."""
REACHED = re.compile(r"^[a-z ]+?(?= of | \d|[:,]|$)")
"""How a step's first words are taken from what the command tells of its progress."""


def main() -> None:
    """Make the fleets, run them in turn, write the results."""
    asked = argparse.ArgumentParser(description="Cost of a fleet by its size.")
    asked.add_argument("--sites", type=int, nargs="+", default=[50, 200, 1000])
    asked.add_argument("--jobs", type=int, nargs="+", default=[1, 2])
    asked.add_argument("--rounds", type=int, default=2)
    asked.add_argument("--added-day", type=int, default=200, help="sites of 28 days; 0: left out")
    asked.add_argument("--to", type=Path, default=Path("out/fleet-bench"))
    asked.add_argument("--keep", type=Path, help="folder for the fleets; else a temporary one")
    asked.add_argument("--one", nargs=3, metavar=("FLEET", "JOBS", "DAY"), help=argparse.SUPPRESS)
    told = asked.parse_args()
    if told.one:
        print(json.dumps(_one(Path(told.one[0]), int(told.one[1]), told.one[2])))
        return
    with tempfile.TemporaryDirectory(prefix="fleet-bench-") as temporary:
        results = measure(told, told.keep or Path(temporary))
    told.to.mkdir(parents=True, exist_ok=True)
    (told.to / "results.json").write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")
    from fleet_picture import picture

    (told.to / "fleet_bench.svg").write_text(picture(results), encoding="utf-8")
    print(summary(results))
    print(f"{told.to / 'results.json'}, {told.to / 'fleet_bench.svg'}")


def measure(told: argparse.Namespace, folder: Path) -> dict[str, Any]:
    """Every run: what it was, and what it took."""
    from fleet_sites import LAST_DAY, write_days, write_fleet

    bases = folder / "bases"
    for n in told.sites:
        write_fleet(folder / f"week-{n}", n, WEEK, bases, folder / "pool")
    runs: list[dict[str, Any]] = []
    day = LAST_DAY.isoformat()
    for round_n in range(told.rounds):
        for n in told.sites:
            for jobs in told.jobs:
                fleet = folder / f"week-{n}"
                _forget(fleet)
                run = {"what": "build", "sites": n, "days": WEEK, "jobs": jobs, "round": round_n}
                runs.append(run | _apart(fleet, jobs, day) | {"stored_bytes": _stored(fleet)})
                _say(runs[-1])
    n = told.added_day
    for jobs in told.jobs if n else ():
        fleet = folder / f"month-{n}"
        shutil.rmtree(fleet, ignore_errors=True)
        for number in range(n):
            site = fleet / f"s{number:04d}"
            (site / "exports").mkdir(parents=True)
            write_site_of(site, number, bases)
        run = {"sites": n, "jobs": jobs, "round": 0}
        for what, first, end in ADDED:
            for number in range(n) if first else ():
                site = fleet / f"s{number:04d}"
                write_days(site, number, range(first, end), MONTH + WEEK, bases)
            last_day = (LAST_DAY - dt.timedelta(days=MONTH + WEEK - end)).isoformat()
            runs.append(run | {"what": what, "days": end} | _apart(fleet, jobs, last_day))
            _say(runs[-1])
            if what == "day added":
                again = {"what": "nothing new", "days": end}
                runs.append(run | again | _apart(fleet, jobs, last_day))
                _say(runs[-1])
        shutil.rmtree(fleet)
    return {
        "schema": "zonetrail.fleet-bench/1",
        "machine": {
            "processors": os.cpu_count(),
            "system": platform.platform(),
            "python": platform.python_version(),
        },
        "sites_are": "made of the sample fleet's logs, moved in time and shaken: fleet_sites.py",
        "runs": runs,
    }


def write_site_of(site: Path, number: int, bases: Path) -> None:
    """A site of the first 28 days of five weeks."""
    from fleet_sites import write_days, write_site

    shutil.rmtree(site)
    write_site(site, number, 1, bases)
    for path in (site / "exports").iterdir():
        path.unlink()
    write_days(site, number, range(MONTH), MONTH + WEEK, bases)


def summary(results: dict[str, Any]) -> str:
    """The results in lines: per site and per stage, medians over rounds."""
    lines = [f"{'what':<12}{'sites':>6}{'days':>5}{'jobs':>5}{'CPU s':>9}{'per site':>9}"
             f"{'clock s':>9}{'peak MB':>9}{'worker MB':>10}  stages (CPU s, peak MB)"]  # fmt: skip
    groups: dict[tuple[Any, ...], list[dict[str, Any]]] = {}
    for run in results["runs"]:
        groups.setdefault((run["what"], run["sites"], run["days"], run["jobs"]), []).append(run)
    for (what, sites, days, jobs), runs in groups.items():

        def middle(name: str, runs: list[dict[str, Any]] = runs) -> float:
            return statistics.median(r[name] for r in runs)

        stages = "; ".join(
            f"{s['stage']} {s['cpu_s']:.1f}, {s['peak_mb']:.0f}" for s in runs[0]["stages"]
        )
        lines.append(
            f"{what:<12}{sites:>6}{days:>5}{jobs:>5}{middle('cpu_s'):>9.1f}"
            f"{middle('cpu_s') / sites:>9.3f}{middle('clock_s'):>9.1f}{middle('peak_mb'):>9.0f}"
            f"{middle('worker_peak_mb'):>10.0f}  {stages}"
        )
    return "\n".join([*lines, *_shares(groups)])


def _shares(groups: dict[tuple[Any, ...], list[dict[str, Any]]]) -> list[str]:
    """What a day more costs, to what building 28 days cost in the same run."""
    lines = []
    for (what, sites, days, jobs), runs in groups.items():
        if what != "build" or days != MONTH:
            continue
        cpu = {w: r[0]["cpu_s"] for (w, s, _, j), r in groups.items() if (s, j) == (sites, jobs)}
        day, ended = (cpu[w] / runs[0]["cpu_s"] for w in ("day added", "week ended"))
        lines.append(
            f"{sites} sites, {jobs} jobs: to building {MONTH} days a day more costs {day:.3f}, one "
            f"that ends every site's week {ended:.3f}, the mean over a week "
            f"{(6 * day + ended) / 7:.3f}"
        )
    return lines


def _apart(fleet: Path, jobs: int, day: str) -> dict[str, Any]:
    """One run of the command in a process of its own."""
    command = [sys.executable, str(Path(__file__)), "--one", str(fleet), str(jobs), day]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"the run failed: {' '.join(command)}\n{done.stderr}")
    last: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return last


def _one(fleet: Path, jobs: int, day: str) -> dict[str, Any]:
    """Run `zonetrail fleet` in this process; what it and its workers took, stage by stage."""
    from pipeline.cli import options, zonetrail
    from pipeline.guard import run_command

    stages: list[dict[str, Any]] = []
    began = time.monotonic()

    def enter(stage: str) -> None:
        peak_mb = _high_mark_mb()
        now = (time.monotonic(), _cpu_s())
        if stages:
            last = stages[-1]
            last["clock_s"] = round(now[0] - last["clock_s"], 3)
            last["cpu_s"] = round(now[1] - last["cpu_s"], 3)
            last["peak_mb"] = round(peak_mb, 1)
        stages.append({"stage": stage, "clock_s": now[0], "cpu_s": now[1], "peak_mb": 0.0})

    def step(self: options.Progress, text: str) -> None:
        del self
        found = REACHED.match(text)
        if found and found.group() and found.group() != stages[-1]["stage"]:
            enter(found.group())

    enter("starting")
    options.Progress.step = step  # type: ignore[method-assign]
    with open(os.devnull, "w", encoding="utf-8") as nowhere:  # noqa: PTH123 as a stream
        said, sys.stdout = sys.stdout, nowhere
        try:
            code = run_command(
                zonetrail, ["fleet", str(fleet), "--jobs", str(jobs), "--on", day, "--quiet"]
            )
        finally:
            sys.stdout = said
    enter("end")
    stages.pop()
    if code != 0:
        raise SystemExit(f"zonetrail fleet ended with {code}")
    workers = resource.getrusage(resource.RUSAGE_CHILDREN)
    return {
        "clock_s": round(time.monotonic() - began, 3),
        "cpu_s": round(_cpu_s(), 3),
        "peak_mb": max(s["peak_mb"] for s in stages),
        "worker_peak_mb": round(workers.ru_maxrss / 1024, 1),
        "stages": stages,
    }


def _cpu_s() -> float:
    """Seconds of the processor of this process and of those it has seen end."""
    both = (resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(r.ru_utime + r.ru_stime for r in both)


def _high_mark_mb() -> float:
    """The process's highest resident memory since the last time this was asked [MB]."""
    status = Path("/proc/self/status")
    if not status.exists():  # no such kernel: of the whole life of the process
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    found = re.search(r"VmHWM:\s+(\d+) kB", status.read_text(encoding="ascii"))
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    return int(found.group(1)) / 1024 if found else 0.0


def _forget(fleet: Path) -> None:
    """The fleet as before its first run: no stores, no reports."""
    for path in [*fleet.rglob("*.duckdb"), *fleet.rglob("report")]:
        shutil.rmtree(path) if path.is_dir() else path.unlink()


def _stored(fleet: Path) -> int:
    """Bytes of the stores and reports that a run has written."""
    written = [*fleet.rglob("*.duckdb"), *fleet.rglob("report/*")]
    return sum(p.stat().st_size for p in written if p.is_file())


def _say(run: dict[str, Any]) -> None:
    print(f"{run['what']}: {run['sites']} sites, {run['days']} days, {run['jobs']} jobs: "
          f"{run['cpu_s']:.1f} CPU s, {run['clock_s']:.1f} s, {run['peak_mb']:.0f} MB "
          f"(worker {run['worker_peak_mb']:.0f} MB)", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
