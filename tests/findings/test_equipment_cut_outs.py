"""Equipment cut-outs: the output stays on while the heat falls away."""

import pytest

CODE = "equipment-cut-outs"
HOURS = {("heating", 1, "1"): 40.0, ("heating", 2, "3"): 3.0}


def cut_out(at, day, clock, **changes):
    """Falls from 142 to 88 °F; heat is back after 5 min."""
    start = at(day, clock)
    row = {
        "source": "burner",
        "start_ts": start,
        "low_ts": start + 170_000_000,
        "end_ts": start + 300_000_000,
        "peak_f": 142.0,
        "low_f": 88.0,
        "in_visit": False,
        "is_certain": True,
    }
    return row | changes


def state(at, day, clock, zones="3", stage=2):
    """The condition around a clock time, from an hour before to an hour after."""
    return {
        "start_ts": at(day, clock) - 3_600_000_000,
        "end_ts": at(day, clock) + 3_600_000_000,
        "class": "heating",
        "source": "burner",
        "stage": stage,
        "n_zones": len(zones.split("+")),
        "zones": zones,
    }


def tables(at, cut_outs, zones="3"):
    clocks = {(r["start_ts"]): r for r in cut_outs}
    conditions = []
    for n in range(7):
        conditions.append(state(at, n, "07:00", zones))
    assert len(clocks) == len(cut_outs)
    return {"interval.cut_out": cut_outs, "interval.condition": conditions}


def test_none_is_not_found(build, judge):
    judged, _ = judge(CODE, build(hours=HOURS))
    assert (judged.result, judged.why) == ("not found", "None in 43 hours of furnace heat.")


def test_too_little_heat_cannot_tell(build, judge):
    assert judge(CODE, build(hours={("heating", 1, "1"): 1.9}))[0].result == "cannot tell"


def test_no_supply_air_cannot_tell(build, judge):
    assert judge(CODE, build(roles=["output_w1"]))[0].result == "cannot tell"


def test_in_visit_is_left_out(build, judge, at):
    rows = [cut_out(at, 1, "07:00", in_visit=True)]
    assert judge(CODE, build(tables(at, rows), hours=HOURS))[0].result == "not found"


@pytest.mark.parametrize(
    ("clocks", "severity"),
    [
        ([(1, "07:00")], "note"),
        ([(1, "07:00"), (3, "07:00")], "plan"),
        ([(1, "07:00"), (1, "07:20"), (2, "07:00"), (2, "07:20")], "plan"),  # two a day at most
        ([(1, "07:00"), (1, "07:20"), (1, "07:40")], "act"),  # three in a day
    ],
)
def test_severity(build, judge, at, clocks, severity):
    rows = [cut_out(at, d, c) for d, c in clocks]
    _, finding = judge(CODE, build(tables(at, rows), hours=HOURS))
    assert finding.severity == severity


def test_peaks_together_point_to_a_limit(build, judge, at):
    # 137, 142, 147: all within 5 of the median; one degree more is not
    for peaks, first in (((137, 142, 147), True), ((136, 142, 147), False)):
        rows = [cut_out(at, d, "07:00", peak_f=float(p)) for d, p in enumerate(peaks, start=1)]
        _, finding = judge(CODE, build(tables(at, rows), hours=HOURS))
        assert finding.causes[0].cause.startswith("The furnace's own limit") is first


def test_scattered_peaks_and_a_retry_wait_point_to_flame(build, judge, at):
    rows = [
        cut_out(at, d, "07:00", peak_f=p, end_ts=at(d, "07:01:30"))  # back after 90 s
        for d, p in ((1, 120.0), (2, 135.0), (3, 142.0))
    ]
    _, finding = judge(CODE, build(tables(at, rows), hours=HOURS))
    assert finding.causes[0].cause.startswith("Flame lost or ignition retried")
    assert finding.causes[0].because == (
        "Heat was back after 1.5 min, from scattered supply temperatures: the length of an "
        "ignition retry."
    )


def test_fall_lower_than_any_stage_rules_staging_out(build, judge, at):
    for low_f, expected in ((94.9, True), (95.0, False)):
        rows = [cut_out(at, d, "07:00", low_f=low_f) for d in (1, 2)]
        _, finding = judge(CODE, build(tables(at, rows), hours=HOURS))
        said = any("dropping to its lower stage" in text for text in finding.ruled_out)
        assert said is expected


def test_sentence_and_table(build, judge, at):
    rows = [cut_out(at, d, "07:00") for d in (1, 2)]
    _, finding = judge(CODE, build(tables(at, rows), hours=HOURS))
    assert finding.summary == (
        "The furnace stopped by itself twice in 43 hours of heat with the panel still asking for "
        "it, both times with Bedroom over garage calling alone on second stage: first Tue 7:00 "
        "am, last "
        "Wed 7:00 am. Supply air fell from 142 °F to 88 °F and came back with the output still on, "
        "or the output ended first. Inferred from supply air: no flame or limit contact was logged."
    )
    assert dict(finding.table)["Calling"] == ("Bedroom over garage", "Bedroom over garage")
    assert "Not the panel: its output stayed on throughout." in finding.ruled_out
    assert finding.certainty == "likely"


def test_an_output_not_known_to_have_stayed_on_leaves_the_panel_open(build, judge, at):
    said = ((3, "likely", True), (2, "likely", False), (1, "possible", False))
    for n_certain, certainty, ruled_out in said:
        rows = [cut_out(at, d, "07:00", is_certain=d <= n_certain) for d in (1, 2, 3)]
        _, finding = judge(CODE, build(tables(at, rows), hours=HOURS))
        assert finding.certainty == certainty
        assert ("Not the panel: its output stayed on throughout." in finding.ruled_out) is ruled_out
        named = [c.because for c in finding.causes if c.cause.startswith("The panel drops")]
        assert bool(named) is not ruled_out
        assert all(f"through {n_certain} of 3 falls" in text for text in named)
