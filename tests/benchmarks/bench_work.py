"""One piece of the benchmark's work in a process of its own, with what it took.

    python tests/benchmarks/bench_work.py WHAT ARGUMENT ...

Prints one line of JSON: seconds by the clock and of the processor without the imports, and the
process's highest resident memory. Each way of doing a thing gets a process of its own, so that no
way's memory or caches are another's.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
SKIPPED_LINES = 3
"""Lines before the header of a soiled export: every peer is told of them."""
WORDS = ["", "NaN", "-999"]


def truth_of(folder: Path) -> dict[str, Path]:
    """The Parquet files of a made site by logger."""
    return {path.stem: path for path in sorted(folder.glob("*.parquet"))}


def folders_of(folder: Path) -> list[Path]:
    """The site itself, or the sites of a fleet's folder."""
    if (folder / "site.toml").exists():
        return [folder]
    return sorted(p for p in folder.iterdir() if (p / "site.toml").exists())


# Work is made ready (imports) by calling it, and done by calling what comes back.


def ours_load(folder: str) -> Callable[[], Any]:
    from pipeline.ingest.load import load_site

    sites = folders_of(Path(folder))
    for site in sites:
        (site / "site.duckdb").unlink(missing_ok=True)

    def work() -> dict[str, int]:
        n = dict.fromkeys(("n_read", "n_loaded", "n_rejected", "n_bad_cells"), 0)
        for site in sites:
            report = load_site(site)
            n = {k: v + report.total(k) for k, v in n.items()}
        return n

    return work


def duckdb_load(folder: str, kind: str) -> Callable[[], Any]:
    """DuckDB's typed reader into a table; dirty: what it cannot read is dropped."""
    import duckdb
    from bench_data import ANALOG

    exports = sorted((Path(folder) / "exports").glob("*.csv"))
    soiled = kind == "dirty"

    def work() -> dict[str, int]:
        n = 0
        with duckdb.connect() as con:
            for k, export in enumerate(exports):
                with export.open(encoding="utf-8") as lines:
                    head = [next(lines) for _ in range(SKIPPED_LINES + 1)][SKIPPED_LINES * soiled]
                columns = {"ts": "TIMESTAMP"} | {
                    c: "DOUBLE" if c in ANALOG else "TINYINT" for c in head.strip().split(",")[1:]
                }
                con.execute(
                    f"create table log_{k} as select * from read_csv(?, auto_detect = false,"
                    " header = true, skip = ?, delim = ',', quote = '', columns = ?, nullstr = ?,"
                    " timestampformat = '%Y-%m-%d %H:%M:%S', ignore_errors = ?)",
                    [str(export), SKIPPED_LINES * soiled, columns, WORDS, soiled],
                )
                n += con.execute(f"select count(*) from log_{k}").fetchall()[0][0]
        return {"n_loaded": n}

    return work


def pandas_load(folder: str, kind: str) -> Callable[[], Any]:
    """pandas' default reader; dirty: with the mending without which no column is a number."""
    import pandas as pd

    exports = sorted((Path(folder) / "exports").glob("*.csv"))
    soiled = kind == "dirty"

    def work() -> dict[str, int]:
        n = 0
        for export in exports:
            frame = pd.read_csv(
                export,
                skiprows=SKIPPED_LINES * soiled,
                na_values=WORDS,
                on_bad_lines="skip" if soiled else "error",
                low_memory=False,
            )
            frame["Time"] = pd.to_datetime(
                frame["Time"], format="%Y-%m-%d %H:%M:%S", errors="coerce" if soiled else "raise"
            )
            if soiled:
                for name in frame.columns[1:]:
                    frame[name] = pd.to_numeric(frame[name], errors="coerce")
                frame = frame[frame["Time"].notna()]
            n += len(frame)
        return {"n_loaded": n}

    return work


def pandas_read_only(folder: str, kind: str) -> Callable[[], Any]:
    """`pandas.read_csv` and nothing after it."""
    import pandas as pd

    exports = sorted((Path(folder) / "exports").glob("*.csv"))
    skipped = SKIPPED_LINES * (kind == "dirty")

    def work() -> dict[str, int]:
        return {
            "n_loaded": sum(
                len(pd.read_csv(e, skiprows=skipped, on_bad_lines="skip", low_memory=False))
                for e in exports
            )
        }

    return work


def ours_measures(folder: str, every: str = "") -> Callable[[], Any]:
    import bench_ours

    from pipeline.stages import listed

    listed()  # imports the measures that are Python
    folders = folders_of(Path(folder))

    def work() -> dict[str, int]:
        made = bench_ours.figures(folders, every_stage=every == "every")
        return {"rows": sum(len(t) for t in made.values())}

    return work


def pandas_measures(folder: str) -> Callable[[], Any]:
    import bench_pandas

    truths = [truth_of(f) for f in folders_of(Path(folder))]
    return lambda: {
        "rows": sum(len(t) for truth in truths for t in bench_pandas.figures(truth).values())
    }


def polars_measures(folder: str) -> Callable[[], Any]:
    import bench_polars

    truths = {f.name: truth_of(f) for f in folders_of(Path(folder))}
    return lambda: {"rows": sum(len(t) for t in bench_polars.figures(truths).values())}


def stages(folder: str, every: str = "every", memory: str = "") -> Callable[[], Any]:
    """Seconds of the processor by stage, one at a time; not counted: reading the site file.

    memory : how much the tables may hold at once; '': all of it
    """
    import bench_ours

    from pipeline.stages import Stage, listed

    listed()
    folders = folders_of(Path(folder))

    def work() -> dict[str, Any]:
        taken: list[tuple[str, float]] = []
        last = time.process_time()

        def note(stage: Stage, _: float) -> None:
            nonlocal last
            now = time.process_time()
            taken.append((stage.key, round(now - last, 4)))
            last = now

        bench_ours.figures(
            folders, note, every_stage=every == "every", at_once=1, memory=memory or None
        )
        return {"stages": taken}

    return work


def report(folder: str) -> Callable[[], Any]:
    """The page of a site that has been reviewed in this process."""
    from pipeline.review import review_site
    from reports.site import render_site

    result = review_site(Path(folder)).result
    return lambda: {"bytes": len(render_site(result).encode())}


def same(folder: str) -> Callable[[], Any]:
    """All three ways once, and what of them was compared; ends with an error if they differ."""
    import bench_ours
    import bench_pandas
    import bench_polars
    import pandas as pd
    from bench_compare import compare

    folders = folders_of(Path(folder))

    def work() -> dict[str, Any]:
        if n := bench_ours.distrusted(folders):
            raise SystemExit(f"{n} stretches of the made log are not trusted: nothing to compare")
        ours = bench_ours.figures(folders)
        truths = {f.name if len(folders) > 1 else "": truth_of(f) for f in folders}
        of_id = {"": ours["runtime"]["site"].iloc[0]} if len(folders) == 1 else {}
        truths = {of_id.get(name, name): truth for name, truth in truths.items()}
        each = [
            {k: t.assign(site=name) for k, t in bench_pandas.figures(truth).items()}
            for name, truth in truths.items()
        ]
        theirs = {k: pd.concat([e[k] for e in each], ignore_index=True) for k in each[0]}
        compared = compare(ours, theirs, "pandas")
        polars = {k: t.to_pandas() for k, t in bench_polars.figures(truths).items()}
        compare(ours, polars, "polars")
        return {"compared": compared}

    return work


def make(what: str, folder: str, *numbers: str) -> Callable[[], Any]:
    """Write a log; in a process of its own, so that its memory is nobody else's."""
    import bench_data

    path, n = Path(folder), [int(x) for x in numbers]
    ways: dict[str, Callable[[], object]] = {
        "year": lambda: bench_data.write_year(
            path, dirty=bool(n[0]), days=n[1], step_s=n[2], zones=n[3]
        ),
        "week": lambda: bench_data.write_week(path),
        "fleet": lambda: bench_data.write_fleet(path, n[0]),
    }
    work = ways[what]
    return lambda: str(work() and path)


WORK = {
    f.__name__: f
    for f in (
        *(ours_load, duckdb_load, pandas_load, pandas_read_only, ours_measures, pandas_measures),
        *(polars_measures, stages, report, same, make),
    )
}


def main() -> None:
    what, *arguments = sys.argv[1:]
    work = WORK[what](*arguments)
    clock, used = time.perf_counter(), time.process_time()
    made = work()
    taken = {
        "clock_s": time.perf_counter() - clock,
        "cpu_s": time.process_time() - used,
        "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }
    print(json.dumps(taken | {"made": made}))


if __name__ == "__main__":
    main()
