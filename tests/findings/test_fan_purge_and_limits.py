"""Findings that count episodes: fan, purge, limits nearly reached, stages, cooling.

Each: found, not found, cannot tell, and its thresholds just under, at and over.
"""

import pytest

HOURS = {("heating", 1, "1"): 40.0, ("heating", 2, "1"): 10.0, ("cooling", 1, "1"): 30.0}


def row(at, day, clock, minutes=10, **columns):
    """An episode of so many minutes outside a visit."""
    start = at(day, clock)
    return {"start_ts": start, "end_ts": start + minutes * 60_000_000, "in_visit": False} | columns


# ---------------------------------------------------------------- equipment-without-fan


def no_fan(at, day=1, clock="07:00", minutes=20, **changes):
    columns = {
        "source": "burner",
        "length_s": minutes * 60.0,
        "evidence": "static_pressure",
        "supply_max_f": 150.0,
        "is_heat_seen": True,
    }
    return row(at, day, clock, minutes, **(columns | changes))


def fan_site(build, *rows, **more):
    return build({"interval.fan_missing": rows}, hours=HOURS, **more)


def test_fan_none_is_not_found(build, judge, at):
    judged, _ = judge("equipment-without-fan", fan_site(build))
    # 40 + 10 + 30 h
    assert (judged.result, judged.why) == (
        "not found", "Not once in 80 hours of heating and cooling.",
    )  # fmt: skip


def test_fan_in_a_visit_is_no_finding(build, judge, at):
    judged, _ = judge("equipment-without-fan", fan_site(build, no_fan(at, in_visit=True)))
    assert judged.result == "not found"
    assert "once in a visit" in judged.why


def test_fan_waits_for_a_fire_that_never_comes(build, judge, at):
    # W is on and the duct stays cold: the furnace has not lit, its blower is right to wait
    unlit = no_fan(at, minutes=240, is_heat_seen=False, supply_max_f=66.0)
    assert judge("equipment-without-fan", fan_site(build, unlit))[0].result == "not found"
    lit = no_fan(at, day=2)
    _, finding = judge("equipment-without-fan", fan_site(build, unlit, lit))
    assert "stopped, 20 min in all" in finding.summary
    assert "no fire there" in finding.summary


@pytest.mark.parametrize(
    ("minutes", "severity"),
    [(9, "plan"), (10, "act"), (11, "act")],  # no_fan_act_s is 600 s
)
def test_fan_act_from_ten_minutes(build, judge, at, minutes, severity):
    _, finding = judge("equipment-without-fan", fan_site(build, no_fan(at, minutes=minutes)))
    assert (finding.severity, finding.certainty) == (severity, "shown")


def test_fan_compressor_alone_is_planned(build, judge, at):
    rows = no_fan(at, source="compressor", is_heat_seen=None)
    _, finding = judge("equipment-without-fan", fan_site(build, rows))
    assert (finding.severity, finding.certainty) == ("plan", "likely")


@pytest.mark.parametrize(
    ("n", "result"),
    [(4, "found"), (5, "cannot tell"), (6, "cannot tell")],  # no_fan_answered_min is 5
)
def test_fan_tube_off_where_calls_are_answered(build, judge, at, n, result):
    rows = [no_fan(at, day=d % 6, clock=f"0{d}:00") for d in range(n)]
    judged, _ = judge("equipment-without-fan", fan_site(build, *rows))
    assert judged.result == result


def test_fan_a_proof_of_running_is_believed(build, judge, at):
    rows = [no_fan(at, day=d, evidence="blower_run") for d in range(6)]
    _, finding = judge("equipment-without-fan", fan_site(build, *rows))
    assert finding.severity == "act"
    assert any(r.startswith("Not a tube off the static tap") for r in finding.ruled_out)


def test_fan_runs_longer_than_an_hour_are_not_answered(build, judge, at):
    rows = [no_fan(at, day=d, minutes=61) for d in range(6)]  # no_fan_answered_s is 3600 s
    judged, _ = judge("equipment-without-fan", fan_site(build, *rows))
    assert judged.result == "found"


# ---------------------------------------------------------------- purge


def purge(at, n, **changes):
    """So many heating runs of 10 min, an hour apart; the blower runs on for 90 s."""
    rows = []
    for k in range(n):
        one = row(at, k // 20, f"{k % 20:02d}:00") | {
            "mode": "heating",
            "start_closed_s": 0.0,
            "purge_closed_s": 0.0,
            "purge_fan_s": 90.0,
            "start_max_inwc": 0.3,
            "run_max_inwc": 0.4,
            "purge_max_inwc": 0.35,
            "off_supply_f": 120.0,
            "purge_supply_max_f": 121.0,
            "is_hot_plenum": True,
        }
        one["purge_until_ts"] = one["end_ts"] + 180_000_000
        rows.append(one | changes)
    return rows


def purge_site(build, rows, overruled=False, **more):
    said = {"is_said": True, "is_overruled": overruled, "covers_gas_heat": not overruled}
    return build({"measure.purge": rows, "run_state.fan_output": [said]}, hours=HOURS, **more)


@pytest.mark.parametrize(
    ("overruled", "said"),
    [(False, "fan output covers gas heat here"), (True, "static was up in gas heat with G off")],
)
def test_purge_does_not_believe_a_sheet_that_static_overrules(build, judge, at, overruled, said):
    _, finding = judge(
        "no-purge-after-heat",
        purge_site(build, purge(at, 20, purge_fan_s=5.0), overruled=overruled),
    )
    cause = next(c for c in finding.causes if c.cause.startswith("The panel takes the fan away"))
    assert said in cause.because


@pytest.mark.parametrize(
    ("n_short", "result"),
    [(9, "not found"), (10, "found"), (11, "found")],  # purge_short_share is 0.5 of 20
)
def test_purge_half_of_the_runs(build, judge, at, n_short, result):
    rows = purge(at, 20)
    for one in rows[:n_short]:
        one["purge_fan_s"] = 29.0
    judged, _ = judge("no-purge-after-heat", purge_site(build, rows))
    assert judged.result == result


@pytest.mark.parametrize(
    ("resolution", "seconds", "result"),
    [
        # purge_short_s is 30 s, and half an interval more where that is as long
        (10.0, 29.0, "found"),
        (10.0, 30.0, "not found"),
        (10.0, 31.0, "not found"),
        (30.0, 44.0, "found"),
        (30.0, 45.0, "not found"),
    ],
)
def test_purge_half_a_minute(build, judge, at, resolution, seconds, result):
    rows = purge(at, 20, purge_fan_s=seconds)
    judged, _ = judge("no-purge-after-heat", purge_site(build, rows, resolution_s=resolution))
    assert judged.result == result


@pytest.mark.parametrize(
    ("supply", "result"),
    [(89, "not found"), (90, "found"), (91, "found")],  # purge_warm_f is 90 °F
)
def test_purge_of_a_warm_furnace(build, judge, at, supply, result):
    rows = purge(at, 20, purge_fan_s=5.0, off_supply_f=float(supply))
    judged, _ = judge("no-purge-after-heat", purge_site(build, rows))
    assert judged.result == result


def test_purge_says_when_and_how_hot(build, judge, at):
    _, finding = judge("no-purge-after-heat", purge_site(build, purge(at, 20, purge_fan_s=5.0)))
    assert finding.severity == "plan"
    assert "5 s after the burner" in finding.summary
    assert "after all 20 heating runs" in finding.summary
    assert "120 °F" in finding.summary


def test_purge_needs_a_burner(build, judge, at):
    site = purge_site(build, purge(at, 20), equipment={"has_burner": False})
    assert judge("no-purge-after-heat", site)[0].result == "cannot tell"


@pytest.mark.parametrize(
    ("n", "result"),
    [(5, "not found"), (6, "found"), (7, "found")],  # purge_peak_share is 0.3 of 20
)
def test_purge_peak_share(build, judge, at, n, result):
    rows = purge(at, 20)
    for one in rows[:n]:
        one["purge_closed_s"] = 60.0
    judged, _ = judge("static-peak-in-purge", purge_site(build, rows))
    assert judged.result == result


@pytest.mark.parametrize(
    ("changes", "result"),
    [
        ({"purge_closed_s": 9.0}, "not found"),  # purge_closed_least_s is 10 s
        ({"purge_closed_s": 10.0}, "found"),
        ({"purge_max_inwc": 0.49}, "not found"),  # 0.40 + purge_peak_inwc 0.10
        ({"purge_max_inwc": 0.51}, "found"),
        ({"start_closed_s": 30.0}, "found"),
    ],
)
def test_purge_peak_what_counts(build, judge, at, changes, result):
    judged, _ = judge("static-peak-in-purge", purge_site(build, purge(at, 20, **changes)))
    assert judged.result == result


def test_purge_peak_first_cause_and_severity(build, judge, at):
    _, finding = judge(
        "static-peak-in-purge", purge_site(build, purge(at, 20, purge_closed_s=60.0))
    )
    assert finding.severity == "plan"
    assert finding.causes[0].cause.startswith("The last zone's damper is let go")
    _, mild = judge(
        "static-peak-in-purge",
        purge_site(build, purge(at, 20, purge_closed_s=60.0, is_hot_plenum=False)),
    )
    assert mild.severity == "watch"


def test_purge_peak_too_few_runs(build, judge, at):
    assert judge("static-peak-in-purge", purge_site(build, []))[0].result == "cannot tell"


# ---------------------------------------------------------------- near the limit, stage drop


def approach(at, day, kind, **changes):
    columns = {
        "kind": kind,
        "limit_kind": "high",
        "source": "burner",
        "peak_f": 147.0,
        "limit_f": 150.0,
        "n_zones": 1,
        "zones": "3",
        "basis": "at the limit" if kind == "stage drop" else None,
    }
    return row(at, day, "06:00", **(columns | changes))


@pytest.mark.parametrize(
    ("n", "result"),
    [(4, "not found"), (5, "found"), (6, "found")],  # near_limit_min_events is 5
)
def test_near_limit_number(build, judge, at, n, result):
    rows = [approach(at, d, "near limit") for d in range(n)]
    judged, finding = judge("near-limit", build({"measure.limit_approach": rows}, hours=HOURS))
    assert judged.result == result
    if finding:
        assert finding.severity == "note"
        assert "150 °F" in finding.summary


def test_near_limit_for_long_is_watched(build, judge, at):
    # near_limit_watch_share 0.2 of 50 h of heat is 10 h: five times 2 h
    rows = [approach(at, d, "near limit") for d in range(5)]
    for one in rows:
        one["end_ts"] = one["start_ts"] + 7200_000_000
    _, finding = judge("near-limit", build({"measure.limit_approach": rows}, hours=HOURS))
    assert finding.severity == "watch"


def test_near_limit_is_told_by_the_trips(build, judge, at, trip):
    rows = [approach(at, d, "near limit") for d in range(6)]
    site = build(
        {"measure.limit_approach": rows, "measure.trip_context": [trip(at(2, "09:00"))]},
        hours=HOURS,
    )
    assert judge("near-limit", site)[0].result == "not found"


def test_near_limit_without_limits_cannot_tell(build, judge, at):
    site = build(hours=HOURS, settings={"high_limit_f": None, "low_limit_f": None})
    assert judge("near-limit", site)[0].result == "cannot tell"


@pytest.mark.parametrize(
    ("n", "severity"),
    [(1, "note"), (2, "watch"), (3, "plan"), (4, "plan")],  # stage_drop_plan_events is 3
)
def test_stage_drop_number(build, judge, at, n, severity):
    rows = [approach(at, d, "stage drop") for d in range(n)]
    _, finding = judge("stage-drop-on-limit", build({"measure.limit_approach": rows}, hours=HOURS))
    assert finding.severity == severity


def test_stage_drop_none(build, judge):
    judged, _ = judge("stage-drop-on-limit", build(hours=HOURS))
    assert judged.result == "not found"


@pytest.mark.parametrize(
    ("peak", "first"),
    [
        (141.0, "Second stage makes more"),  # 9 under the limit; stage_drop_far_f is 10
        (140.0, "The temperature at which"),
        (139.0, "The temperature at which"),
    ],
)
def test_stage_drop_first_cause(build, judge, at, peak, first):
    rows = [approach(at, d, "stage drop", peak_f=peak) for d in range(3)]
    _, finding = judge("stage-drop-on-limit", build({"measure.limit_approach": rows}, hours=HOURS))
    assert finding.causes[0].cause.startswith(first)


# ---------------------------------------------------------------- compressor stops


def stop(at, day, minutes=5, **changes):
    columns = {
        "low_f": 56.0,
        "high_f": 73.0,
        "split_lost": 0.9,
        "is_back": True,
        "outdoor_f": 100.0,
    }
    one = row(at, day, "15:00", minutes, **(columns | changes))
    return one | {"high_ts": one["end_ts"]}


@pytest.mark.parametrize(
    ("n", "severity"),
    [(1, "note"), (2, "watch"), (3, "plan"), (4, "plan")],  # compressor_stop_min_events is 3
)
def test_compressor_stop_number(build, judge, at, n, severity):
    rows = [stop(at, d) for d in range(n)]
    _, finding = judge(
        "compressor-stops-in-call", build({"interval.compressor_stop": rows}, hours=HOURS)
    )
    assert finding.severity == severity
    assert finding.windows


@pytest.mark.parametrize(("minutes", "second"), [(19, "pressure switch"), (20, "overload")])
def test_compressor_stop_length_points_to_the_cause(build, judge, at, minutes, second):
    rows = [stop(at, d, minutes, outdoor_f=None) for d in range(3)]  # 20 min: icing_after_s
    _, finding = judge(
        "compressor-stops-in-call", build({"interval.compressor_stop": rows}, hours=HOURS)
    )
    assert second in finding.causes[0].cause


def test_compressor_stop_none(build, judge):
    assert judge("compressor-stops-in-call", build(hours=HOURS))[0].result == "not found"
    little = build(hours={("cooling", 1, "1"): 0.5})
    assert judge("compressor-stops-in-call", little)[0].result == "cannot tell"
