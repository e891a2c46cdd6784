"""Some hundred bent inputs of every kind are refused with a message, or wholly accounted for.

The long form is `make fuzz`; inputs it has found stand in tests/exports as cases of their own.
"""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import pytest

from pipeline.errors import InputError, UserError
from pipeline.ingest.draft import draft_site
from pipeline.ingest.exports import read_export
from pipeline.site_reader import read_site
from pipeline.terminal import shown, visible
from tests.hardening.fuzz import FAULT_VARIABLE, outcome, poor_message, run, terminal_orders
from tests.hardening.mutants import HEAVY, KINDS, bent, corpus

N_EACH = 15


def test_bent_inputs_break_nothing(tmp_path: Path) -> None:
    """In this process, as its libraries are loaded; the watched child has its own test below."""
    bad = []
    for kind in KINDS.keys() - set(HEAVY):
        for number in range(N_EACH):
            found = outcome(bent(7, number, kind), tmp_path / f"{kind}-{number}")
            if found.result == "violation":
                bad.append(f"{kind} {number}: {found.text}")
    assert not bad, "\n".join(bad)


@pytest.mark.parametrize("kind", HEAVY)
def test_much_of_it_breaks_nothing(kind: str, tmp_path: Path) -> None:
    found = outcome(bent(7, 1, kind), tmp_path / "site")
    assert found.result != "violation", found.text


def test_the_corpus_as_it_is_violates_nothing(tmp_path: Path) -> None:
    outcomes = [outcome(case, tmp_path / case.name) for case in corpus()]
    assert not [o.text for o in outcomes if o.result == "violation"]
    assert sum(o.result == "loaded" for o in outcomes) > 0.7 * len(outcomes)


def test_an_input_is_the_same_again_by_its_number() -> None:
    kinds = {bent(3, n).kind for n in range(300)}
    assert kinds >= KINDS.keys() - set(HEAVY)
    assert all(bent(3, n) == bent(3, n) for n in range(40))
    assert bent(3, 1) != bent(4, 1)


@pytest.mark.parametrize("fault", ["traceback", "rows lost", "no message"])
def test_the_check_sees_what_it_is_there_for(
    fault: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault put in on purpose is told; without this the figures of `make fuzz` mean nothing."""
    sound = next(c for c in corpus() if c.name == "crlf")
    assert outcome(sound, tmp_path / "site").result == "loaded"
    monkeypatch.setenv(FAULT_VARIABLE, fault)
    assert outcome(sound, tmp_path / "site").result == "violation"


def test_the_watch_ends_what_takes_too_long_or_too_much(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(FAULT_VARIABLE, "memory, then endless")
    (_, _, _, memory), (_, _, _, endless) = list(run(1, [0, 1]))
    assert memory.result == endless.result == "violation"
    assert "MemoryError" in memory.text and "ended with -27" in endless.text


def test_a_poor_message_is_told(tmp_path: Path) -> None:
    file = tmp_path / "t.csv"
    assert "no file" in poor_message(InputError("wrong", found="x", expected="y"), tmp_path)
    assert "right" in poor_message(InputError("wrong", file=file, found="x"), tmp_path)
    assert "found" in poor_message(InputError("wrong", file=file, expected="y"), tmp_path)
    good = InputError("wrong", file=file, line=3, found="\x1b[2J\u202e" + "9" * 10**6, expected="y")
    assert poor_message(good, tmp_path) == ""
    assert "\\u001b[2J\\u202e9" in str(good) and "(1,000,005 letters)" in str(good)


def test_what_a_terminal_would_obey_is_shown_as_its_code() -> None:
    text = "".join(map(chr, [*range(256), 0x202E, 0x2066, 0xDC80, 0x1F4A5]))
    assert terminal_orders(text) and not terminal_orders(visible(text))
    assert shown("a\n" + "b" * 5_000).endswith("b… (5,000 letters)")
    assert visible("Supply (°F)\tè\nnext 💥") == "Supply (°F)\tè\nnext 💥"


def test_a_draft_of_names_with_orders_and_line_ends_can_be_read_back(tmp_path: Path) -> None:
    names = ["Supply\x1b[2J (°F)", '"Return\nid = ""x"" (°F)"', "Room\x7f\x85\u202e (°F)"]
    rows = "".join(f"2026-01-14 10:{m:02d}:00,{m + 60},{m + 61},{m + 62}\n" for m in range(30))
    (tmp_path / "exports").mkdir()
    text = f"Time,{','.join(names)}\n{rows}"
    (tmp_path / "exports" / "a\x1b[2J\nb.csv").write_text(text, encoding="utf-8")
    (tmp_path / "site.toml").write_text(draft_site(tmp_path, "UTC"), encoding="utf-8")
    drafted = (tmp_path / "site.toml").read_text(encoding="utf-8")
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e]", drafted)
    assert read_site(tmp_path).channels[0].file == "exports/a\\u001b[2J\\nb.csv"


def test_packed_members_one_after_the_other_are_all_read_and_a_cut_one_refused(
    tmp_path: Path,
) -> None:
    path = tmp_path / "t.csv.gz"
    whole = gzip.compress(b"first\n") + gzip.compress(b"second\n")
    for content, text in ((whole, b"first\nsecond\n"), (whole + b"\0" * 9, b"first\nsecond\n")):
        path.write_bytes(content)
        assert read_export(path, tmp_path).text_bytes() == text
    for content in (whole[:-3], whole[:30], whole + b"junk"):
        path.write_bytes(content)
        with pytest.raises(UserError, match=r"the packed file is damaged"):
            read_export(path, tmp_path).text_bytes()
