"""A cause's replay command, and second stage commanded anew on calls made by hand."""

from itertools import pairwise

import pytest

from pipeline.findings import rules
from pipeline.findings._replays import _VALUES, command
from pipeline.replay.settings import BY_NAME
from pipeline.replay.staging import Staging, holds, length_s, overlap_s

S = 1_000_000
MIN = 60 * S


# ----------------------------------------------------------- the command behind a cause


def test_only_settings_that_can_be_replayed_are_named():
    named = {
        name for r in rules() for cause in r.declaration.causes for name in cause.replays.split()
    }
    assert named <= set(_VALUES) <= set(BY_NAME)
    assert named == {
        "stage2_min_zones", "stage_up_delay_min", "static_target_inwc", "low_balance_f",
        "high_balance_f", "compressor_min_off_min",
    }  # fmt: skip


def test_values_around_what_is_set(build):
    site = build(settings={"low_balance_f": 30, "high_balance_f": 45, "compressor_min_off_min": 5})
    lead = "zonetrail replay larch-14 --set "
    assert command(site, "stage2_min_zones") == f"{lead}stage2_min_zones=1,2,3"
    assert command(site, "stage_up_delay_min") == f"{lead}stage_up_delay_min=5,15"
    assert command(site, "static_target_inwc") == f"{lead}static_target_inwc=0.35,0.45"
    assert command(site, "compressor_min_off_min") == f"{lead}compressor_min_off_min=7,9"
    assert command(site, "low_balance_f high_balance_f") == (
        f"{lead}low_balance_f=25,35 --set high_balance_f=40,50"
    )


@pytest.mark.parametrize(("applied_s", "align"), [(0.0, ""), (240.0, "--align ")])
def test_a_review_with_clocks_put_right_is_replayed_so_too(build, applied_s, align):
    clock = {"logger": "static", "reference_logger": "panel", "offset_s": 240.0,
             "applied_s": applied_s, "n_edge": 40, "confidence": "shown"}  # fmt: skip
    site = build({"trust.clock_offset": [clock]})
    said = command(site, "stage2_min_zones")
    assert said == f"zonetrail replay larch-14 {align}--set stage2_min_zones=1,2,3"


def test_points_never_cross_and_the_plate_is_kept(build):
    close = build(settings={"low_balance_f": 38, "high_balance_f": 45})
    assert command(close, "low_balance_f high_balance_f") == (
        "zonetrail replay larch-14 --set low_balance_f=33 --set high_balance_f=50"
    )
    plate = build(equipment={"max_external_static_inwc": 0.44})
    assert command(plate, "static_target_inwc").endswith("static_target_inwc=0.35")


def test_what_nobody_gave_has_no_other_value(build):
    assert command(build(settings={"stage2_min_zones": None}), "stage2_min_zones") == ""


# ----------------------------------------------------------- second stage, by hand


def staged(build, at, calls, run=(0, 60), settings=None, second=(), trips=(), stops=(), asks=()):
    """A burner's run of minutes [run) on day 0 from 6:00, with calls {zone: (from, to)}."""
    t0 = at(0, "06:00")
    edges = sorted({m for a, b in [run, *[c for cs in calls.values() for c in cs]] for m in (a, b)})
    conditions = []
    for a, b in pairwise(edges):
        who = [str(z) for z, cs in sorted(calls.items()) if any(x <= a < y for x, y in cs)]
        conditions.append({
            "start_ts": t0 + a * MIN, "end_ts": t0 + b * MIN, "class": "heating", "stage": 1,
            "n_heat": len(who), "heat_zones": "+".join(who), "cool_zones": "", "in_visit": False,
        })  # fmt: skip
    runs = [{
        "source": "burner", "mode": "heating", "start_ts": t0 + run[0] * MIN,
        "end_ts": t0 + run[1] * MIN, "in_visit": False, "is_inferred": False,
    }]  # fmt: skip
    runs += [
        {
            "source": "burner", "mode": "heating", "start_ts": t0 + a * MIN,
            "end_ts": t0 + b * MIN, "in_visit": True, "is_inferred": False,
        }
        for a, b in stops
    ]  # fmt: skip
    site = build(
        {
            "interval.condition": conditions,
            "interval.source_run": runs,
            "interval.call": [
                {"zone": z, "mode": "heating", "start_ts": t0 + a * MIN, "end_ts": t0 + b * MIN}
                for z, cs in calls.items()
                for a, b in cs
            ],
            "interval.output_run": [
                {"output": "output_w2", "start_ts": t0 + a * MIN, "end_ts": t0 + b * MIN}
                for a, b in second
            ],
            "interval.trip": [{"end_ts": t0 + m * MIN} for m in trips],
            "signal.state": [
                {
                    "role": role, "zone": z, "is_on": True,
                    "start_ts": t0 + a * MIN, "end_ts": t0 + b * MIN,
                }
                for role, z, a, b in asks
            ],
        },
        settings={
            "stage2_release": "follows", "stage_up_by": "timer", "stage_up_clock": "zone_call",
        }
        | (settings or {}),
    )  # fmt: skip

    def minutes(delay_min, zones):
        spans = Staging(site).second_stage(None if delay_min is None else delay_min * 60, zones)
        return [((a - t0) / MIN, (b - t0) / MIN) for a, b in spans]

    return Staging(site), minutes


def test_the_delay_and_the_zones_decide(build, at):
    """Zone 1 calls throughout, zone 2 from minute 20 to 40."""
    _, on = staged(build, at, {1: [(0, 60)], 2: [(20, 40)]})
    assert on(10, 1) == [(10, 60)]
    assert on(10, 2) == [(20, 40)]
    assert on(25, 2) == [(25, 40)]
    assert on(10, 3) == []
    assert on(60, 1) == []
    assert on(None, None) == [(0, 60)]


def test_second_stage_that_lets_go_late_stays_to_the_end(build, at):
    _, on = staged(
        build, at, {1: [(0, 60)], 2: [(20, 40)]}, settings={"stage2_release": "until_satisfied"}
    )
    assert on(10, 2) == [(20, 60)]


def test_a_broken_call_is_one_and_a_trip_starts_its_clock_again(build, at):
    _, on = staged(build, at, {1: [(0, 5), (5.4, 60)]})
    assert on(10, 1) == [(10, 60)]  # broken for 24 s
    _, on = staged(build, at, {1: [(0, 5), (5.5, 60)]})
    assert on(10, 1) == [(15.5, 60)]  # for 30 s: another call
    _, on = staged(build, at, {1: [(0, 60)]}, trips=[7])
    assert on(10, 1) == [(10, 60)]  # at minute 0 it had not tripped yet
    _, on = staged(build, at, {1: [(0, 60)], 2: [(8, 60)]}, trips=[7])
    assert on(10, 2) == [(17, 60)]


def test_a_call_that_waited_counts_from_the_equipments_start(build, at):
    _, on = staged(build, at, {1: [(0, 60)]}, run=(20, 60), stops=[(2, 4)])
    assert on(10, 1) == [(30, 60)]
    _, on = staged(build, at, {1: [(0, 60)]}, run=(20, 60))
    assert on(10, 1) == [(20, 60)]
    _, on = staged(
        build, at, {1: [(0, 60)]}, run=(20, 60), settings={"stage_up_clock": "equipment_start"}
    )
    assert on(10, 1) == [(30, 60)]


def test_a_thermostat_asks_for_itself(build, at):
    asks = [("zone_call_w2", 1, 30, 50)]
    for by, expected in (
        ("thermostat", [(30, 50)]),
        ("timer", [(40, 60)]),
        ("both", [(30, 60)]),
    ):
        _, on = staged(build, at, {1: [(0, 60)]}, settings={"stage_up_by": by}, asks=asks)
        assert on(40, 1) == expected, by


def test_logged_second_stage_is_that_of_the_runs_looked_at(build, at):
    staging, _ = staged(build, at, {1: [(0, 60)]}, run=(10, 30), second=[(5, 15), (20, 40)])
    t0 = at(0, "06:00")
    assert staging.logged == [(t0 + 10 * MIN, t0 + 15 * MIN), (t0 + 20 * MIN, t0 + 30 * MIN)]


@pytest.mark.parametrize(
    ("first", "second", "seconds"),
    [
        ([(0, 10)], [(5, 15)], 5),
        ([(0, 10), (20, 30)], [(5, 25)], 10),
        ([(0, 4), (6, 10)], [(1, 2), (3, 7), (9, 20)], 4),
        ([(0, 10)], [(10, 20)], 0),
        ([], [(10, 20)], 0),
    ],
)
def test_overlap(first, second, seconds):
    """Against a slow loop over seconds."""
    slow = sum(
        any(a <= n < b for a, b in first) and any(a <= n < b for a, b in second) for n in range(40)
    )
    assert slow == seconds
    us = [[(a * S, b * S) for a, b in spans] for spans in (first, second)]
    assert overlap_s(us[0], us[1]) == seconds
    assert length_s(us[0]) == sum(b - a for a, b in first)
    assert [holds(us[0], n * S) for n in range(40)] == [
        any(a <= n < b for a, b in first) for n in range(40)
    ]
