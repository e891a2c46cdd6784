"""Findings on second stage and on the split: found, not found, cannot tell, thresholds."""

import pytest

HOURS = {("heating", 1, "1"): 40.0, ("heating", 2, "1"): 10.0, ("cooling", 1, "1"): 30.0}


def row(at, day, clock, minutes=10, **columns):
    start = at(day, clock)
    return {"start_ts": start, "end_ts": start + minutes * 60_000_000, "in_visit": False} | columns


# ---------------------------------------------------------------- cooling: split, icing


def cooling(at, splits, *, day=1, static=None, minutes=10, zones="1"):
    """One run from noon on: a row per ten minutes of it, the first ten left out."""
    run = at(day, "12:00")
    rows = []
    for k, split in enumerate(splits):
        start = run + (k + 1) * minutes * 60_000_000
        rows.append(
            {
                "run_ts": run,
                "start_ts": start,
                "end_ts": start + minutes * 60_000_000,
                "s": minutes * 60.0,
                "after_s": (k + 1) * minutes * 60.0,
                "stage": 1,
                "n_zones": 1,
                "zones": zones,
                "supply_f": 76.0 - split,
                "split_f": float(split),
                "static_inwc": 0.3 if static is None else static[k],
                "in_visit": False,
            }
        )
    return rows


def split_site(build, rows, stops=()):
    return build({"interval.cooling_split": rows, "interval.compressor_stop": stops}, hours=HOURS)


@pytest.mark.parametrize(
    ("split", "severity"),
    [
        (7.9, "act"),  # cooling_split_none_f is 8
        (8.0, "plan"),
        (11.9, "plan"),  # cooling_split_least_f is 12
        (12.0, None),
        (12.1, None),
    ],
)
def test_cooling_split_levels(build, judge, at, split, severity):
    judged, finding = judge("cooling-does-not-cool", split_site(build, cooling(at, [split] * 24)))
    assert (finding.severity if finding else None) == severity
    if finding is None:
        # 24 rows of ten minutes are 4 h
        assert judged.why == (
            "The split was mostly 12 °F in 4 hours of cooling past its first ten minutes."
        )


@pytest.mark.parametrize(("weak", "result"), [(11, "not found"), (12, "found"), (13, "found")])
def test_cooling_half_of_the_time(build, judge, at, weak, result):
    # cooling_split_share is 0.5 of 24 rows; two runs, a weak one and a sound one
    rows = cooling(at, [5] * weak) + cooling(at, [18] * (24 - weak), day=2)
    judged, _ = judge("cooling-does-not-cool", split_site(build, rows))
    assert judged.result == result


def test_cooling_dead_and_weak_have_their_causes(build, judge, at):
    _, dead = judge("cooling-does-not-cool", split_site(build, cooling(at, [0] * 24)))
    assert dead.causes[0].cause.startswith("The compressor does not run")
    _, weak = judge("cooling-does-not-cool", split_site(build, cooling(at, [6] * 24)))
    assert weak.causes[0].cause.startswith("It cools too little")
    assert any("a compressor that does not run" in r for r in weak.ruled_out)


def test_cooling_that_stops_is_no_act(build, judge, at):
    stop = row(at, 1, "13:00") | {"is_back": True}
    _, finding = judge("cooling-does-not-cool", split_site(build, cooling(at, [5] * 24), [stop]))
    assert finding.severity == "plan"
    assert finding.causes[0].cause.startswith("It runs and stops")


def test_cooling_too_little_or_warmer_cannot_tell(build, judge, at):
    # judged_min_h is 2: eleven rows are 110 min
    assert judge("cooling-does-not-cool", split_site(build, cooling(at, [5] * 11)))[0].result == (
        "cannot tell"
    )
    warmer = judge("cooling-does-not-cool", split_site(build, cooling(at, [-10] * 24)))[0]
    assert "warmer than return" in warmer.why


FADE = [16, 15, 14, 13] + [13] * 8


def fading(at, splits, statics):
    """As many as icing_min_stretches."""
    return [r for d in (0, 2, 4) for r in cooling(at, splits, day=d, static=statics)]


@pytest.mark.parametrize(
    ("last", "static", "result"),
    [
        (14.2, 0.27, "not found"),  # 1 - 14.2/16 = 0.1125; icing_fade_frac is 0.12
        (14.0, 0.27, "found"),  # 0.125
        (14.0, 0.289, "not found"),  # 1 - 0.289/0.3 = 0.037; icing_static_frac is 0.04
        (14.0, 0.287, "found"),  # 0.043
        (2.9, 0.27, "not found"),  # all of it gone: a compressor that stopped
    ],
)
def test_icing_fades(build, judge, at, last, static, result):
    rows = fading(at, [16] * 6 + [last] * 6, [0.3] * 6 + [static] * 6)
    assert judge("coil-icing", split_site(build, rows))[0].result == result


def test_icing_twice_is_not_found_and_short_runs_cannot_tell(build, judge, at):
    statics = [0.3] * 6 + [0.25] * 6
    faded = [r for d in (0, 2) for r in cooling(at, FADE, day=d, static=statics)]
    judged, _ = judge("coil-icing", split_site(build, faded + cooling(at, [16] * 12, day=4)))
    assert judged.why == "2 of 3 long cooling stretches faded as a coil ices."
    # icing_after_s is 1200: one row of ten minutes is too short
    short = [r for d in range(6) for r in cooling(at, [16], day=d)]
    assert judge("coil-icing", split_site(build, short))[0].result == "cannot tell"


def test_icing_first_cause(build, judge, at):
    statics = [0.3] * 6 + [0.25] * 6
    _, weak = judge("coil-icing", split_site(build, fading(at, [8] * 6 + [6] * 6, statics)))
    assert weak.causes[0].cause.startswith("Little refrigerant")
    cold = fading(at, [35] * 6 + [30] * 6, statics)  # supply 41: icing_supply_f is 42
    _, starved = judge("coil-icing", split_site(build, cold))
    assert starved.causes[0].cause.startswith("Too little air")


# ---------------------------------------------------------------- second stage


def missing(at, day, result="never came on", **changes):
    columns = {
        "source": "burner",
        "mode": "heating",
        "length_s": 3600.0,
        "is_late": result == "late",
        "zones": "1+3",
        "zone": 3,
        "off_f": 4.0,
        "closing_f_per_h": 0.0,
        "result": result,
    }
    return row(at, day, "06:00", 60, **(columns | changes))


@pytest.mark.parametrize(
    ("n", "severity"),
    [(1, "watch"), (2, "plan"), (3, "plan")],  # never_came_on_plan_events is 2
)
def test_never_came_on_number(build, judge, at, n, severity):
    rows = [missing(at, d) for d in range(n)]
    _, finding = judge(
        "second-stage-never-came-on", build({"measure.stage_up_missing": rows}, hours=HOURS)
    )
    assert finding.severity == severity
    assert finding.causes[0].cause.startswith("Second stage is off at the panel")
    assert "Bedroom over garage 4 °F off" in finding.windows[0].title


@pytest.mark.parametrize("result", ["near setpoint", "closing", "after a stage drop"])
def test_never_came_on_honest_waits(build, judge, at, result):
    rows = [missing(at, d, result) for d in range(4)]
    judged, _ = judge(
        "second-stage-never-came-on", build({"measure.stage_up_missing": rows}, hours=HOURS)
    )
    assert judged.result == "not found"


def test_never_came_on_not_known_cannot_tell(build, judge, at):
    rows = [missing(at, d, "not known", off_f=None, zone=None) for d in range(4)]
    site = build({"measure.stage_up_missing": rows}, hours=HOURS)
    assert judge("second-stage-never-came-on", site)[0].result == "cannot tell"
    without = build(hours=HOURS, settings={"stage2_min_zones": None})
    assert judge("second-stage-never-came-on", without)[0].result == "cannot tell"


def test_late_points_to_the_settings(build, judge, at):
    rows = [missing(at, d, "late") for d in range(3)]
    came = [row(at, d, "07:00") | {"result": "in order"} for d in range(3)]
    site = build({"measure.stage_up_missing": rows, "measure.stage_up": came}, hours=HOURS)
    _, finding = judge("second-stage-never-came-on", site)
    assert finding.causes[0].cause.startswith("The panel waits longer")


def step(at, k, supply=-2.0, static=0.1, **changes):
    columns = {
        "source": "burner",
        "mode": "heating",
        "n_zones": 1,
        "zones": "1",
        "static_before_inwc": 0.2,
        "static_step_inwc": static,
        "supply_before_f": 110.0,
        "supply_step_f": supply,
        "is_step": True,
    }
    return row(at, k % 6, f"0{k % 10}:00", 7, **(columns | changes))


def step_site(build, rows):
    return build({"measure.stage_step": rows}, hours=HOURS)


@pytest.mark.parametrize(
    ("supply", "result"),
    [(2.9, "found"), (3.0, "not found"), (3.1, "not found")],  # stage_step_none_f is 3
)
def test_no_effect_least_rise(build, judge, at, supply, result):
    rows = [step(at, k, supply) for k in range(4)]
    assert judge("second-stage-no-effect", step_site(build, rows))[0].result == result


@pytest.mark.parametrize(
    ("n_with", "result"),
    [(1, "found"), (2, "found"), (3, "not found")],  # stage_step_share is 0.25 of 8
)
def test_no_effect_share(build, judge, at, n_with, result):
    rows = [step(at, k, 12.0 if k < n_with else 0.0) for k in range(8)]
    assert judge("second-stage-no-effect", step_site(build, rows))[0].result == result


@pytest.mark.parametrize(("n", "result"), [(2, "cannot tell"), (3, "found")])
def test_no_effect_least_starts(build, judge, at, n, result):
    rows = [step(at, k) for k in range(n)]
    assert judge("second-stage-no-effect", step_site(build, rows))[0].result == result


def test_no_effect_cause_by_what_the_blower_does(build, judge, at):
    _, valve = judge("second-stage-no-effect", step_site(build, [step(at, k) for k in range(4)]))
    assert valve.causes[0].cause.startswith("The gas valve's second stage")
    assert any(r.startswith("Not the W2 wire") for r in valve.ruled_out)
    rows = [step(at, k, 0.0, 0.0) for k in range(4)]
    _, wire = judge("second-stage-no-effect", step_site(build, rows))
    assert wire.causes[0].cause.startswith("W2 does not reach the furnace")


def itself(at, k, **changes):
    start = at(k % 6, f"0{k % 10}:00")
    return {
        "start_ts": start,
        "looked_until_ts": start + 1_200_000_000,
        "step_ts": start + 600_000_000,
        "step_after_s": 600.0,
        "static_step_inwc": 0.08,
        "supply_step_f": 12.0,
        "is_step": True,
        "is_repeatable": True,
        "in_visit": False,
    } | changes


def test_furnace_stages_itself(build, judge, at):
    rows = [itself(at, k) for k in range(4)]
    hours = {("heating", 1, "1"): 40.0}
    _, finding = judge(
        "second-stage-not-by-panel", build({"measure.equipment_stage": rows}, hours=hours)
    )
    assert (finding.severity, finding.certainty) == ("plan", "likely")
    assert finding.causes[0].cause.startswith("The furnace's board is set")
    assert "10 min after W1 with W2 off, in 4 burner runs" in finding.summary


@pytest.mark.parametrize(("n", "result"), [(2, "cannot tell"), (3, "not found")])
def test_furnace_without_a_repeat(build, judge, at, n, result):
    # equipment_stage_min_runs is 3
    rows = [itself(at, k, is_repeatable=False) for k in range(n)]
    site = build({"measure.equipment_stage": rows}, hours=HOURS)
    assert judge("second-stage-not-by-panel", site)[0].result == result
