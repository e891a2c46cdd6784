"""The head of the page: the call, the sentence, and when it may say Clear."""

import pytest

from pipeline.findings import judge_site, verdict
from pipeline.findings._standing import inferred_error
from pipeline.result import Finding, Judged, Span

HEAT = {("heating", 1, "1"): 40.0}


def finding(code, severity, headline, about="installation", goes_with=(), aside="", **changes):
    base = {
        "code": code,
        "title": code.replace("-", " ").capitalize(),
        "severity": severity,
        "about": about,
        "certainty": "shown",
        "summary": f"{headline}.",
        "evidence": (),
        "windows": (),
        "ruled_out": (),
        "causes": (),
        "checks": (),
        "cautions": (),
        "source": "",
        "coverage": 1.0,
        "resolution_s": 10.0,
        "headline": headline,
        "aside": aside or headline,
        "goes_with": goes_with,
    }
    return Finding(**(base | changes))


def judged(result="not found", code="high-limit-trips", why="No trip in 40 hours of heat."):
    return [Judged(code, "High-limit trips", "?", result, why)]


def test_clear_says_in_how_much_and_is_no_safety_statement(build):
    v = verdict([], judged(), build(hours=HEAT))
    assert v.call == "clear"
    assert v.sentence == "None of the patterns looked for was seen in 40 hours of heat."
    assert "A clean log is not a safety check" in v.how_sure
    assert "safe" not in v.sentence
    assert v.ruled_out == ("High-limit trips: no trip in 40 hours of heat.",)


@pytest.mark.parametrize(
    ("hours", "call"),
    [
        ({("heating", 1, "1"): 5.99}, "cannot judge"),
        ({("heating", 1, "1"): 6.0}, "clear"),
        ({("heating", 1, "1"): 3.5, ("cooling", 1, "1"): 3.5}, "cannot judge"),  # of either
    ],
)
def test_clear_needs_six_hours(build, hours, call):
    v = verdict([], judged(), build(hours=hours))
    assert v.call == call
    if call == "cannot judge":
        assert v.sentence.startswith("Only ")
        assert "6 hours of either are needed" in v.sentence


@pytest.mark.parametrize(("coverage", "call"), [(0.79, "cannot judge"), (0.8, "clear")])
def test_clear_needs_coverage(build, coverage, call):
    assert verdict([], judged(), build(hours=HEAT, coverage=coverage)).call == call


def test_clear_needs_the_limit_rule_of_that_mode(build):
    site = build(hours=HEAT)
    v = verdict([], judged("cannot tell", why="Not logged: supply air."), site)
    assert v.call == "cannot judge"
    assert v.sentence == "High-limit trips cannot be judged: not logged: supply air."
    low = judged("cannot tell", "low-limit-trips")
    assert verdict([], judged() + low, site).call == "clear"  # no cooling in this log


@pytest.mark.parametrize(
    ("roles", "said"),
    [
        (["supply_temp", "return_temp"], "with heat and cooling not known"),
        (["supply_temp", "zone_call_w1"], "with heat and cooling not known"),  # asked, not run
        (["supply_temp", "output_w1", "output_y1"], "with no heat and no cooling"),
        (["supply_temp", "return_temp", "inferred_heat"], "with no heat and no cooling"),
    ],
)
def test_no_heat_is_only_said_where_heat_would_have_shown(build, roles, said):
    v = verdict([], [], build(roles=roles, hours={}, coverage=1.0))
    assert f"Looked at: 7 days {said};" in v.how_sure


def test_worst_severity_is_the_call(build):
    some = [finding("one", "watch", "one is"), finding("two", "plan", "two is")]
    assert verdict(some, [], build(hours=HEAT)).call == "plan"


def test_linked_findings_are_one_sentence(build):
    some = [
        finding("trips", "act", "it tripped 23 times", goes_with=("few", "static")),
        finding("few", "plan", "second stage came on", aside="the minimum was not kept"),
        finding("stayed", "watch", "it stayed in", goes_with=("few",)),
        finding("static", "watch", "static was high", aside="static goes up to 0.88 in. w.c."),
        finding("cycling", "watch", "short runs"),
    ]
    v = verdict(some, [], build(hours=HEAT))
    assert v.sentence == (
        "It tripped 23 times; the minimum was not kept; static goes up to 0.88 in. w.c. Also: "
        "stayed and cycling."
    )


def test_log_is_named_before_anything_is_concluded(build):
    some = [
        finding("clock", "watch", "the clock of static runs 4 min ahead", about="log"),
        finding("trips", "act", "it tripped 23 times"),
        finding("gap", "note", "logger plenum stopped for 3 h", about="log"),
    ]
    v = verdict(some, [], build(hours=HEAT))
    assert v.sentence == (
        "First the log itself: the clock of static runs 4 min ahead. It tripped 23 times."
    )
    assert v.how_sure == (
        "Trips: seen in the log; the cause is an inference. Looked at: 7 days with 40 hours of "
        "heat; outputs, calls and fan logged 100 % of the time, to 10 s. Cooling was not looked "
        "at: it was not seen to run in this log. About the log: logger plenum stopped for 3 h."
    )


def test_what_ran_in_a_visit_is_not_said_never_to_have_run(build):
    some = [finding("trips", "act", "it tripped 23 times")]
    said = verdict(some, [], build(hours=HEAT, visits=[(0, 1)])).how_sure
    assert "Cooling was not looked at: it was not seen to run in this log outside visits." in said


def test_the_head_is_two_sentences_at_the_most(build):
    some = [
        finding("clock", "watch", "the clock of static runs 4 min ahead", about="log"),
        finding("trips", "act", "it tripped 23 times"),
        finding("cycling", "watch", "short runs"),
    ]
    v = verdict(some, [], build(hours=HEAT))
    assert v.sentence == (
        "First the log itself: the clock of static runs 4 min ahead. It tripped 23 times; also "
        "cycling."
    )


def test_a_unit_keeps_its_stop_inside_a_sentence(build):
    some = [
        finding("zero", "watch", "static rests at 0.14 in. w.c.", about="log"),
        finding("static", "watch", "static goes up to 0.88 in. w.c."),
        finding("cycling", "watch", "short runs"),
    ]
    assert verdict(some, [], build(hours=HEAT)).sentence == (
        "First the log itself: static rests at 0.14 in. w.c. Static goes up to 0.88 in. w.c.; also "
        "cycling."
    )


def test_what_rests_on_a_clock_that_is_off_is_not_told_as_it_stands(build):
    """Trips compare supply air (plenum) with the panel's outputs; short cycling is all panel's."""
    clock = [
        {
            "logger": "plenum", "reference_logger": "panel", "offset_s": 420.0, "applied_s": 0.0,
            "plus_minus_s": 25.0, "n_edge": 800, "edge": "", "confidence": "shown", "why": "",
        }
    ]  # fmt: skip
    site = build({"trust.clock_offset": clock}, hours=HEAT)
    trips = [finding("high-limit-trips", "plan", "it tripped 23 times")]
    assert verdict(trips, [], site).sentence == (
        "To be judged again with the clocks put right: it tripped 23 times."
    )
    cycles = [finding("short-cycling", "watch", "143 runs were short")]
    assert verdict(cycles, [], site).sentence == "143 runs were short."
    right = build({"trust.clock_offset": [clock[0] | {"applied_s": 420.0}]}, hours=HEAT)
    assert verdict(trips, [], right).sentence == "It tripped 23 times."


def test_a_clock_that_could_not_be_compared_is_named(build):
    """Supply air's and the rooms' clocks are not told: minutes matter beside outputs for one."""
    row = {"reference_logger": "panel", "applied_s": 0.0, "n_edge": 0, "confidence": "cannot tell"}
    rows = [
        {"logger": "panel", "applied_s": 0.0, "confidence": "reference"},
        row | {"logger": "plenum"},
        row | {"logger": "rooms"},
    ]
    said = "The clock of plenum could not be compared."
    assert said in verdict([], judged(), build({"trust.clock_offset": rows}, hours=HEAT)).how_sure
    told = [rows[0], rows[1] | {"offset_s": 0.0, "confidence": "shown"}, rows[2]]
    site = build({"trust.clock_offset": told}, hours=HEAT)
    assert "could not be compared" not in verdict([], judged(), site).how_sure


def test_what_rests_on_inferred_runs_is_marked_with_its_expected_error(build):
    """Supply and return only: 31 hours in 210 starts, time good to 4 % and starts to 5 %."""
    runtime = {
        "output": "inferred_heat", "on_s": 31 * 3600.0, "n_start": 210,
        "runtime_error_frac": 0.04, "starts_error_frac": 0.05,
    }  # fmt: skip
    roles = ["supply_temp", "return_temp", "inferred_heat"]
    site = build({"measure.runtime": [runtime]}, hours=HEAT, roles=roles)
    v = verdict([finding("short-cycling", "watch", "143 runs were short")], [], site)
    assert v.sentence == "By runs that are inferred, not logged: 143 runs were short."
    assert (
        "No output was logged: inferred from supply and return temperature, heat ran 31 hours "
        "(about ±4 %) with 210 starts (about ±5 %)." in v.how_sure
    )
    assert inferred_error(site) == "run time about ±4 %, starts about ±5 %"
    assert inferred_error(build(hours=HEAT)) == ""


def test_a_fan_output_that_is_not_trusted_is_named(build, at):
    """G is logged and left out all week: nothing was known together, and not for want of a log."""
    g = {
        "channel_id": 7, "role": "output_g", "code": "state-inverted", "start_ts": at(0, "00:00"),
        "end_ts": at(7, "00:00"), "figure": 0.9, "figure_unit": "share", "n": 9, "of_n": 9,
        "is_cut": True, "reason": "the other way", "correction": "inverted = true",
    }  # fmt: skip
    none = {"figure": "conditions", "window_s": 1.0, "valid_s": 0.0, "coverage": 0.0, "missing": ""}
    site = build({"trust.problem": [g], "measure.coverage": [none]}, hours=HEAT)
    said = "utputs, calls and fan were never known together: G out logged and not to be trusted."
    v = verdict([], judged(), site)
    assert v.sentence == f"O{said}"
    assert f"; o{said}" in v.how_sure
    assert "0 %" not in v.sentence + v.how_sure


@pytest.mark.parametrize(
    ("clocks", "said"),
    [
        (["20:05", "20:40", "21:25", "20:10", "21:00"], "between 8:05 pm and 9:25 pm"),
        (["23:30", "00:40", "23:50", "00:10", "01:00"], "between 11:30 pm and 1:00 am"),
        (["20:05", "20:40", "21:25", "20:10"], ""),  # four are too few to tell
        (["18:00", "20:40", "22:01", "20:10", "21:00"], ""),  # 4 h 1 min apart
        (["18:00", "20:40", "22:00", "20:10", "21:00"], "between 6:00 pm and 10:00 pm"),
    ],
)
def test_when_it_happens(build, at, clocks, said):
    spans = tuple(Span(at(n, c), at(n, c) + 60_000_000, "") for n, c in enumerate(clocks))
    v = verdict([finding("trips", "act", "it", evidence=spans)], [], build(hours=HEAT))
    assert (said in v.how_sure) if said else ("It happened" not in v.how_sure)


def test_rules_that_lack_the_same_stand_in_one_line(build):
    some = [
        Judged("one", "First rule", "?", "cannot tell", "Not logged: supply air."),
        Judged("two", "Second rule", "?", "cannot tell", "Not logged: supply static."),
        Judged("three", "Third rule", "?", "cannot tell", "Not logged: supply air."),
    ]
    assert verdict([], some, build(hours=HEAT)).cannot_tell == (
        "First rule and third rule: not logged: supply air.",
        "Second rule: not logged: supply static.",
    )


def test_without_outputs_it_says_why_nothing_can_be_judged(build):
    site = build(roles=["supply_temp", "outdoor_temp"], hours={})
    v = verdict([], [], site)
    assert v.call == "cannot judge"
    assert v.sentence == (
        "Cannot judge: no outputs or calls were logged, so when heat ran is not known; logged were "
        "supply air and outdoor air."
    )


def test_log_findings_alone(build):
    note = [finding("gap", "note", "logger plenum stopped for 3 h", about="log")]
    v = verdict(note, judged(), build(hours=HEAT))
    assert (v.call, v.sentence) == (
        "note",
        "None of the patterns looked for was seen in 40 hours of heat.",
    )
    # nothing could be judged: the note about the log does not hide that
    assert verdict(note, judged(), build(hours={})).call == "cannot judge"


def test_quiet_site_all_rules(build):
    findings, results = judge_site(build(hours={("heating", 1, "1"): 40.0}))
    v = verdict(findings, results, build(hours={("heating", 1, "1"): 40.0}))
    assert findings == []
    assert v.call == "clear"
    assert all(text[0].isupper() and text.endswith(".") for text in v.ruled_out + v.cannot_tell)


def test_empty_log_cannot_judge(build):
    site = build(roles=[], hours={}, coverage=0.0)
    findings, results = judge_site(site)
    assert findings == []
    assert verdict(findings, results, site).call == "cannot judge"
    assert {j.result for j in results if j.code != "rejected-rows"} <= {"cannot tell", "not found"}


def test_nothing_ran(build):
    v = verdict([], [], build(hours={}))
    assert v.sentence == "Neither heat nor cooling was seen to run in this log."
