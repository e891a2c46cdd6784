"""A finding that needs so many hours of heat or cooling is judged from just so many on."""

import pytest

from pipeline.findings import rules
from pipeline.thresholds import THRESHOLDS

CODES = [r.code for r in rules() if "judged_min_h" in r.declaration.thresholds]
LEAST = THRESHOLDS["judged_min_h"].value
NO_ANSWER = "cannot tell"


def result(build, judge, code, hours):
    return judge(code, build(hours={(mode, 1, "1"): h for mode, h in hours.items()}))[0].result


@pytest.mark.parametrize("mode", ["heating", "cooling"])
@pytest.mark.parametrize("code", CODES)
def test_just_enough_is_enough(build, judge, code, mode):
    more = {"heating": 50.0, "cooling": 50.0}
    little, enough = (result(build, judge, code, more | {mode: LEAST + d}) for d in (-0.01, 0.01))
    if little == NO_ANSWER != enough:
        assert result(build, judge, code, more | {mode: LEAST}) == enough


def test_some_findings_need_so_much(build, judge):
    none = {"heating": 0.01, "cooling": 0.01}
    assert sum(result(build, judge, code, none) == NO_ANSWER for code in CODES) > 5
