"""Airflow low and falling, supply air coming back, static low."""

import datetime

import pytest

H = 3600.0


def rise(value=70.0, mode="heating", source="burner", high=60.0, steady_h=5.0, stage=1):
    return {
        "mode": mode,
        "source": source,
        "stage": stage,
        "is_total": True,
        "steady_s": steady_h * H,
        "rise_p05_f": value - 3,
        "rise_f": value,
        "rise_p95_f": value + 3,
        "low_f": None if high is None else high - 30,
        "high_f": high,
        "above_s": 0.0,
        "below_s": 0.0,
    }


def static(value=0.05, mode="heating", zones="1+2", stage=1, settled_h=2.0):
    return {
        "class": mode,
        "stage": stage,
        "n_zones": len(zones.split("+")),
        "zones": zones,
        "settled_s": settled_h * H,
        "p50_inwc": value,
    }


def low(row=None, *statics):
    return {
        "measure.rise": [row or rise()],
        "measure.static_by_calling": list(statics) or [static(mode=(row or rise())["mode"])],
    }


# ------------------------------------------------------------------ airflow low


def test_low_in_gas_heat(build, judge):
    judged, finding = judge("airflow-low", build(low()))
    assert judged.result == "found"
    assert finding.severity == "plan"
    assert "the rise is 70 °F, the plate allows 60 °F, and supply static is low" in finding.summary
    assert finding.causes[0].cause.startswith("The return side")
    assert any(text.startswith("Not the supply side") for text in finding.ruled_out)


@pytest.mark.parametrize(
    ("value", "static_inwc", "result"),
    [
        (62.9, 0.08, "not found"),
        (63.0, 0.08, "found"),
        (63.1, 0.08, "found"),
        (60.0, 0.079, "not found"),  # under 0.08 static alone says so: any rise over 60 agrees
        (60.1, 0.079, "found"),
        (60.1, 0.081, "not found"),
        (70.0, 0.099, "found"),
        (70.0, 0.10, "not found"),  # too much fire: static is as ever
        (70.0, 0.101, "not found"),
    ],
)
def test_low_rise_and_static(build, judge, value, static_inwc, result):
    site = build(low(rise(value), static(static_inwc)))
    assert judge("airflow-low", site)[0].result == result


@pytest.mark.parametrize(
    ("split", "static_inwc", "result", "severity"),
    [
        (24.9, 0.12, "not found", None),
        (25.0, 0.12, "found", "watch"),
        (20.0, 0.079, "not found", None),
        (20.1, 0.079, "found", "watch"),
        (20.1, 0.08, "not found", None),
        (25.0, 0.149, "found", "watch"),
        (25.0, 0.15, "not found", None),
        (27.9, 0.20, "not found", None),
        (28.0, 0.20, "found", "plan"),
        (28.1, 0.20, "found", "plan"),
    ],
)
def test_low_split(build, judge, split, static_inwc, result, severity):
    row = rise(split, "cooling", "compressor", None)
    judged, finding = judge("airflow-low", build(low(row, static(static_inwc, "cooling"))))
    assert judged.result == result
    assert (finding.severity if finding else None) == severity


@pytest.mark.parametrize(
    ("cfm", "result"), [(899, "found"), (900, "not found"), (901, "not found")]
)
def test_low_per_ton(build, judge, cfm, result):
    # 36,000 Btu/h of cooling are three tons: 300 CFM each are 900
    row = rise(25.0, "heating", "compressor", None)
    tables = low(row) | {
        "measure.airflow": [
            {"mode": "heating", "source": "compressor", "stage": 1, "is_total": True, "cfm": cfm}
        ],
        "run.plate": [
            {"mode": "cooling", "source": "compressor", "stage": 1, "output_btuh": 36000.0}
        ],
    }
    assert judge("airflow-low", build(tables))[0].result == result


def test_low_cannot_tell(build, judge):
    assert judge("airflow-low", build(low(rise(steady_h=0.16))))[0].result == "cannot tell"
    site = build(low(), equipment={"staged_by": "modulating"})
    assert judge("airflow-low", site)[0].result == "cannot tell"


# ------------------------------------------------------------------ airflow falling


def index(day, value, high=None, reference=False, change=-0.03):
    return {
        "day": datetime.date(2026, 1, 12) + datetime.timedelta(days=day),
        "mode": "heating",
        "is_reference": reference,
        "n_stretch": 8,
        "steady_s": H,
        "airflow_index": value,
        "index_low": value - 0.02,
        "index_high": value + 0.02 if high is None else high,
        "static_change_inwc": change,
    }


def sign(reads="at its cap", first=50.0, last=60.0):
    return {
        "mode": "heating",
        "source": "burner",
        "stage": 2,
        "zones": "1+2",
        "rise_first_f": first,
        "rise_last_f": last,
        "static_first_inwc": 0.3,
        "static_last_inwc": 0.25,
        "reads": reads,
    }


def falling(last=0.88, high=None, signs=(), **changes):
    days = [index(d, 1.0, reference=True) for d in range(3)]
    days += [index(5, 0.89, high, **changes), index(6, last, high, **changes)]
    return {"measure.airflow_index": days, "measure.sign": list(signs)}


def test_falling(build, judge):
    judged, finding = judge("airflow-falling", build(falling()))
    assert judged.result == "found"
    # the better of the last two days has 89 % of the air
    assert "down about 11 %" in finding.summary
    assert finding.severity == "plan"
    assert finding.causes[0].cause.startswith("The return side fills")
    assert any(text.startswith("Not the supply side") for text in finding.ruled_out)


@pytest.mark.parametrize(
    ("high", "result"), [(0.949, "found"), (0.95, "found"), (0.951, "not found")]
)
def test_falling_bound(build, judge, high, result):
    assert judge("airflow-falling", build(falling(high=high)))[0].result == result


@pytest.mark.parametrize(("n", "result"), [(1, "not found"), (2, "found"), (3, "found")])
def test_falling_by_states(build, judge, n, result):
    site = build(falling(1.0, 1.02, [sign()] * n))
    judged, finding = judge("airflow-falling", site)
    assert judged.result == result
    if finding:
        # a rise of 60 against 50 is 5/6 of the air
        assert "down about 17 %" in finding.summary


def test_falling_where_static_rose(build, judge):
    _, finding = judge("airflow-falling", build(falling(change=0.03)))
    assert finding.causes[0].cause.startswith("The supply side closes")


def test_falling_cannot_tell(build, judge):
    assert judge("airflow-falling", build())[0].result == "cannot tell"


# ------------------------------------------------------------------ supply air comes back


def back(frac=0.2, correlation=0.9, s=2 * H, n_zones=1, departure=3.0):
    return {
        "mode": "heating",
        "n_zones": n_zones,
        "s": s,
        "departure_f": departure,
        "over_s": 0.0,
        "recirculated_frac": frac,
        "correlation": correlation,
        "supply_off_zones_f": 40.0,
    }


def test_back(build, judge):
    site = build({"measure.recirculation": [back(), back(0.1, n_zones=2)]})
    judged, finding = judge("bypass-recirculation", site)
    assert judged.result == "found"
    assert finding.severity == "plan"
    assert "20 % of the supply air comes straight back" in finding.summary


@pytest.mark.parametrize(
    ("bypass", "cause"), [("barometric", "A bypass that stands open"), ("none", "A leak")]
)
def test_back_bypass_or_leak(build, judge, bypass, cause):
    site = build({"measure.recirculation": [back()]}, equipment={"bypass": bypass})
    assert judge("bypass-recirculation", site)[1].causes[0].cause.startswith(cause)


@pytest.mark.parametrize(
    ("changes", "result"),
    [
        ({"frac": 0.059}, "not found"),
        ({"frac": 0.06}, "found"),
        ({"frac": 0.061}, "found"),
        ({"correlation": 0.69}, "not found"),
        ({"correlation": 0.70}, "found"),
        ({"correlation": 0.71}, "found"),
        ({"departure": -0.1}, "not found"),
        ({"s": H - 60}, "cannot tell"),
        ({"s": H}, "found"),
        ({"s": H + 60}, "found"),
    ],
)
def test_back_bounds(build, judge, changes, result):
    site = build({"measure.recirculation": [back(**changes)]})
    assert judge("bypass-recirculation", site)[0].result == result


def rooms(at, rooms_f, return_f):
    return [
        {
            "zone": zone,
            "ts": at(1, "06:00") + k * 60_000_000,
            "temp_f": temp_f,
            "return_f": return_f,
            "class": "heating",
            "is_proven": True,
            "in_visit": False,
        }
        for zone, temp_f in enumerate(rooms_f, start=1)
        for k in range(60)
    ]


# a zone that gets what others call for lies far off them, and its air returns as well
@pytest.mark.parametrize(
    ("rooms_f", "return_f", "result"),
    [
        ((68.0, 72.0), 72.0, "not found"),
        ((68.0, 72.0), 72.1, "found"),
        ((68.0, 71.9), 70.0, "found"),
        ((68.0, 80.0), 74.0, "not found"),
    ],
)
def test_return_air_among_rooms_far_apart_tells_nothing(
    build, judge, at, rooms_f, return_f, result
):
    rows = {"measure.recirculation": [back()], "interval.zone_minute": rooms(at, rooms_f, return_f)}
    assert judge("bypass-recirculation", build(rows))[0].result == result


@pytest.mark.parametrize(("frac", "severity"), [(0.149, "watch"), (0.15, "plan"), (0.151, "plan")])
def test_back_severity(build, judge, frac, severity):
    site = build({"measure.recirculation": [back(frac)]})
    assert judge("bypass-recirculation", site)[1].severity == severity


def test_back_with_an_economizer(build, judge):
    site = build({"measure.recirculation": [back()]}, equipment={"has_economizer": True})
    assert judge("bypass-recirculation", site)[0].result == "cannot tell"


# ------------------------------------------------------------------ static low


def test_static_low(build, judge):
    judged, finding = judge("static-low", build(low()))
    assert judged.result == "found"
    assert finding.severity == "plan"
    assert "0.05 in. w.c. with Main floor and Primary bedroom calling" in finding.summary
    assert finding.causes[0].cause.startswith("Too little air")


@pytest.mark.parametrize(
    ("value", "zones", "settled_h", "result"),
    [
        (0.079, "1+2", 2.0, "found"),
        (0.08, "1+2", 2.0, "not found"),
        (0.081, "1+2", 2.0, "not found"),
        (0.099, "1", 2.0, "found"),
        (0.10, "1", 2.0, "not found"),
        (0.101, "1", 2.0, "not found"),
        (0.05, "1+2", 0.49, "cannot tell"),
        (0.05, "1+2", 0.5, "found"),
        (0.05, "1+2", 0.51, "found"),
    ],
)
def test_static_low_bounds(build, judge, value, zones, settled_h, result):
    rows = {"measure.static_by_calling": [static(value, zones=zones, settled_h=settled_h)]}
    assert judge("static-low", build(rows))[0].result == result


@pytest.mark.parametrize(
    ("own_h", "other_h", "other", "result"),
    [
        (0.25, 0.25, "2+3", "found"),  # two pairs of zones, half an hour between them
        (0.25, 0.24, "2+3", "cannot tell"),
        (0.166, 0.6, "2+3", "not found"),  # ten minutes of its own at least
        (0.25, 0.25, "1+2+3", "cannot tell"),
    ],
)
def test_static_low_in_states_alike(build, judge, own_h, other_h, other, result):
    some = [static(0.05, settled_h=own_h), static(0.09, zones=other, settled_h=other_h)]
    assert judge("static-low", build({"measure.static_by_calling": some}))[0].result == result


@pytest.mark.parametrize(
    ("step", "result"), [(0.009, "cannot tell"), (0.01, "cannot tell"), (0.011, "found")]
)
def test_static_low_of_a_tube_that_is_off(build, judge, step, result):
    rows = low() | {"measure.static_zero": [{"fan_step_inwc": step}]}
    assert judge("static-low", build(rows))[0].result == result


@pytest.mark.parametrize(("others", "severity"), [(1, "plan"), (2, "watch")])
def test_static_low_in_half_of_the_states(build, judge, others, severity):
    fine = [static(0.2, zones=zones) for zones in ("1+3", "1+4")[:others]]
    rows = {"measure.static_by_calling": [static(0.05), *fine]}
    assert judge("static-low", build(rows))[1].severity == severity
