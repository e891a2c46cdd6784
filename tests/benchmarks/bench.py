"""Fast and small: the whole benchmark, beside what people would use instead. Ratios are the result.

    python tests/benchmarks/bench.py [--form short|middle|long] [--rounds N] [--to out/bench]
        [--only load measures fleet whole growth profile] [--keep FOLDER]

Seeded logs (bench_data.py) are written; then, each in a process of its own and in turn, round by
round:

load      a year and a week of one site: our load, DuckDB's typed read_csv into a table, pandas
measures  the figures of bench_compare.py by our stages, by a pandas and by a polars script, once
          all three gave the same to 1e-6; for ours only the stages that those figures need, which
          is what a reader who asks for them waits for, and all stages beside it
fleet     the same for many sites of a week
whole     commands as a user starts them, their start-up, the report
growth    load and all stages against days, sites and channels
profile   seconds of the processor by stage: the sample week and the year

short: minutes, for a look; middle: 100 sites; long: 400 sites and up to 10^8 readings, hours.
Results go to results.json and bench.svg. Where others use the machine, ratios of seconds of the
processor stand for those of the clock; both are written.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
PARTS = ("load", "measures", "fleet", "whole", "growth", "profile")
FORMS: dict[str, dict[str, Any]] = {
    "short": {"rounds": 1, "sites": [10], "days": [3, 10, 30], "grown_sites": [1, 3, 10]},
    "middle": {"rounds": 3, "sites": [100], "days": [7, 30, 91, 365], "grown_sites": [1, 5, 25]},
    "long": {
        "rounds": 5,
        "sites": [100, 400],
        "days": [7, 30, 91, 365],
        "grown_sites": [1, 5, 25, 100],
    },
}
DENSE = {"short": (), "middle": ((365, 30),), "long": ((365, 30), (365, 10), (365, 3))}
"""Days and seconds between rows of the growth's largest logs: 1, 3 and 12 times 10^7 readings."""

LIMITED_FROM, LIMIT = 2e7, "4GB"
"""Readings of one site from which its stages are held to a limit, so that they spill: all of 10^8
would take some 30 GB."""

Taken = dict[str, Any]


def child(what: str, *arguments: object) -> Taken:
    """One piece of work of bench_work.py in a process of its own."""
    command = [sys.executable, str(HERE / "bench_work.py"), what, *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{' '.join(command)}\n{done.stdout}{done.stderr}")
    taken: Taken = json.loads(done.stdout.splitlines()[-1])
    return taken


def command(*words: str) -> Taken:
    """A whole process: from its start to its end, imports and all."""
    import time

    began = time.perf_counter()
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    said = process.stderr.read() if process.stderr else b""
    _, status, used = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"{' '.join(words)}\n{said.decode()}")
    return {
        "clock_s": time.perf_counter() - began,
        "cpu_s": used.ru_utime + used.ru_stime,
        "peak_mib": used.ru_maxrss / 1024,
        "made": None,
    }


def in_turn(ways: dict[str, tuple[object, ...]], rounds: int) -> dict[str, Taken]:
    """Each way in turn, `rounds` times: medians, and every round's seconds."""
    taken: dict[str, list[Taken]] = {name: [] for name in ways}
    for _ in range(rounds):
        for name, (what, *arguments) in ways.items():
            run = command if what is command else child
            words = arguments if run is command else [what, *arguments]
            taken[name].append(run(*(str(w) for w in words)))
    told = {}
    for name, each in taken.items():
        told[name] = {
            k: statistics.median(t[k] for t in each) for k in ("clock_s", "cpu_s", "peak_mib")
        }
        told[name] |= {"rounds": [round(t["clock_s"], 4) for t in each], "made": each[-1]["made"]}
        say(f"  {name}: {told[name]['cpu_s']:.2f} CPU s, {told[name]['clock_s']:.2f} s, "
            f"{told[name]['peak_mib']:.0f} MiB")  # fmt: skip
    return told


def ratios(told: dict[str, Taken], ours: str, others: list[str]) -> dict[str, dict[str, float]]:
    """How many times the other's seconds ours takes (under 1: ours is faster)."""
    return {
        other: {k: told[ours][k] / told[other][k] for k in ("cpu_s", "clock_s")} for other in others
    }


def say(text: str) -> None:
    print(text, flush=True)


class Logs:
    """The made sites, each written once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def year(self, dirty: bool, days: int = 365, step_s: int = 60, zones: int = 4) -> Path:
        name = f"{'dirty' if dirty else 'clean'}-{days}-{step_s}-{zones}"
        return self._made(name, "year", int(dirty), days, step_s, zones)

    def week(self) -> Path:
        return self._made("week", "week")

    def fleet(self, n: int) -> Path:
        return self._made(f"fleet-{n}", "fleet", n)

    def _made(self, name: str, what: str, *numbers: int) -> Path:
        path = self.folder / name
        if not path.exists():
            child("make", what, path, *numbers)
        return path

    def sample(self) -> Path:
        from sample_data.unpack import unpack_site

        path = self.folder / "sample"
        return path / "larch-14" if path.exists() else unpack_site("larch-14", path)


def load(logs: Logs, rounds: int) -> dict[str, Any]:
    out = {}
    for name, folder, kind in (
        ("year, clean", logs.year(False), "clean"),
        ("year, dirty", logs.year(True), "dirty"),
        ("week, three loggers", logs.week(), "clean"),
    ):
        say(f"load of the {name}")
        ways: dict[str, tuple[object, ...]] = {
            "ours": ("ours_load", folder),
            "duckdb": ("duckdb_load", folder, kind),
            "pandas": ("pandas_load", folder, kind),
            "pandas.read_csv alone": ("pandas_read_only", folder, kind),
        }
        told = in_turn(ways, rounds)
        csv = sum(p.stat().st_size for p in (folder / "exports").iterdir())
        stored = (folder / "site.duckdb").stat().st_size
        out[name] = {
            "ways": told,
            "ours over": ratios(told, "ours", list(ways)[1:]),
            "csv_bytes": csv,
            "store_bytes": stored,
            "store over csv": stored / csv,
        }
    return out


def measures(logs: Logs, folders: dict[str, Path], rounds: int) -> dict[str, Any]:
    out = {}
    for name, folder in folders.items():
        say(f"measures of the {name}")
        loaded = child("ours_load", folder)
        compared = child("same", folder)["made"]["compared"]
        told_of = ", ".join(f"{k} {v['rows']:,}" for k, v in compared.items())
        n_values = sum(v["values"] for v in compared.values())
        say(
            f"  ours, pandas and polars gave the same to 1e-6: {n_values:,} values; rows: {told_of}"
        )
        ways: dict[str, tuple[object, ...]] = {
            "ours": ("ours_measures", folder),
            "pandas": ("pandas_measures", folder),
            "polars": ("polars_measures", folder),
        }
        told = in_turn(ways, rounds)
        told |= in_turn({"ours, all stages": ("ours_measures", folder, "every")}, 1)
        out[name] = {
            "compared": compared,
            "load": {k: loaded[k] for k in ("cpu_s", "clock_s", "peak_mib")},
            "ways": told,
            "ours over": ratios(told, "ours", ["pandas", "polars"]),
        }
    return out


def whole(logs: Logs, rounds: int) -> dict[str, Any]:
    sample = logs.sample()
    python, run = sys.executable, ("-m", "pipeline")
    fresh = logs.folder / "fresh"

    say("whole processes")
    ways: dict[str, tuple[object, ...]] = {
        "python that does nothing": (command, python, "-c", "pass"),
        "zonetrail --help": (command, python, *run, "--help"),
        "python with pandas and duckdb": (command, python, "-c", "import pandas, duckdb"),
        "report of the sample site": ("report", sample),
    }
    told = in_turn(ways, max(rounds, 3))
    each: list[Taken] = []
    for _ in range(rounds):
        shutil.rmtree(fresh, ignore_errors=True)
        shutil.copytree(sample, fresh, ignore=shutil.ignore_patterns("site.duckdb", "report"))
        each.append(command(python, *run, "review", str(fresh), "--quiet"))
    again = [command(python, *run, "review", str(fresh), "--quiet") for _ in range(rounds)]
    for name, runs in (("review of the sample site", each), ("the same, loaded before", again)):
        told[name] = {
            k: statistics.median(t[k] for t in runs) for k in ("clock_s", "cpu_s", "peak_mib")
        }
        say(f"  {name}: {told[name]['cpu_s']:.2f} CPU s, {told[name]['clock_s']:.2f} s, "
            f"{told[name]['peak_mib']:.0f} MiB")  # fmt: skip
    return told


def growth(logs: Logs, form: str) -> dict[str, Any]:
    """Seconds of the processor of load and of all stages against size, with exponents."""
    from bench_data import ANALOG

    asked = FORMS[form]
    series: dict[str, list[tuple[float, str, Path]]] = {
        "readings (days)": [
            (
                days * 86_400 / step * len(ANALOG),
                f"{days} d, {step} s",
                logs.year(False, days, step),
            )
            for days, step in (*((d, 60) for d in asked["days"]), *DENSE[form])
        ],
        "sites of a week": [(n, f"{n}", logs.fleet(n)) for n in asked["grown_sites"]],
        "channels": [
            (4 * n + 12, f"{n} zones", logs.year(False, 60, zones=n)) for n in (1, 2, 3, 4)
        ],
    }
    out: dict[str, Any] = {}
    for name, points in series.items():
        say(f"growth with {name}")
        rows = []
        for x, label, folder in points:
            loaded = child("ours_load", folder)
            made = child("stages", folder, "every", LIMIT if x > LIMITED_FROM else "")
            rows.append(
                {
                    "x": x,
                    "label": label,
                    "load_cpu_s": loaded["cpu_s"],
                    "load_peak_mib": loaded["peak_mib"],
                    "stages_cpu_s": made["cpu_s"],
                    "stages_peak_mib": made["peak_mib"],
                    "stages": made["made"]["stages"],
                }
            )
            say(f"  {label}: load {loaded['cpu_s']:.2f} CPU s ({loaded['peak_mib']:.0f} MiB), "
                f"stages {made['cpu_s']:.2f} CPU s ({made['peak_mib']:.0f} MiB)")  # fmt: skip
        each = {k: exponent([(r["x"], r[k]) for r in rows]) for k in ("load_cpu_s", "stages_cpu_s")}
        steep = steep_stages(rows)
        say(f"  exponents: load {each['load_cpu_s']:.2f}, stages {each['stages_cpu_s']:.2f}")
        if steep:
            say("  stages that grow faster than their input: "
                + ", ".join(f"{k} {e:.2f} ({s:.2f} s)" for k, e, s in steep))  # fmt: skip
        out[name] = {"points": rows, "exponents": each, "steep": steep}
    return out


def exponent(points: list[tuple[float, float]]) -> float:
    """The slope between the two largest sizes, both axes logarithmic."""
    (x0, y0), (x1, y1) = points[-2:]
    return math.log(y1 / y0) / math.log(x1 / x0)


def steep_stages(rows: list[dict[str, Any]]) -> list[tuple[str, float, float]]:
    """Stages whose seconds grew by more than the size to the power 1.15, if they cost enough."""
    before, after = (dict(r["stages"]) for r in rows[-2:])
    span = math.log(rows[-1]["x"] / rows[-2]["x"])
    told = [
        (key, math.log(s / before[key]) / span, s)
        for key, s in after.items()
        if s >= 0.25 and before.get(key, 0) > 0.02
    ]
    return sorted((t for t in told if t[1] > 1.15), key=lambda t: -t[2])


def profile(logs: Logs) -> dict[str, Any]:
    """Seconds of the processor by stage, all stages, one at a time."""
    out = {}
    for name, folder in (
        ("day at one minute (what planning costs)", logs.year(False, 1)),
        ("sample week", logs.sample()),
        ("site-year", logs.year(True)),
    ):
        child("ours_load", folder)
        made = child("stages", folder)
        rows = sorted(made["made"]["stages"], key=lambda r: -r[1])
        out[name] = {"cpu_s": made["cpu_s"], "peak_mib": made["peak_mib"], "stages": rows}
        say(f"profile of the {name}: {made['cpu_s']:.1f} CPU s in {len(rows)} stages")
        for key, s in rows[:20]:
            say(f"  {s:7.3f}  {100 * s / made['cpu_s']:4.1f} %  {key}")
    return out


def main() -> None:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--form", choices=list(FORMS), default="middle")
    asked.add_argument("--rounds", type=int, help="instead of the form's")
    asked.add_argument("--only", nargs="+", choices=PARTS, default=list(PARTS))
    asked.add_argument("--to", type=Path, default=Path("out/bench"))
    asked.add_argument("--keep", type=Path, help="folder for the logs; else a temporary one")
    told = asked.parse_args()
    form = FORMS[told.form]
    rounds = told.rounds or form["rounds"]
    results: dict[str, Any] = {
        "schema": "zonetrail.bench/1",
        "form": told.form,
        "rounds": rounds,
        "machine": {
            "processors": os.cpu_count(),
            "system": platform.platform(),
            "python": platform.python_version(),
        },
    }
    with tempfile.TemporaryDirectory(prefix="zonetrail-bench-") as temporary:
        logs = Logs(told.keep or Path(temporary))
        sites = {"site-year": logs.year(True), "site-week, three loggers": logs.week()}
        fleets = {f"{n} sites, a week": logs.fleet(n) for n in form["sites"]}
        work = {
            "load": lambda: load(logs, rounds),
            "measures": lambda: measures(logs, sites, rounds),
            "fleet": lambda: measures(logs, fleets, rounds),
            "whole": lambda: whole(logs, rounds),
            "growth": lambda: growth(logs, told.form),
            "profile": lambda: profile(logs),
        }
        told.to.mkdir(parents=True, exist_ok=True)
        for part in told.only:
            results[part] = work[part]()
            # what is done is kept if a later part fails
            text = json.dumps(results, indent=1) + "\n"
            (told.to / "results.json").write_text(text, encoding="utf-8")
    from bench_picture import picture, summary

    (told.to / "bench.svg").write_text(picture(results), encoding="utf-8")
    say(summary(results))
    say(f"{told.to / 'results.json'}, {told.to / 'bench.svg'}")


if __name__ == "__main__":
    main()
