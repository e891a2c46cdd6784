"""Many bent inputs through inspect and load: refused with a message, or every row accounted for.

python -m tests.hardening.fuzz --inputs 200000        (make fuzz; about half an hour of one core)
python -m tests.hardening.fuzz --only 1234            one input again, with its trace
python -m tests.hardening.fuzz --only 1234 --keep DIR and laid out as a site folder

Inputs run in a child with bounded memory, each with bounded processor time; a child that is ended
by either bound is a violation by the input that it was at.
"""

from __future__ import annotations

import argparse
import collections
import faulthandler
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
import traceback
import unicodedata
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import duckdb
import numpy as np

from pipeline.terminal import shown
from tests.hardening.mutants import Bent, bent

# What one input may take; the largest are lines of ten megabytes.
MAX_CPU_S = 20
MAX_MEMORY_BYTES = 3 << 30
MAX_MESSAGE = 8_000
MAX_ANSWER = 1_000_000
FAULT_VARIABLE = "ZONETRAIL_FUZZ_FAULT"
_BLOCK = 2_000


@dataclass(frozen=True)
class Outcome:
    """What became of one input: loaded, refused, or a violation with its text."""

    result: str
    text: str = ""


def outcome(case: Bent, folder: Path) -> Outcome:
    """What became of a bent input, read in an empty folder; nothing is written to a store."""
    from pipeline.errors import UserError

    case.write(folder)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            refused = _inspected(folder)
            return refused or _loaded(folder)
    except UserError as error:
        problem = poor_message(error, folder)
        return Outcome("violation", problem) if problem else Outcome("refused")
    except Exception:
        return Outcome("violation", traceback.format_exc(limit=-6))


def poor_message(error: Exception, folder: Path) -> str:
    """What a message lacks: the file, what was found and would be right, or its own plainness."""
    from pipeline.errors import SiteFileError

    for problem in error.problems if isinstance(error, SiteFileError) else [error]:
        text = f"{type(problem).__name__}: {problem}"
        if problem.file is None or str(folder) not in problem.file:
            return f"the message names no file: {text!r}"
        if not problem.expected and not problem.hint:
            return f"the message does not say what would be right: {text!r}"
        if problem.found is None and problem.line is None and " no " not in problem.what:
            return f"the message does not say what was found, or where: {text!r}"
        if strange := terminal_orders(text):
            return f"the message holds {strange!r}: {text!r}"
        if len(text) > MAX_MESSAGE:
            return f"a message of {len(text):,} letters: {text[:300]!r}"
    return ""


def terminal_orders(text: str) -> str:
    """The letters of a text that a terminal would obey rather than show, or could not write."""
    turns = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
    return "".join(
        sorted(
            {c for c in text if unicodedata.category(c) in ("Cc", "Cs") or c in turns}
            - {"\n", "\t"}
        )
    )


def _inspected(folder: Path) -> Outcome | None:
    """A violation of looking at the exports, if any: a look tells problems and raises none."""
    from pipeline.cli.inspect import as_text
    from pipeline.ingest.draft import draft, site_id_of
    from pipeline.ingest.look import look_at_folder

    looks = look_at_folder(folder)
    said = shown("\n".join(map(as_text, looks)))
    if len(said) > MAX_ANSWER:
        return Outcome("violation", f"inspect says {len(said):,} letters")
    tomllib.loads(draft(looks, site_id_of(folder)))
    return None


def _loaded(folder: Path) -> Outcome:
    """The load of a folder without its being written to disk; what does not add up, if anything."""
    from pipeline.cli.load import as_text
    from pipeline.ingest import site_store
    from pipeline.ingest.load import load_site

    made: dict[str, object] = {}
    fault = os.environ.get(FAULT_VARIABLE)
    if fault is not None:
        _put_in(fault)

    def kept(path: Path, tables: dict, originals: object, *rest: object) -> None:
        made.update(tables)
        originals()  # type: ignore[operator]

    written, site_store.write_store = site_store.write_store, kept
    try:
        report = load_site(folder, connection=_connection())
    finally:
        site_store.write_store = written
    if len(said := shown(as_text(report))) > MAX_ANSWER:
        return Outcome("violation", f"load says {len(said):,} letters")
    for f in report.files:
        if fault == "rows lost":
            f = replace(f, n_loaded=f.n_loaded - 1)
        if f.n_read != f.n_loaded + f.n_rejected + f.n_repeated:
            return Outcome("violation", f"rows do not add up: {f}")
        parts = (f.n_preamble, f.n_header, f.n_read, f.n_blank, f.n_footer, f.n_continued)
        if f.n_lines != sum(parts):
            return Outcome("violation", f"lines do not add up: {f}")
    return Outcome("violation", problem) if (problem := _odd_tables(made)) else Outcome("loaded")


@cache
def _connection() -> duckdb.DuckDBPyConnection:
    from pipeline.store import connect_working

    return connect_working()


def _put_in(fault: str) -> None:
    """A fault put in on purpose, to see that the watch tells it."""
    from pipeline.errors import InputError

    if fault == "traceback":
        raise KeyError("put in")
    if fault == "no message":
        raise InputError("put in")
    if fault.startswith("memory"):
        os.environ[FAULT_VARIABLE] = fault.rpartition(" ")[2]
        bytearray(MAX_MEMORY_BYTES)
    while fault == "endless":
        pass


def _odd_tables(made: dict) -> str:
    """What a store of these tables would hold that no store may."""
    for name, value, keys in (
        ("reading", "value", ("channel_id", "ts")),
        ("state", None, ("channel_id", "start_ts")),
    ):
        table = made[name]
        if value is not None and not np.isfinite(table[value].to_numpy()).all():
            return f"{name} holds a value that is no number"
        channel, ts = (table[k].to_numpy() for k in keys)
        same = np.diff(channel) == 0
        if (np.diff(channel) < 0).any() or (np.diff(ts)[same] <= 0).any():
            return f"{name} is not in order of channel and instant, each once"
    state = made["state"]
    if (state["end_ts"].to_numpy() < state["start_ts"].to_numpy()).any():
        return "a state ends before it starts"
    files = made["file"].to_pylist()
    counted = collections.Counter(r for r in made["reject"]["file_id"].to_pylist())
    for row in files:
        n_kept, n_told = counted[row["file_id"]], row["n_rejected"] + row["n_bad_cells"]
        if n_kept != n_told:
            return f"{row['path']}: {n_kept} rejects are kept, {n_told} are counted"
    return ""


# --- the child that reads, and who watches it --------------------------------------------------


def _child(seed: int, numbers: list[int], at: Path) -> None:
    """Read the inputs of these numbers; one line of JSON each; `at` holds the one in hand."""
    import pipeline.ingest.load  # noqa: F401  its libraries are no part of an input's memory

    resource.setrlimit(resource.RLIMIT_AS, (MAX_MEMORY_BYTES, MAX_MEMORY_BYTES))
    faulthandler.register(signal.SIGPROF, chain=True)
    signal.signal(signal.SIGPROF, signal.SIG_DFL)
    faulthandler.register(signal.SIGPROF, chain=True)
    root = Path(tempfile.mkdtemp(prefix="bent-", dir=at.parent))
    for number in numbers:
        at.write_text(str(number), encoding="utf-8")
        case = bent(seed, number)
        folder = root / "site"
        signal.setitimer(signal.ITIMER_PROF, 1 if FAULT_VARIABLE in os.environ else MAX_CPU_S)
        result = outcome(case, folder)
        signal.setitimer(signal.ITIMER_PROF, 0)
        shutil.rmtree(folder, ignore_errors=True)
        print(json.dumps([number, case.kind, case.name, result.result, result.text]), flush=True)
    print(json.dumps(["peak", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss]), flush=True)


def run(seed: int, numbers: list[int]) -> Iterator[tuple[int, str, str, Outcome]]:
    """Outcomes of the inputs of these numbers, from children that are replaced when they end."""
    room = "/dev/shm" if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(prefix="zonetrail-fuzz-", dir=room) as folder:
        at = Path(folder) / "at"
        waiting = list(numbers)
        while waiting:
            block, waiting = waiting[:_BLOCK], waiting[_BLOCK:]
            command = [
                sys.executable,
                "-m",
                "tests.hardening.fuzz",
                "--child",
                str(at),
                "--seed",
                str(seed),
            ]
            done = subprocess.run(
                [*command, "--child", str(at)],
                input=json.dumps(block),
                capture_output=True,
                text=True,
                env={**os.environ, "TMPDIR": folder},
                check=False,
            )
            for line in done.stdout.splitlines():
                said = json.loads(line)
                if said[0] != "peak":
                    number, kind, name, result, text = said
                    yield number, kind, name, Outcome(result, text)
            if done.returncode != 0:
                number = int(at.read_text(encoding="utf-8")) if at.is_file() else block[0]
                case = bent(seed, number)
                ended = f"ended with {done.returncode}\n{done.stderr[-3_000:]}"
                yield number, case.kind, case.name, Outcome("violation", ended)
                waiting = block[block.index(number) + 1 :] + waiting


def main() -> int:
    """Read many inputs and say, by kind, what became of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=200_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--child", type=Path)
    given = parser.parse_args()
    if given.child is not None:
        _child(given.seed, json.load(sys.stdin), given.child)
        return 0
    if given.only is not None:
        case = bent(given.seed, given.only)
        with tempfile.TemporaryDirectory() as folder:
            found = outcome(case, given.keep or Path(folder) / "site")
        print(f"{given.only}: {case.kind} of {case.name}: {found.result}\n{found.text}")
        return int(found.result == "violation")
    began = time.perf_counter()
    counts: dict[str, collections.Counter[str]] = {}
    bad = []
    numbers = list(range(given.first, given.first + given.inputs))
    for number, kind, name, found in run(given.seed, numbers):
        counts.setdefault(kind, collections.Counter())[found.result] += 1
        if found.result == "violation":
            bad.append((number, kind, name, found.text))
            print(f"--- {number}: {kind} of {name}\n{found.text}", flush=True)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    results = ("loaded", "refused", "violation")
    print(f"{'kind':14}" + "".join(f"{r:>12}" for r in results))
    for kind, counted in [
        *sorted(counts.items()),
        ("all", sum(counts.values(), collections.Counter())),
    ]:
        print(f"{kind:14}" + "".join(f"{counted[r]:12,}" for r in results))
    print(
        f"{used.ru_utime + used.ru_stime:.0f} s of processor, "
        f"{time.perf_counter() - began:.0f} s by the clock; "
        f"at most {used.ru_maxrss / 1024:.0f} MB in memory"
    )
    return int(bool(bad))


if __name__ == "__main__":
    sys.exit(main())
