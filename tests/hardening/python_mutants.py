"""The counting of rows and the findings bent in one place at a time: do their tests notice?

python -m tests.hardening.python_mutants --number 300              (make mutate-python)
python -m tests.hardening.python_mutants --module pipeline/findings/short_cycling.py --number 50

Comparisons, numbers, `and`, `or`, `not`, sums, `min`, `max`, `any`, `all`, true and false. Each is
tried in a child of its own that reads the module bent and runs the tests that name it, until one
fails or time is up. Texts are left alone: what is said is held by other tests.
"""

from __future__ import annotations

import argparse
import ast
import collections
import importlib.machinery
import os
import random
import re
import resource
import signal
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
FINDINGS = ROOT / "pipeline" / "findings"
# What counts rows as read, loaded, rejected and repeated, and the tests that see it.
ACCOUNTING = [
    ROOT / "pipeline" / "ingest" / f"{name}.py"
    for name in ("accounts", "file_reading", "rows", "leftover_rows", "merge", "store_tables")
]
ACCOUNTING_TESTS = ("tests/test_ingest.py", "tests/test_ingest_lines.py", "tests/test_cli_load.py")
CHANNELS = ROOT / "tests" / "test_channel_checks.py"
MAX_CPU_S = 60
# A part that most findings share is tried on so many files of tests; more might tell what lives.
MOST_TESTS = 6
NOTICED, ALIVE = "noticed", "alive"

_OTHER: dict[type, type] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.And: ast.Or,
    ast.Or: ast.And,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
_NAMES = {"min": "max", "max": "min", "any": "all", "all": "any"}


@dataclass(frozen=True)
class Bend:
    """One place of a module that is bent: which one of the walk, and what is done there."""

    module: Path
    number: int
    line: int
    kind: str
    what: str


def bends(module: Path) -> list[Bend]:
    """Every way to bend a module in one place."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    return [
        Bend(module, number, getattr(node, "lineno", 0), kind, what)
        for number, (node, kind, what, _) in enumerate(_places(tree))
    ]


def bent_tree(bend: Bend) -> ast.Module:
    """The module with that place bent."""
    tree = ast.parse(bend.module.read_text(encoding="utf-8"))
    for number, (_, _, _, change) in enumerate(_places(tree)):
        if number == bend.number:
            change()
            return ast.fix_missing_locations(tree)
    raise IndexError(bend.number)


def _places(tree: ast.Module) -> Iterator[tuple[ast.AST, str, str, Any]]:
    """Each place in turn: the node, the kind of bend, what it does, and a call that does it."""
    left_alone = _annotations(tree)
    for node in ast.walk(tree):
        if node in left_alone:
            continue
        if isinstance(node, ast.Compare):
            for k, op in enumerate(node.ops):
                yield _swap(node, "comparison", node.ops, k, op)
        elif isinstance(node, ast.BoolOp):
            yield _set(node, "predicate", "op", node.op)
        elif isinstance(node, ast.BinOp) and type(node.op) in _OTHER:
            if not any(_is_text(side) for side in (node.left, node.right)):
                yield _set(node, "sum", "op", node.op)
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            yield node, "predicate", "not -> nothing", _undo(node)
        elif isinstance(node, ast.Constant):
            if isinstance(node.value, bool):
                new: Any = not node.value
            elif isinstance(node.value, int | float):
                new = node.value + 1
            else:
                continue
            yield node, "constant", f"{node.value} -> {new}", _value(node, new)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            name = node.func
            if name.id in _NAMES:
                what = f"{name.id} -> {_NAMES[name.id]}"
                yield node, "function", what, lambda n=name: setattr(n, "id", _NAMES[n.id])


def _swap(
    node: ast.AST, kind: str, ops: list[Any], k: int, op: ast.AST
) -> tuple[ast.AST, str, str, Any]:
    new = _OTHER[type(op)]

    def change() -> None:
        ops[k] = new()

    return node, kind, f"{type(op).__name__} -> {new.__name__}", change


def _set(node: ast.AST, kind: str, field: str, op: ast.AST) -> tuple[ast.AST, str, str, Any]:
    new = _OTHER[type(op)]
    what = f"{type(op).__name__} -> {new.__name__}"
    return node, kind, what, lambda: setattr(node, field, new())


def _undo(node: ast.UnaryOp) -> Any:
    def change() -> None:  # twice: the same truth as without
        node.operand = ast.UnaryOp(ast.Not(), node.operand)

    return change


def _value(node: ast.Constant, new: Any) -> Any:
    return lambda: setattr(node, "value", new)


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.JoinedStr) or (
        isinstance(node, ast.Constant) and isinstance(node.value, str | bytes)
    )


def _annotations(tree: ast.Module) -> set[ast.AST]:
    """What stands in annotations and in the making of dataclasses and caches, which run nothing."""
    roots: list[ast.AST | None] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.arg | ast.AnnAssign):
            roots.append(node.annotation)
        elif isinstance(node, ast.FunctionDef):
            roots += [node.returns, *node.decorator_list]
        elif isinstance(node, ast.ClassDef):
            roots += node.decorator_list
    return {inner for root in roots if root is not None for inner in ast.walk(root)}


def tests_of(module: Path) -> list[str]:
    """The tests that see a module: of a finding, those that name it or what it is a part of."""
    if module in ACCOUNTING:
        return list(ACCOUNTING_TESTS)
    names = {module.stem}
    if module.stem.startswith("_"):
        users = [
            p.stem
            for p in FINDINGS.glob("*.py")
            if re.search(rf"\b{module.stem}\b", p.read_text("utf-8"))
        ]
        names |= set(users)
    codes = {n.replace("_", "-") for n in names if not n.startswith("_")}
    word = re.compile(r"\b(" + "|".join(sorted(names | codes)) + r")\b")
    seen = [
        p
        for p in [*sorted((ROOT / "tests").glob("findings/test_*.py")), CHANNELS]
        if p.stem.removeprefix("test_") in {n.removeprefix("_") for n in names}
        or word.search(p.read_text(encoding="utf-8"))
    ]
    own = [p for p in seen if p.stem == f"test_{module.stem.removeprefix('_')}"]
    seen.sort(key=lambda p: len(word.findall(p.read_text(encoding="utf-8"))), reverse=True)
    named = [*own, *(p for p in seen if p not in own)][:MOST_TESTS]
    assert named, f"no test names {module}"
    return [str(p.relative_to(ROOT)) for p in named]


def outcome(bend: Bend) -> str:
    """Whether the module's tests notice the bend; a child that is ended by its limits does."""
    sys.stdout.flush()
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (MAX_CPU_S, MAX_CPU_S))
            signal.alarm(20 * MAX_CPU_S)
            with Path(os.devnull).open("w", encoding="utf-8") as nowhere:
                os.dup2(nowhere.fileno(), 1)
                os.dup2(nowhere.fileno(), 2)
            _read_bent(bend)
            import pytest

            quiet = ["-x", "-q", "--no-header", "-p", "no:cacheprovider", "-p", "no:xdist"]
            code = int(pytest.main([*quiet, *tests_of(bend.module)]))
        except BaseException:
            code = 1
        finally:
            os._exit(code)
    _, status = os.waitpid(pid, 0)
    return ALIVE if os.waitstatus_to_exitcode(status) == 0 else NOTICED


def _read_bent(bend: Bend) -> None:
    """From here on the module is read as bent."""
    code = compile(bent_tree(bend), str(bend.module), "exec")
    usual = importlib.machinery.SourceFileLoader.get_code

    def get_code(loader: Any, name: str) -> Any:
        return code if Path(loader.path) == bend.module else usual(loader, name)

    importlib.machinery.SourceFileLoader.get_code = get_code  # type: ignore[method-assign]


def main() -> int:
    """Bend many places and say, by kind, how many were noticed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--number", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--of", choices=("accounting", "findings"))
    parser.add_argument("--module", type=Path)
    given = parser.parse_args()
    import pandas  # noqa: F401  what every child needs is loaded once; nothing of ours is
    import pytest  # noqa: F401

    findings = [p for p in sorted(FINDINGS.glob("*.py")) if p.stem != "__init__"]
    modules = {"accounting": ACCOUNTING, "findings": findings}.get(given.of, ACCOUNTING + findings)
    if given.module:
        modules = [given.module.resolve()]
    everything = [bend for module in modules for bend in bends(module)]
    chosen = random.Random(given.seed).sample(everything, min(given.number, len(everything)))
    counts: collections.Counter[tuple[str, str]] = collections.Counter()
    for bend in chosen:
        what = outcome(bend)
        counts[bend.kind, what] += 1
        counts["accounting" if bend.module in ACCOUNTING else "findings", what] += 1
        if what == ALIVE:
            place = f"{bend.module.relative_to(ROOT)}:{bend.line}"
            print(f"alive  {place}  {bend.kind}: {bend.what}", flush=True)
    for kind in sorted({k for k, _ in counts}):
        print(f"{kind:12}{counts[kind, NOTICED]:5} noticed{counts[kind, ALIVE]:5} alive")
    n = len(chosen)
    n_noticed = sum(counts[k, NOTICED] for k in ("accounting", "findings"))
    print(f"{n} of {len(everything):,} bends, {n_noticed / max(n, 1):.1%} noticed")
    return 0


if __name__ == "__main__":
    sys.exit(main())
