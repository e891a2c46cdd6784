"""The SQL mutator bends what it should, leaves texts alone, and the cases notice a bent stage."""

from __future__ import annotations

import random
from typing import Any

from tests.hardening.equal_bends import BY_FORM, ONE_BY_ONE
from tests.hardening.sql_mutants import BENDS, is_taken, mutants, survivors

SQL = """-- one row per > 5 things
/* where = 1 */
select 'a >= 3 and b' as t, greatest(x, 10) as y
from a left join b on a.i = b.i
where x >= 10 and not z
"""


def test_each_place_is_bent_once_and_texts_and_comments_are_left_alone() -> None:
    found = {(m.kind, m.line, m.what) for m in mutants(SQL)}
    assert found == {
        ("function", 3, "greatest( -> least("),
        ("constant", 3, "10 -> 11"),
        ("join", 4, "left join -> join"),
        ("operator", 4, "= -> <>"),
        ("operator", 5, ">= -> >"),
        ("constant", 5, "10 -> 11"),
        ("predicate", 5, "where -> where true or"),
        ("predicate", 5, "and -> or"),
        ("predicate", 5, "not -> nothing"),
    }
    for mutant in mutants(SQL):
        assert mutant.sql != SQL and mutant.sql.splitlines()[:2] == SQL.splitlines()[:2]


def test_every_kind_of_bend_is_found_in_the_stages(bench: Any) -> None:
    texts = [s.sql for s in bench.stages.values() if s.sql is not None]
    kinds = {m.kind for text in texts[:40] for m in mutants(text)}
    assert kinds == set(BENDS)


def test_every_bend_that_is_said_to_be_equal_is_one_of_a_stage(bench: Any) -> None:
    stages = {s.key: s.sql for s in bench.stages.values() if s.sql is not None}
    said = [(of, text, what) for of, text, what, _ in ONE_BY_ONE]
    assert len(said) == len(set(said))
    for of, text, what in said:
        fits = [m for m in mutants(stages[of], of) if m.what == what and m.is_equal]
        bare = [" ".join(x.strip() for x in stages[of].split("\n")[m.line - 1 :][:3]) for m in fits]
        assert any(line.startswith(text) for line in bare), (of, text, what)
    for _, what, reason in BY_FORM:
        assert reason and any(
            m.what == what and m.is_equal for of, sql in stages.items() for m in mutants(sql)
        ), what


def test_cases_notice_most_of_a_bent_stage_and_all_of_it_when_nothing_is_left(bench: Any) -> None:
    tried, alive = survivors(bench, "measure.heat_day", None, random.Random(1), 12)
    assert len(tried) == 12 and len(alive) < 6
    assert all(is_taken(bench.con, m) for m in tried)
    sql = bench.stages["measure.heat_day"].sql
    nothing = [m for m in mutants(f"select * from ({sql}\n) where 1 = 1") if m.what == "= -> <>"]
    assert nothing
    tried, alive = survivors(bench, "measure.heat_day", nothing[-1:], random.Random(1), 1)
    assert len(tried) == 1 and not alive
