"""The SQL of the stages bent in one place at a time: do the hand-made cases notice?

python -m tests.hardening.sql_mutants --each 6            (make mutate)
python -m tests.hardening.sql_mutants --table measure.cycle --each 1000

Operators, constants, kinds of joins, predicates, functions. A mutant that the database does not
take is none. Those that cannot change an answer (equal_bends.py) are counted apart and not tried.
What is left alive is printed with its line: a case is missing, or nothing tells it.
"""

from __future__ import annotations

import argparse
import collections
import random
import re
import sys
import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import duckdb

from pipeline.errors import StageError
from pipeline.stages import Stage, run
from pipeline.store import connect_working
from tests.conftest import Bench, instant_of
from tests.hardening.equal_bends import BY_FORM, ONE_BY_ONE
from tests.test_sql_cases import CASE_FOLDERS, beside_a_neighbour, compared, load_case, read_rows

# What is bent: kind -> (pattern, what stands there instead). Names of types and casts are no
# constants, and what stands in comments and texts is left alone.
BENDS: dict[str, tuple[tuple[str, str], ...]] = {
    "operator": (
        (r">=", ">"),
        (r"<=", "<"),
        (r"(?<![<>=!])>(?![=>])", ">="),
        (r"(?<![<>=!-])<(?![=>])", "<="),
        (r"(?<![<>=!:])=(?![>=])", "<>"),
        (r"<>", "="),
        (r"(?<= )\+(?= )", "-"),
        (r"(?<= )-(?= )", "+"),
        (r"(?<= )\*(?= )", "+"),
        (r"(?<= )/(?= )", "*"),
    ),
    "constant": (
        # of a sum of microseconds told in seconds: one more is less than cases compare to
        (r"\b0(?=\)+::double / 1e6)", "1000000"),
        (r"(?!0\)+::double / 1e6)(?<![\w.:$])(?<!\de-)\d+(?:\.\d+)?(?![\w.])", "other"),
        (r"\btrue\b", "false"),
        (r"\bfalse\b", "true"),
    ),
    "join": (
        (r"\bleft join\b", "join"),
        (r"(?<!left )(?<!cross )(?<!semi )(?<!anti )\bjoin\b", "left join"),
        (r"\basof left join\b", "asof join"),
        (r"\bsemi join\b", "anti join"),
        (r"\banti join\b", "semi join"),
        (r"\bunion all\b", "union"),
    ),
    "predicate": (
        (r"\band\b", "or"),
        (r"\bor\b", "and"),
        (r"\bis null\b", "is not null"),
        (r"\bis not null\b", "is null"),
        (r"\bnot exists\b", "exists"),
        (r"\bwhere\b(?=\s)", "where true or"),
        (r"\bhaving\b(?=\s)", "having true or"),
        (r"(?<!is )\bnot\b(?! exists)(?! in)", ""),
    ),
    "function": (
        (r"\bmin\(", "max("),
        (r"\bmax\(", "min("),
        (r"\bleast\(", "greatest("),
        (r"\bgreatest\(", "least("),
        (r"\blag\(", "lead("),
        (r"\blead\(", "lag("),
        (r"\bsum\(", "max("),
        (r"\bfloor\(", "ceil("),
        (r"\babs\(", "("),
    ),
}
_LEFT_ALONE = re.compile(r"/\*.*?\*/|--[^\n]*|'(?:[^']|'')*'|\"[^\"]*\"", re.S)


@dataclass(frozen=True)
class Mutant:
    """A stage's SQL with one place bent."""

    kind: str
    line: int
    what: str
    sql: str
    is_equal: bool = False


def mutants(sql: str, stage: str = "") -> list[Mutant]:
    """Every way to bend a stage's SQL in one place.

    stage : its key, by which bends that cannot change an answer are known
    """
    plain = _LEFT_ALONE.sub(lambda found: re.sub(r"[^\n]", "\0", found[0]), sql)
    found = []
    equal = {(at.start("at"), what) for text, what, _ in BY_FORM for at in re.finditer(text, plain)}
    lines = [line.strip() for line in sql.split("\n")]
    for kind, bends in BENDS.items():
        for pattern, instead in bends:
            for at in re.finditer(pattern, plain):
                new = _other(at[0]) if instead == "other" else instead
                what = f"{at[0]} -> {new or 'nothing'}"
                bent = sql[: at.start()] + new + sql[at.end() :]
                line = sql.count("\n", 0, at.start()) + 1
                here = " ".join(lines[line - 1 : line + 2])
                is_equal = (at.start(), what) in equal or any(
                    stage == of and bend == what and here.startswith(text)
                    for of, text, bend, _ in ONE_BY_ONE
                )
                found.append(Mutant(kind, line, what, bent, is_equal))
    return found


def _other(number: str) -> str:
    """One more, or twice as much where one more is next to nothing: a day in microseconds."""
    value = float(number)
    return f"{value * 2:.0f}" if value >= 10_000 else f"{value + 1:g}"


def _all_of(stage: Stage) -> list[Mutant]:
    return mutants(stage.sql or "", stage.key)


def is_taken(con: duckdb.DuckDBPyConnection, mutant: Mutant) -> bool:
    """Whether the database takes it as SQL of tables that are there."""
    try:
        con.execute(f"explain {mutant.sql}")
    except (duckdb.ParserException, duckdb.BinderException, duckdb.CatalogException):
        return False
    except duckdb.Error:
        return True
    return True


def survivors(
    bench: Bench, table: str, chosen: Iterable[Mutant] | None, rng: random.Random, each: int
) -> tuple[list[Mutant], list[Mutant]]:
    """Mutants of one table's stage that were tried, and those that no case noticed."""
    stage = bench.stages[table]
    assert stage.sql is not None
    tried: list[Mutant] | None = None
    alive: list[Mutant] = []
    for folder in (f for f in CASE_FOLDERS if f.parent.name == table):
        given = load_case(folder, instant_of)
        sites = {r["site_id"] for r in given["run.window"]}
        expected = read_rows(folder / "expected.csv", table, instant_of, False)
        _fill(bench, stage, beside_a_neighbour(given))
        if tried is None:
            everything = list(chosen) if chosen is not None else _all_of(stage)
            everything = [m for m in everything if not m.is_equal]
            rng.shuffle(everything)
            tried = []
            for mutant in everything:
                if len(tried) < each and is_taken(bench.con, mutant):
                    tried.append(mutant)
            alive = list(tried)
        alive = [m for m in alive if _is_unnoticed(bench, stage, m, expected, sites)]
    return tried or [], alive


def _fill(bench: Bench, stage: Stage, given: dict[str, list[dict[str, Any]]]) -> None:
    for read in stage.reads:
        if read == "run.threshold":
            own = {
                r["site_id"]: {k: v for k, v in r.items() if k != "site_id"} for r in given[read]
            }
            bench.fill_thresholds(own)
        else:
            bench.fill(read, given.get(read, []))


def _is_unnoticed(
    bench: Bench, stage: Stage, mutant: Mutant, expected: list[dict[str, Any]], sites: set[str]
) -> bool:
    try:
        run(bench.con, [replace(stage, sql=mutant.sql)])
        found, wanted = compared(bench.rows(stage.table), expected, sites)
    except (duckdb.Error, StageError):
        return False
    return found == wanted


def main() -> int:
    """Bend many stages and say, by kind, how many were noticed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=6, help="mutants of each table")
    parser.add_argument("--table")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    given = parser.parse_args()
    rng = random.Random(given.seed)
    counts: collections.Counter[tuple[str, str]] = collections.Counter()
    n_equal = 0
    began = time.monotonic()
    names = sorted({f.parent.name for f in CASE_FOLDERS})
    rng.shuffle(names)
    with connect_working() as con:
        bench = Bench(con)
        for table in [given.table] if given.table else names:
            if bench.stages[table].sql is None or time.monotonic() - began > given.seconds:
                continue
            tried, alive = survivors(bench, table, None, rng, given.each)
            n_equal += sum(m.is_equal for m in _all_of(bench.stages[table]))
            for mutant in tried:
                counts[mutant.kind, "alive" if mutant in alive else "noticed"] += 1
            for mutant in alive:
                place = f"{bench.stages[table].key}.sql:{mutant.line}"
                print(f"alive  {place}  {mutant.kind}: {mutant.what}", flush=True)
    n = n_noticed = 0
    for kind in BENDS:
        noticed, alive_count = counts[kind, "noticed"], counts[kind, "alive"]
        n, n_noticed = n + noticed + alive_count, n_noticed + noticed
        print(f"{kind:12}{noticed:5} noticed{alive_count:5} alive")
    print(f"{n} mutants, {n_noticed / max(n, 1):.1%} noticed; {n_equal} more are equal")
    return 0


if __name__ == "__main__":
    sys.exit(main())
