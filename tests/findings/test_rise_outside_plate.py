"""Rise outside the plate: by share of steady time, how far, and which zones were calling."""

import pytest

CODE = "rise-outside-plate"
H = 3600.0
PLATE = {
    "source": "burner",
    "mode": "heating",
    "stage": 1,
    "rise_low_f": 30.0,
    "rise_high_f": 60.0,
}


def row(share=0.6, steady_h=5.0, rise=66.0, zones=None, above=True, **changes):
    """A row of measure.rise, the total unless zones are named."""
    out_s = share * steady_h * H
    return {
        "mode": "heating",
        "source": "burner",
        "stage": 1,
        "is_total": zones is None,
        "n_zones": None if zones is None else len(zones.split("+")),
        "zones": zones,
        "n_stretch": 40,
        "n_steady": 30,
        "steady_s": steady_h * H,
        "rise_p05_f": rise - 5,
        "rise_f": rise,
        "rise_p95_f": rise + 5,
        "supply_f": 70 + rise,
        "supply_max_f": 80 + rise,
        "low_f": 30.0,
        "high_f": 60.0,
        "above_s": out_s if above else 0.0,
        "below_s": 0.0 if above else out_s,
    } | changes


def case(*rows, static=0.2):
    return {
        "run.plate": [PLATE],
        "measure.rise": rows or [row(), row(0.6, 3.0, zones="3"), row(0.6, 2.0, zones="1+2")],
        "measure.static_by_calling": [
            {
                "class": "heating",
                "stage": 1,
                "n_zones": 2,
                "zones": "1+2",
                "settled_s": 2 * H,
                "p50_inwc": static,
            }
        ],
    }


def first(finding):
    return finding.causes[0].cause


def test_found_with_many_zones_and_static_in_order(build, judge):
    judged, finding = judge(CODE, build(case()))
    assert judged.result == "found"
    assert finding.severity == "plan"
    assert "above the plate's 30 to 60 °F for 60 % of 5 hours steady" in finding.summary
    assert first(finding).startswith("Over-fired")
    assert any(text.startswith("Not few zones alone") for text in finding.ruled_out)


@pytest.mark.parametrize(
    ("static", "cause"),
    [(0.09, "Too little air"), (0.10, "Over-fired"), (0.11, "Over-fired")],
)
def test_low_static_speaks_of_little_air(build, judge, static, cause):
    assert first(judge(CODE, build(case(static=static)))[1]).startswith(cause)


def test_few_zones_come_first_where_more_bring_it_inside(build, judge):
    rows = [row(), row(0.9, 3.0, zones="3"), row(0.0, 2.0, 55.0, zones="1+2")]
    assert first(judge(CODE, build(case(*rows)))[1]).startswith("More heat than the ducts")


def test_below_the_band(build, judge):
    _, finding = judge(CODE, build(case(row(0.6, 5.0, 24.0, above=False))))
    assert "below the plate's" in finding.summary
    assert first(finding).startswith("More air than the plate asks for")


@pytest.mark.parametrize(
    ("share", "steady_h", "result"),
    [
        (0.24, 5.0, "not found"),
        (0.25, 5.0, "found"),
        (0.26, 5.0, "found"),
        # half an hour outside: 0.5 of 1 h
        (0.49, 1.0, "not found"),
        (0.50, 1.0, "found"),
        (0.51, 1.0, "found"),
    ],
)
def test_share_and_time(build, judge, share, steady_h, result):
    assert judge(CODE, build(case(row(share, steady_h))))[0].result == result


@pytest.mark.parametrize(("p95", "result"), [(61.9, "not found"), (62.0, "found"), (62.1, "found")])
def test_never_far_outside_is_the_probes_doubt(build, judge, p95, result):
    assert judge(CODE, build(case(row(rise=60.5, rise_p95_f=p95))))[0].result == result


@pytest.mark.parametrize(
    ("share", "rise", "severity"),
    [
        (0.49, 66.0, "watch"),
        (0.50, 66.0, "plan"),
        (0.60, 62.9, "watch"),
        (0.60, 63.0, "plan"),
        (0.60, 63.1, "plan"),
    ],
)
def test_severity(build, judge, share, rise, severity):
    assert judge(CODE, build(case(row(share, 5.0, rise))))[1].severity == severity


def test_cannot_tell(build, judge):
    assert (
        judge(CODE, build())[0].why == "The site file does not give the plate's temperature rise."
    )
    few = judge(CODE, build(case(row(steady_h=0.4))))[0]
    assert few.result == "cannot tell"
    assert judge(CODE, build(roles=["output_w1", "supply_temp"]))[0].result == "cannot tell"
    modulating = build(case(), equipment={"staged_by": "modulating"})
    assert judge(CODE, modulating)[0].result == "cannot tell"


def test_without_static(build, judge):
    rows = {k: v for k, v in case().items() if k != "measure.static_by_calling"}
    assert "static was not logged" in judge(CODE, build(rows))[1].causes[0].because.lower()


@pytest.mark.parametrize(("rise", "result"), [(9.9, "not found"), (10.0, "found"), (10.1, "found")])
def test_no_fire_is_no_rise(build, judge, rise, result):
    assert judge(CODE, build(case(row(0.6, 5.0, rise, above=False))))[0].result == result
