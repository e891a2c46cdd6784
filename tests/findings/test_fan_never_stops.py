"""Fan never stops: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import MINUTE

CODE = "fan-never-stops"
ROLES = ["output_g", "static_pressure"]


def idle(at, day, seen_s=3600.0, running_s=3600.0, **changes):
    ts = at(day, "02:00")
    return {
        "start_ts": ts,
        "end_ts": ts + 60 * MINUTE,
        "length_s": 3600.0,
        "seen_s": seen_s,
        "running_s": running_s,
        "static_inwc": 0.2,
        "evidence": "static_pressure",
        "in_visit": False,
    } | changes


def site(build, rows, **more):
    return build({"interval.idle_blower": rows}, roles=more.pop("roles", ROLES), **more)


@pytest.mark.parametrize(("running_s", "result"), [(2879.0, "not found"), (2880.0, "found")])
def test_at_the_share(build, judge, at, running_s, result):
    assert judge(CODE, site(build, [idle(at, 0, running_s=running_s)]))[0].result == result


@pytest.mark.parametrize(("seen_s", "result"), [(1799.0, "cannot tell"), (1800.0, "found")])
def test_at_the_least_time(build, judge, at, seen_s, result):
    rows = [idle(at, 0, seen_s, seen_s)]
    assert judge(CODE, site(build, rows))[0].result == result


@pytest.mark.parametrize(("running_s", "always"), [(3527.0, False), (3528.0, True)])
def test_a_limit_lets_it_stop_in_between(build, judge, at, running_s, always):
    # 98 % of 3600 s is 3528 s
    _, finding = judge(CODE, site(build, [idle(at, 0, running_s=running_s)]))
    limit = next(c for c in finding.causes if "own limit" in c.cause)
    assert ("lets it stop in between" in limit.because) is always


def test_sentence(build, judge, at):
    judged, finding = judge(CODE, site(build, [idle(at, d) for d in range(3)]))
    assert judged.why == (
        "The fan never stops: by static the blower ran 100 % of 3 hours in which no output of "
        "heat, cooling or fan was on."
    )
    assert (finding.severity, finding.certainty) == ("plan", "likely")


def test_its_own_contact_shows_it_and_rules_the_zero_out(build, judge, at):
    rows = [idle(at, 0, evidence="blower_run")]
    _, finding = judge(CODE, site(build, rows, roles=["output_g", "blower_run"]))
    assert finding.certainty == "shown"
    assert any("static sensor's zero" in text for text in finding.ruled_out)


def test_cannot_tell(build, judge, at):
    assert judge(CODE, site(build, [idle(at, 0, in_visit=True)]))[0].result == "cannot tell"
    assert judge(CODE, site(build, [idle(at, 0)], roles=["output_g"]))[0].result == "cannot tell"
