"""Second stage with too few zones, early, and stayed in: one audit, three findings."""

import pytest

FEW, EARLY, STAYED = (
    "second-stage-too-few-zones",
    "second-stage-early",
    "second-stage-stayed-in",
)


def start(at, n, result="in order", **changes):
    """The n-th second-stage start: one every three hours from Monday 00:00, 8 min long."""
    begin = at(n // 8, f"{3 * (n % 8):02d}:00")
    row = {
        "source": "burner",
        "mode": "heating",
        "start_ts": begin,
        "end_ts": begin + 480_000_000,
        "length_s": 480.0,
        "n_zones": 2,
        "zones": "1+3",
        "longest_call_s": 600.0,
        "run_before_s": 640.0,
        "stage2_called": False,
        "delay_setting_s": 600.0,
        "min_zones_setting": 2.0,
        "result": result,
        "clock_used": "zone_call",
        "stayed_in_s": 0.0,
        "in_visit": False,
    }
    row |= changes
    # as sql/50_measure/66_stage_up.sql tells it of a log by the second
    stayed_s = row["stayed_in_s"]
    return {
        "is_stayed_in": None if stayed_s is None else stayed_s >= 121.0,
        "stayed_in_ts": row["end_ts"] - int(stayed_s * 1e6) if stayed_s else None,
        "stayed_in_by_clock": None if stayed_s is None else False,
    } | row


def starts(at, n_bad, n_good, result, **changes):
    bad = [start(at, n, result, **changes) for n in range(n_bad)]
    return [*bad, *(start(at, n) for n in range(n_bad, n_bad + n_good))]


def site_with(build, rows, **more):
    roles = ["output_w1", "output_w2", "zone_call_w1", "supply_temp"]
    return build({"measure.stage_up": rows}, **({"roles": roles} | more))


ALONE = {"n_zones": 1, "zones": "3"}


@pytest.mark.parametrize(
    ("n_bad", "n_good", "result", "severity"),
    [
        (2, 2, "not found", None),
        (3, 10, "found", "watch"),  # 3 of 13
        (3, 9, "found", "plan"),  # 3 of 12, a quarter
    ],
)
def test_few_zones_thresholds(build, judge, at, n_bad, n_good, result, severity):
    rows = starts(at, n_bad, n_good, "too few zones", **ALONE)
    judged, finding = judge(FEW, site_with(build, rows))
    assert judged.result == result
    assert (finding.severity if finding else None) == severity


def test_few_zones_sentence_and_first_cause(build, judge, at):
    rows = starts(at, 4, 6, "too few zones", **ALONE)
    _, finding = judge(FEW, site_with(build, rows))
    assert finding.summary == (
        "Second stage came on 4 times with only one zone calling, against the panel's minimum of 2 "
        "zones, every time Bedroom over garage alone: first Mon 12:00 am, last Mon 9:00 am. "
        "Second stage came on 10 times altogether."
    )
    assert finding.causes[0].cause.startswith("The minimum number of zones is not in force")
    assert finding.causes[0].because == (
        "4 of 10 second-stage starts came with too few zones, each about 10 min into the call: "
        "the stage-up delay is at work, the minimum is not."
    )
    assert "Bedroom over garage" in " ".join(finding.checks)


def test_few_zones_names_who_called_when_it_was_not_one(build, judge, at):
    rows = starts(at, 5, 6, "too few zones", **ALONE)
    for row in rows[:2]:
        row["zones"] = "4"
    _, finding = judge(FEW, site_with(build, rows))
    assert "Calling were Bedroom over garage 3 times, Basement twice." in finding.summary


def test_thermostat_that_asks_itself_comes_first(build, judge, at):
    changes = {**ALONE, "stage2_called": True}
    rows = starts(at, 4, 6, "too few zones", **changes)
    for n, row in enumerate(rows[:4]):
        row["longest_call_s"] = 100.0 * (n + 1) ** 2  # 100, 400, 900, 1600: no timer
    roles = ["output_w1", "output_w2", "zone_call_w1", "zone_call_w2"]
    _, finding = judge(FEW, site_with(build, rows, roles=roles))
    assert finding.causes[0].cause.startswith("A thermostat asks for second stage itself")
    for row in rows:
        row["stage2_called"] = False
    _, finding = judge(FEW, site_with(build, rows, roles=roles))
    assert any("Not a thermostat's own second-stage call" in x for x in finding.ruled_out)


def test_few_zones_without_minimum_is_not_audited(build, judge, at):
    rows = [start(at, n, "not audited", min_zones_setting=None, **ALONE) for n in range(5)]
    judged, _ = judge(FEW, site_with(build, rows, settings={"stage2_min_zones": None}))
    assert judged.result == "cannot tell"
    assert judged.why == (
        "The site file gives no minimum number of zones to hold it against; second stage came on "
        "5 times, "
        "five of them with one zone calling."
    )


@pytest.mark.parametrize("code", [FEW, EARLY, STAYED])
def test_cannot_tell(build, judge, at, code):
    assert judge(code, site_with(build, []))[0].result == "cannot tell"  # never came on
    rows = starts(at, 5, 5, "too few zones", **ALONE)
    no_calls = site_with(build, rows, roles=["output_w1", "output_w2"])
    assert "not logged" in judge(code, no_calls)[0].why.lower()
    for staged_by in ("modulating", "equipment"):
        site = site_with(build, rows, equipment={"staged_by": staged_by})
        assert judge(code, site)[0].result == "cannot tell"


@pytest.mark.parametrize("code", [FEW, EARLY, STAYED])
def test_visits_are_left_out(build, judge, at, code):
    result = "early" if code == EARLY else "too few zones"
    rows = starts(at, 5, 5, result, in_visit=True, early_by_s=100.0, stayed_in_s=500.0, **ALONE)
    assert judge(code, site_with(build, rows))[0].result == "not found"


@pytest.mark.parametrize(("n_bad", "result"), [(2, "not found"), (3, "found")])
def test_early_threshold(build, judge, at, n_bad, result):
    rows = starts(at, n_bad, 5, "early", longest_call_s=300.0, early_by_s=300.0)
    assert judge(EARLY, site_with(build, rows))[0].result == result


def test_early_sentence_names_the_delay_it_looks_like(build, judge, at):
    rows = starts(at, 4, 4, "early", longest_call_s=300.0, early_by_s=300.0)
    _, finding = judge(EARLY, site_with(build, rows))
    assert finding.summary == (
        "Second stage came on before the stage-up delay of 10 min 4 times out of 8, typically 5 "
        "min too soon, every time Main floor and Bedroom over garage: first Mon 12:00 am, last Mon "
        "9:00 am. Counted from the longest call."
    )
    assert finding.causes[0].because == (
        "These starts came 5 min into the longest call: looks like a delay of about 5 min."
    )
    assert any("Not W1 and W2 (Y1 and Y2) joined" in x for x in finding.ruled_out)


def test_early_with_the_equipments_start_is_a_joined_wire(build, judge, at):
    # 60 s after the start is within the spread, 61 s is not
    for run_s, first in ((60.0, True), (61.0, False)):
        rows = starts(at, 4, 4, "early", run_before_s=run_s, early_by_s=300.0)
        for n, row in enumerate(rows[:4]):
            row["longest_call_s"] = 60.0 + 120.0 * n
        _, finding = judge(EARLY, site_with(build, rows))
        assert finding.causes[0].cause.startswith("W1 and W2") is first


def test_early_without_delay_is_not_audited_and_says_what_was_seen(build, judge, at):
    rows = [start(at, n, "not audited", delay_setting_s=None) for n in range(5)]
    judged, _ = judge(EARLY, site_with(build, rows, settings={"stage_up_delay_min": None}))
    assert judged.result == "cannot tell"
    assert "it came on after about 10 min of call; confirm at the panel" in judged.why


@pytest.mark.parametrize(("sure", "result"), [(False, "not found"), (True, "found")])
def test_stayed_in_is_what_the_audit_calls_so(build, judge, at, sure, result):
    # 150 s may be within the time and an interval of the log: the audit knows, the finding does not
    rows = [start(at, n, stayed_in_s=150.0, is_stayed_in=sure) for n in range(3)]
    rows.append(start(at, 3))
    assert judge(STAYED, site_with(build, rows))[0].result == result


def test_more_starts_than_a_table_holds_leave_its_columns_alike(build, judge, at):
    held = [start(at, n, stayed_in_s=200.0 + n) for n in range(201)]  # MAX_TABLE_ROWS is 200
    _, finding = judge(STAYED, site_with(build, held))
    assert {title: len(values) for title, values in finding.table} == {
        "Second stage on": 200,
        "Off": 200,
        "Calling": 200,
        "Longest call before": 200,
        "Equipment had run": 200,
        "Stayed in for": 200,
    }
    assert set(dict(finding.table)["Stayed in for"][:3]) == {"3.5 min"}  # 200 to 202 s


def test_stayed_in_only_where_the_panel_follows(build, judge, at):
    rows = [start(at, n, stayed_in_s=None) for n in range(5)]
    judged, _ = judge(STAYED, site_with(build, rows))
    assert judged.result == "cannot tell"
    assert "does not say that second stage follows the calls" in judged.why


def test_stayed_in_causes(build, judge, at):
    held = [start(at, n, stayed_in_s=200.0 + 60 * n, length_s=500.0 + 200 * n) for n in range(4)]
    rows = [*held, *(start(at, n) for n in range(4, 8))]
    _, finding = judge(STAYED, site_with(build, rows))
    assert finding.causes[0].cause.startswith("Second stage is set to hold")
    assert any("Not a minimum run of second stage" in x for x in finding.ruled_out)
    # with starts with too few zones as well, it is the minimum that is not in force
    few = [start(at, n, "too few zones", **ALONE) for n in range(8, 11)]
    _, finding = judge(STAYED, site_with(build, [*rows, *few]))
    assert finding.causes[0].cause.startswith("The minimum number of zones is not in force")


def condition(begin, end, zones):
    return {
        "class": "heating",
        "stage": 2,
        "source": "burner",
        "start_ts": begin,
        "end_ts": end,
        "zones": zones,
        "n_zones": len(zones.split("+")),
    }


def test_few_zones_says_how_much_of_second_stage_ran_that_way(build, judge, at):
    hours = {("heating", 2, "3"): 2.0, ("heating", 2, "1+3"): 6.0, ("heating", 1, "1"): 40.0}
    rows = starts(at, 4, 6, "too few zones", **ALONE)
    _, finding = judge(FEW, build({"measure.stage_up": rows}, hours=hours))
    assert "Of 8 hours of second stage, 2 hours ran with fewer than 2 zones calling" in (
        finding.summary
    )


def test_few_zones_worst_is_the_longest_alone_or_the_one_that_tripped(build, judge, trip, at):
    minute = 60_000_000
    rows = [start(at, 3 * n, "too few zones", **ALONE) for n in range(4)]
    # each lasts 8 min; the second alone for all of it, the others are joined after 1 min
    alone_us = [minute, 8 * minute, minute, minute]
    tables = {
        "measure.stage_up": rows,
        "interval.condition": [
            part
            for row, us in zip(rows, alone_us, strict=True)
            for part in (
                condition(row["start_ts"], row["start_ts"] + us, "3"),
                condition(row["start_ts"] + us, row["end_ts"] + minute, "1+3"),
            )
        ],
    }
    _, finding = judge(FEW, build(tables))
    assert finding.windows[0].title.startswith(f"Worst: {_clock(at, rows[1])}")
    # the third, joined after a minute, ends in a trip: that is worse
    tables["measure.trip_context"] = [trip(at(0, "00:00"), drop_ts=rows[2]["end_ts"])]
    _, finding = judge(FEW, build(tables))
    assert finding.windows[0].title.startswith(f"Worst: {_clock(at, rows[2])}")
    assert finding.windows[0].title.endswith("ended in a high-limit trip.")


def _clock(at, row):
    from pipeline import words

    return words.clock(row["start_ts"], "America/Denver")


def test_stayed_in_says_how_few_were_left_and_shades_only_the_overstay(build, judge, at):
    rows = [start(at, n, stayed_in_s=121.0 + 60 * n) for n in range(3)]
    rows += [start(at, n, stayed_in_s=0.0) for n in range(3, 8)]
    _, finding = judge(STAYED, site_with(build, rows))
    assert finding.summary.startswith(
        "Second stage stayed in 3 of 8 times after fewer than 2 zones were left calling, for 2 to "
        "4 min"
    )
    for span, row in zip(finding.evidence, rows, strict=False):
        assert (span.start_ts, span.end_ts) == (
            row["end_ts"] - int(row["stayed_in_s"] * 1e6),
            row["end_ts"],
        )


def test_stayed_in_says_that_no_call_was_long_enough(build, judge, at):
    """The second of three held on before its end, with calls that were too young."""
    rows = [start(at, n, stayed_in_s=180.0) for n in range(3)]
    young = rows[1] | {"stayed_in_by_clock": True, "stayed_in_ts": rows[1]["start_ts"] + 60_000_000}
    _, finding = judge(STAYED, site_with(build, [rows[0], young, rows[2]]))
    assert (
        "after fewer than 2 zones were left calling or none that had called for the delay"
        in finding.summary
    )
    span = finding.evidence[1]
    assert span.start_ts - young["start_ts"] == 60_000_000
    assert span.end_ts - span.start_ts == 180_000_000
