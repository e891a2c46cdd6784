"""What holds for all findings alike: cannot tell, clocks, ranking, order, one headline a fault."""

from dataclasses import dataclass, field

import pytest

from pipeline.findings import rules, tables_needed
from pipeline.findings._base import (
    CannotTell,
    Cause,
    Check,
    Declaration,
    Found,
    NotFound,
    Weighed,
    Weight,
)
from pipeline.findings._judge import Rule, judge_rules
from pipeline.findings._states import pattern


def cause(text, weight, because="said the log"):
    return Cause(text, "always", lambda facts: Weighed(weight, because))


def declaration(**changes):
    base = {
        "title": "Made up",
        "question": "Is it made up?",
        "needs_tables": (),
        "causes": (cause("a cause", Weight.OPEN),),
        "check_next": (Check("panel", "look", "good", "bad"),),
        "source": "none",
    }
    return Declaration(**(base | changes))


def rule(code, outcome, **changes):
    return Rule(code, declaration(**changes), lambda site: outcome)


def found(severity="plan", **changes):
    base = {"severity": severity, "certainty": "shown", "summary": "it is", "headline": "it is"}
    return Found(**(base | changes))


def codes(findings):
    return [f.code for f in findings]


def test_every_module_is_a_rule_and_log_comes_first():
    names = [r.code for r in rules()]
    assert set(names) >= {
        "high-limit-trips",
        "low-limit-trips",
        "equipment-cut-outs",
        "static-above-target",
        "short-cycling",
        "second-stage-too-few-zones",
        "second-stage-early",
        "second-stage-stayed-in",
        "output-chatter",
        "clock-offset",
        "logging-gap",
        "rejected-rows",
    }
    abouts = [r.declaration.about for r in rules()]
    assert abouts == sorted(abouts, key=lambda about: about != "log")


def test_tables_needed_are_tables_that_exist():
    from pipeline.tables import tables

    assert tables_needed() <= set(tables())


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"needs_tables": ("measure.nothing",)}, "Measure.nothing was not made in this run."),
        ({"needs_roles": (("flame", "gas_valve"),)}, "Not logged: flame or gas valve."),
        (
            {"needs_roles": (("flame",), ("supply_temp",), ("voltage_24",))},
            "Not logged: flame; 24 V present.",
        ),
        ({"figure": "balance"}, "How much of the log could show it is not known."),
    ],
)
def test_missing_needs_cannot_tell(build, changes, why):
    findings, judged = judge_rules(build(), [rule("made-up", found(), **changes)])
    assert findings == []
    assert (judged[0].result, judged[0].why) == ("cannot tell", why)


def test_coverage_names_what_is_missing(build):
    site = build()
    row = {
        "figure": "staging",
        "window_s": 1.0,
        "valid_s": 0.0,
        "coverage": 0.0,
        "resolution_s": None,
        "missing": "output, zone_call",
    }
    site = build({"measure.coverage": [row]})
    _, judged = judge_rules(site, [rule("made-up", found(), figure="staging")])
    assert judged[0].why == (
        "The channels it needs were never known together, the panel's outputs and "
        "the zones' calls not logged."
    )


@pytest.mark.parametrize(("hours", "is_named"), [(83.9, False), (84.1, True)])
def test_coverage_names_what_is_logged_and_not_trusted(build, hours, is_named):
    """Of a week (168 h) more than half is cut out of G: that alone brings the rule under half."""
    lost = {"figure": "staging", "window_s": 604800.0, "valid_s": 0.0, "coverage": 0.4}
    start = build().window.start_ts
    cut = {
        "channel_id": 7, "role": "output_g", "code": "state-inverted", "is_cut": True,
        "start_ts": start, "end_ts": start + round(hours * 3.6e9), "reason": "told otherwise",
    }  # fmt: skip
    site = build(
        {
            "measure.coverage": [lost | {"resolution_s": None, "missing": ""}],
            "trust.problem": [cut, {**cut, "channel_id": 8, "role": "zone_temp", "zone": 1}],
            "channel.channel": [{"channel_id": 7, "role": "output_g", "kind": "state"}],
        }
    )
    assert site.window_s == 604800.0
    _, judged = judge_rules(site, [rule("made-up", found(), figure="staging")])
    assert ("logged and not to be trusted: G out" in judged[0].why) is is_named
    assert "temperature" not in judged[0].why


def test_causes_are_ranked_and_ruled_out_ones_leave_the_list(build):
    causes = (
        cause("open", Weight.OPEN),
        cause("against", Weight.AGAINST),
        cause("out", Weight.RULED_OUT, "it was not there"),
        Cause("not for this equipment", "never", lambda facts: None),
        cause("fits", Weight.FITS),
        cause("strong", Weight.STRONG),
        cause("open too", Weight.OPEN),
    )
    outcome = found(ruled_out=("Not that either",))
    findings, _ = judge_rules(build(), [rule("made-up", outcome, causes=causes)])
    assert [c.cause for c in findings[0].causes] == [
        "Strong.",
        "Fits.",
        "Open.",
        "Open too.",
        "Against.",
    ]
    assert findings[0].ruled_out == ("Not that either.", "Not out: it was not there.")


def test_checks_come_in_walking_order_with_names_filled_in(build):
    checks = (
        Check("unit", "rise", "in band", "low"),
        Check("thermostat", "is {zone} set?", "yes", "set it"),
        Check("panel", "static", "under 0.40 in. w.c.", "relief"),
    )
    outcome = found(fill={"zone": "Den"})
    findings, _ = judge_rules(build(), [rule("made-up", outcome, check_next=checks)])
    assert findings[0].checks == (
        "At the thermostats: is Den set? Good: yes. If not: set it.",
        "At the panel: static. Good: under 0.40 in. w.c. If not: relief.",
        "At the unit: rise. Good: in band. If not: low.",
    )


def test_same_events_are_listed_once(build):
    chosen = [rule("cause", found(), suppresses=("echo",)), rule("echo", found("act"))]
    findings, judged = judge_rules(build(), chosen)
    assert codes(findings) == ["cause"]
    assert [j.result for j in judged] == ["found", "found"]
    assert judged[1].why == "It is. The same events stand under: made up."
    # not hidden when the other was not found
    chosen = [rule("cause", NotFound("no"), suppresses=("echo",)), rule("echo", found("act"))]
    assert codes(judge_rules(build(), chosen)[0]) == ["echo"]


def test_what_belongs_together_stands_together(build):
    chosen = [
        rule("alone", found("plan")),
        rule("root", found("watch")),
        rule("symptom", found("act"), symptom_of=("root",)),
        rule("mild", found("note")),
        rule("unlinked", found("watch", linked=()), symptom_of=("root",)),
    ]
    findings, _ = judge_rules(build(), chosen)
    assert codes(findings) == ["symptom", "root", "alone", "unlinked", "mild"]
    by_code = {f.code: f for f in findings}
    assert by_code["symptom"].goes_with == ("root",)
    assert by_code["unlinked"].goes_with == ()


def test_loud_log_findings_come_first_and_quiet_ones_last(build):
    chosen = [
        rule("gap", found("note"), about="log"),
        rule("clock", found("watch"), about="log"),
        rule("trips", found("act")),
        rule("small", found("note")),
    ]
    findings, _ = judge_rules(build(), chosen)
    assert codes(findings) == ["clock", "trips", "small", "gap"]


CLOCK = {
    "logger": "static",
    "reference_logger": "panel",
    "offset_s": 240.0,
    "confidence": "shown",
    "applied_s": 0.0,
}
TWO_CLOCKS = {"needs_roles": (("static_pressure",), ("output_w1",))}


@pytest.mark.parametrize(
    ("clock", "result"),
    [
        (CLOCK, "cannot tell"),
        (CLOCK | {"applied_s": 240.0}, "not found"),
        (CLOCK | {"offset_s": 59.0}, "not found"),
        (CLOCK | {"confidence": "cannot tell"}, "not found"),
        (CLOCK | {"logger": "rooms"}, "not found"),  # another logger's clock
    ],
)
def test_clocks_that_disagree_cannot_say_not_found(build, clock, result):
    site = build({"trust.clock_offset": [clock]})
    _, judged = judge_rules(site, [rule("made-up", NotFound("none"), **TWO_CLOCKS)])
    assert judged[0].result == result


@pytest.mark.parametrize(
    ("offset_s", "result"), [(299.0, "found"), (300.0, "cannot tell"), (-1500.0, "cannot tell")]
)
def test_clocks_half_a_run_apart_find_nothing(build, offset_s, result):
    site = build({"trust.clock_offset": [CLOCK | {"offset_s": offset_s}]})
    _, judged = judge_rules(site, [rule("made-up", found(), **TWO_CLOCKS)])
    assert judged[0].result == result


def test_one_logger_alone_needs_no_other_clock(build):
    site = build({"trust.clock_offset": [CLOCK]})
    one = {"needs_roles": (("static_pressure",),)}
    _, judged = judge_rules(site, [rule("made-up", NotFound("none"), **one)])
    assert judged[0].result == "not found"
    compared = one | {"compares": ("output_w1",)}
    _, judged = judge_rules(site, [rule("made-up", NotFound("none"), **compared)])
    assert judged[0].result == "cannot tell"


def test_an_exception_in_a_rule_is_not_swallowed(build):
    def broken(site):
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        judge_rules(build(), [Rule("broken", declaration(), broken)])


def test_a_rule_that_cannot_tell_keeps_its_reason(build):
    _, judged = judge_rules(build(), [rule("made-up", CannotTell("no target was given"))])
    assert judged[0].why == "No target was given."


@dataclass
class Case:
    """Events as (stage, zones), hours by state, and what the pattern should be."""

    events: list
    hours: dict
    state: tuple
    telling: bool
    few: bool = False
    contrasts: tuple = field(default=())


@pytest.mark.parametrize(
    "case",
    [
        # 9 in 3 h of Den alone on second stage; 12 h elsewhere would have brought 36
        Case(
            [(2, "3")] * 9,
            {("heating", 2, "3"): 3.0, ("heating", 2, "1+2"): 5.0, ("heating", 1, "3"): 7.0},
            (2, None, "3"),
            True,
            True,
            (
                "none in 5 hours of second stage with other zones calling",
                "none in 7 hours of it alone on first stage",
            ),
        ),
        # one zone alone, either of two: named by number
        Case(
            [(2, "3")] * 5 + [(2, "4")] * 4,
            {("heating", 2, "3"): 2.0, ("heating", 2, "4"): 2.0, ("heating", 2, "1+2"): 6.0},
            (2, 1, None),
            True,
            True,
            ("none in 6 hours of second stage with two or more zones calling",),
        ),
        # every zone calling: a state, but not of few zones
        Case(
            [(2, "1+2+3+4")] * 6,
            {("heating", 2, "1+2+3+4"): 10.0},
            (2, None, "1+2+3+4"),
            False,
        ),
        # 7 of 10 is less than four in five; nothing else holds that many either
        Case(
            [(2, "3")] * 7 + [(1, "1+2")] * 3,
            {("heating", 2, "3"): 2.0, ("heating", 1, "1+2"): 40.0},
            (None, None, None),
            False,
        ),
        # 8 of 10 is four in five; 2 in the 40 h elsewhere, where 160 were to be expected
        Case(
            [(2, "3")] * 8 + [(1, "1+2")] * 2,
            {("heating", 2, "3"): 2.0, ("heating", 1, "1+2"): 40.0},
            (2, None, "3"),
            True,
            True,
            ("2 in 40 hours of heat in any other state",),
        ),
        # 4 in 20 h; 10 h elsewhere would have brought 2: less than 3, chance
        Case(
            [(1, "3")] * 4,
            {("heating", 1, "3"): 20.0, ("heating", 1, "1"): 10.0},
            (1, None, "3"),
            False,
            True,
            ("none in 10 hours of first stage with other zones calling",),
        ),
    ],
)
def test_pattern(build, case):
    import pandas as pd

    site = build(hours=case.hours)
    events = pd.DataFrame(
        [(stage, len(zones.split("+")), zones) for stage, zones in case.events],
        columns=["stage", "n_zones", "zones"],
    )
    p = pattern(site, events, "heating")
    state = (p.state.stage, p.state.n_zones, p.state.zones) if p.state else (None, None, None)
    assert state == case.state
    assert p.is_telling is case.telling
    assert p.few_zones is case.few
    assert p.contrasts == case.contrasts
