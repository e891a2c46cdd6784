"""Short cycling: by share of starts, by days, and by a fitted rate in excess."""

import pytest

CODE = "short-cycling"


def cycle(n_start, n_run=0, n_rest=0, source="burner", mode="heating", **changes):
    row = {
        "source": source,
        "mode": mode,
        "n_start": n_start,
        "n_start_all": n_start,
        "n_closed_run": n_start,
        "n_short_run": n_run,
        "n_short_run_by_limit": 0,
        "n_short_rest": n_rest,
        "is_at_least": False,
        "short_run_limit_s": 180.0 if source == "burner" else 300.0,
        "short_rest_limit_s": None if source == "burner" else 284.0,
        "median_run_s": 400.0,
        "n_fit_hour": 0,
    }
    return row | changes


def short(at, day, n, what="run", source="burner", mode="heating", **changes):
    from datetime import date, timedelta

    start = at(day, f"{8 + n // 4:02d}:{15 * (n % 4):02d}")
    row = {
        "source": source,
        "mode": mode,
        "what": what,
        "start_ts": start,
        "end_ts": start + 120_000_000,
        "length_s": 120.0,
        "day": date(2026, 1, 12) + timedelta(days=day),
        "zones": "3",
        "n_zones": 1,
        "by_limit": False,
        "after_trip": False,
    }
    return row | changes


def fit(what, per_h, set_per_h=None, mode="heating"):
    return {"what": what, "mode": mode, "nmax_per_h": per_h, "n_hour": 20, "set_per_h": set_per_h}


def site_with(build, cycles, shorts=(), fits=(), **more):
    tables = {
        "measure.cycle": cycles,
        "measure.short_cycle": list(shorts),
        "measure.cycle_fit": list(fits),
    }
    return build(tables, **more)


@pytest.mark.parametrize(
    ("n_start", "per_day", "result", "severity"),
    [
        (20, (2,), "found", "watch"),  # 2 of 20: a tenth
        (21, (2,), "not found", None),  # 9.5 %
        (19, (2,), "not found", None),  # fewer than 20 starts
        (20, (2, 2), "found", "watch"),  # 20 %
        (20, (2, 2, 1), "found", "plan"),  # 25 %
        (100, (3, 2), "not found", None),  # 3 on one day only
        (100, (3, 3), "found", "watch"),  # 3 on two days, 6 %
    ],
)
def test_share_and_days(build, judge, at, n_start, per_day, result, severity):
    rows = [short(at, d, n) for d, count in enumerate(per_day) for n in range(count)]
    site = site_with(build, [cycle(n_start, n_run=len(rows))], rows)
    judged, finding = judge(CODE, site)
    assert judged.result == result
    assert (finding.severity if finding else None) == severity


def test_runs_ended_by_a_limit_belong_to_the_limit(build, judge, at):
    rows = [short(at, d, n, by_limit=True) for d in range(3) for n in range(4)]
    site = site_with(build, [cycle(30, n_short_run_by_limit=12)], rows)
    assert judge(CODE, site)[0].result == "not found"


@pytest.mark.parametrize(("n_rest", "severity"), [(5, "watch"), (6, "plan")])
def test_short_compressor_rests(build, judge, at, n_rest, severity):
    rows = [
        short(at, n % 2, n, "rest", "compressor", "cooling", length_s=100.0) for n in range(n_rest)
    ]
    # 5 or 6 of 40 starts are over a tenth
    site = site_with(build, [cycle(40, 0, n_rest, "compressor", "cooling")], rows)
    _, finding = judge(CODE, site)
    assert finding.severity == severity
    assert finding.causes[0].cause.startswith("The compressor's minimum-off timer")


def test_sentence(build, judge, at):
    rows = [short(at, d, n) for d in range(2) for n in range(3)]
    _, finding = judge(CODE, site_with(build, [cycle(30, 6, n_short_run_by_limit=2)], rows))
    assert finding.summary == (
        "6 of 30 runs of the furnace lasted less than 3 min: on 2 days, first Mon "
        "8:00 am, last Tue 8:30 am. 2 more short runs ended in a limit trip and are not counted "
        "here."
    )


@pytest.mark.parametrize(
    ("fitted", "set_per_h", "result"),
    [
        (4.5, 3.0, "not found"),  # one and a half times the setting
        (4.6, 3.0, "found"),
        (6.0, None, "not found"),  # gas, not given: 6 an hour
        (6.1, None, "found"),
    ],
)
def test_rate_of_a_zone(build, judge, fitted, set_per_h, result):
    site = site_with(build, [cycle(100)], fits=[fit("zone 3", fitted, set_per_h)])
    judged, finding = judge(CODE, site)
    assert judged.result == result
    if finding:
        against = "set to 3" if set_per_h else "6 is usual at most"
        assert finding.summary == (
            f"Bedroom over garage cycles about {fitted} an hour at half load, {against}."
        )
        assert finding.causes[0].cause.startswith("A zone's thermostat cycles faster")


def test_heat_pump_zone_without_setting_is_held_against_four(build, judge):
    pump = {"has_burner": False, "has_heat_pump": True, "kind": "heat_pump"}
    for fitted, result in ((4.0, "not found"), (4.1, "found")):
        site = site_with(
            build,
            [cycle(100, source="compressor")],
            fits=[fit("zone 3", fitted)],
            equipment=pump,
        )
        assert judge(CODE, site)[0].result == result


def test_equipment_that_starts_no_more_often_than_the_calls_is_innocent(build, judge):
    cycles = [cycle(100)]
    fits = [fit("burner", 9.0), fit("any call", 8.8)]
    assert judge(CODE, site_with(build, cycles, fits=fits))[0].result == "not found"
    fits = [fit("burner", 9.0), fit("any call", 5.0)]
    judged, finding = judge(CODE, site_with(build, cycles, fits=fits))
    assert judged.result == "found"
    assert (
        "the furnace cycles about 9.0 an hour at half load, the calls of all zones together 5.0"
        in (finding.summary.lower())
    )


def test_short_runs_after_trips_are_told_with_the_trips(build, judge, rule, trip, at):
    from pipeline.findings._judge import judge_rules

    rows = [short(at, d, n, after_trip=True) for d in range(2) for n in range(4)]
    tables = {
        "measure.cycle": [cycle(40, 8)],
        "measure.short_cycle": rows,
        "measure.trip_context": [trip(at(d, "07:40")) for d in range(2)],
    }
    site = build(tables, hours={("heating", 2, "3"): 10.0, ("heating", 1, "1"): 40.0})
    findings, _ = judge_rules(site, [rule("high-limit-trips"), rule(CODE)])
    by_code = {f.code: f for f in findings}
    assert by_code[CODE].goes_with == ("high-limit-trips",)
    assert by_code[CODE].causes[0].cause.startswith("Limit trips")
    assert by_code[CODE].causes[0].because == (
        "All 8 short runs began within 15 min of a limit trip."
    )


def test_without_supply_air_trips_are_not_ruled_out(build, judge, at):
    rows = [short(at, d, n) for d in range(2) for n in range(4)]
    blind = site_with(build, [cycle(40, 8)], rows, roles=["output_w1", "zone_call_w1"])
    _, finding = judge(CODE, blind)
    assert not any("limit trips" in text for text in finding.ruled_out)
    # trips need the calls too: without them none can be seen, so none is ruled out
    no_calls = ["supply_temp", "output_w1"]
    _, finding = judge(CODE, site_with(build, [cycle(40, 8)], rows, roles=no_calls))
    assert not any("limit trips" in text for text in finding.ruled_out)
    trips = next(c for c in finding.causes if c.cause.startswith("Limit trips"))
    assert trips.because.startswith("Limit trips could not be judged in this log: ")
    _, finding = judge(CODE, site_with(build, [cycle(40, 8)], rows))
    assert "Not limit trips: none of 8 short runs" in finding.ruled_out[0]


def test_cannot_tell(build, judge):
    assert judge(CODE, site_with(build, []))[0].result == "cannot tell"
    coarse = site_with(build, [cycle(100, is_at_least=True)])
    assert judge(CODE, coarse)[0].result == "cannot tell"
    modulating = site_with(build, [cycle(100)], equipment={"staged_by": "modulating"})
    assert judge(CODE, modulating)[0].result == "cannot tell"
    assert judge(CODE, build(roles=["supply_temp"]))[0].result == "cannot tell"


def test_coarse_sampling_says_at_least(build, judge, at):
    rows = [short(at, d, n) for d in range(2) for n in range(3)]
    _, finding = judge(CODE, site_with(build, [cycle(30, 6, is_at_least=True)], rows))
    assert finding.summary.startswith("At least 6 of 30 runs")
    assert finding.certainty == "likely"
