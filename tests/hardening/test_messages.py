"""Every message that a user can cause says where, what was found and what would be right."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ERRORS = {"InputError", "StoreError", "UserError"}
MODULES = [p for d in ("pipeline", "reports") for p in sorted((ROOT / d).rglob("*.py"))]
CALLS = [
    (f"{path.relative_to(ROOT)}:{node.lineno}", node)
    for path in MODULES
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    if isinstance(node, ast.Call)
    and isinstance(node.func, ast.Name)
    and node.func.id in ERRORS
    and node.args
]
# What was found is told by the sentence itself where something is not there.
ABSENT = (" no ", "nothing", "not logged", "already there", "already", "needs")


def lacks(call: ast.Call) -> str:
    """What a message leaves out: where or what was found, and what would be right."""
    given = {k.arg for k in call.keywords}
    if None in given:  # passed on from a message that is looked at by itself
        return ""
    what = ast.unparse(call.args[0])
    if not given & {"expected", "hint"}:
        return "what would be right, or the next step"
    if not given & {"file", "found"} and not any(word in what for word in (*ABSENT, "is made for")):
        return "where, or what was found"
    if not given & {"found", "line"} and not any(word in what for word in (*ABSENT, "is made for")):
        return "what was found"
    return ""


def test_there_are_messages_to_look_at() -> None:
    assert len(CALLS) > 80 and len({place.split(":")[0] for place, _ in CALLS}) > 25


@pytest.mark.parametrize(
    ("text", "lack"),
    [
        ("InputError('the date is not one', file=f, line=3, found=x, expected='2026-01-14')", ""),
        ("InputError('there is no such file', file=f, expected='an export')", ""),
        ("InputError('the date is not one', file=f, found=x)", "what would be right"),
        ("InputError('the date is not one', file=f, expected='2026-01-14')", "what was found"),
        ("InputError('the date is not one', expected='2026-01-14')", "where"),
    ],
)
def test_a_message_that_lacks_something_is_told(text: str, lack: str) -> None:
    call = ast.parse(text, mode="eval").body
    assert isinstance(call, ast.Call)
    assert lacks(call).startswith(lack) and bool(lacks(call)) == bool(lack)


def test_every_message_says_where_what_and_how_to_mend_it() -> None:
    assert {place: lack for place, call in CALLS if (lack := lacks(call))} == {}
