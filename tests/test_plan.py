"""The plan: intervals worked from the definitions, what is missing or too slow, the form."""

from __future__ import annotations

import importlib.util
import json
import math
import random
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline import words
from pipeline.errors import InputError
from pipeline.expected_error import expected
from pipeline.findings import rules
from pipeline.plan import make_plan
from pipeline.plan.installed import installed
from pipeline.plan.intervals import for_role, round_down_s
from pipeline.plan.probes import PROBES
from pipeline.plan.record import (
    INFERRED,
    MISSING,
    NOT_KNOWN,
    READY,
    TOO_SLOW,
    Logged,
    Plan,
    PlannedQuestion,
)
from pipeline.plan.say import plan_document, plan_text, standing_text
from pipeline.plan.sheet import NOT_READ_OFF, stations
from pipeline.site import Equipment, Settings, Site, Zone
from pipeline.site_keys import TABLES
from pipeline.site_reader import read_site
from pipeline.thresholds import THRESHOLDS, values_for

KINDS = ("furnace_ac", "heat_pump", "dual_fuel", "furnace", "ac")
LARCH = Path(__file__).parents[1] / "sample_data" / "larch-14" / "site.toml"


def question(plan: Plan, name: str) -> PlannedQuestion:
    return next(q for q in plan.questions if q.name == name)


def channel(plan: Plan, role: str):
    return next(c for c in plan.channels if c.role == role)


def site(kind: str = "furnace", **settings: object) -> Site:
    return Site(Path("x/site.toml"), "x", "America/Denver", Equipment(kind), Settings(**settings))


# ----------------------------------------------------------------------- how fast


@pytest.mark.parametrize(
    ("name", "slowest_s", "full_s"),
    [
        # purge not given: 120 s over 2 intervals; the drop within 60 s of the peak, over 2
        ("high-limit-trips", 60, 30),
        # fall of supply within 180 s, over 2; shortest ignition retry 45 s, over 2
        ("equipment-cut-outs", 90, 22.5),
        # over the limit for 120 s, over 2; its trips' table is certain at 30 s
        ("limit-did-not-act", 60, 30),
        # a drop-out of 15 s, over 2
        ("output-chatter", 7.5, None),
        # a short burner run is under 180 s, over 2; none missed only where chatter would be seen
        ("short-cycling", 90, 7.5),
        # gas thermostat at 6 an hour: shortest run 15 min / 6 = 150 s, over 2; certain at 60 s
        ("runtime", 75, 60),
        # an excursion counts from 60 s, over 2; its tables are certain at 10 s
        ("static-above-target", 30, 10),
        # left on for 120 s, over 2; the staging table is certain at 60 s, which is no tighter
        ("second-stage-stayed-in", 60, None),
    ],
)
def test_interval_of_a_furnace(name: str, slowest_s: float, full_s: float | None) -> None:
    interval = question(make_plan("furnace"), name).interval
    assert (interval.slowest_s, interval.full_s) == (slowest_s, full_s)
    assert interval.wanted_s == (full_s or slowest_s)


def test_a_sites_own_numbers_take_the_place_of_the_usual_ones() -> None:
    # purge 40 s over 2 = 20 s, tighter than the 30 s of the drop and of the table
    trips = question(make_plan(site(purge_s=40)), "high-limit-trips").interval
    assert (trips.slowest_s, trips.full_s) == (20, None)
    # two zones at 2 and 3 an hour: the faster one, 15 min / 3 = 300 s, over 2
    zones = (Zone(1, "A", cycles_per_hour=2), Zone(2, "B", cycles_per_hour=3))
    calls = question(make_plan(replace(site(), zones=zones)), "calls").interval
    assert calls.slowest_s == 150
    # one zone not given: the usual 6 an hour of gas stands for all
    zones = (Zone(1, "A", cycles_per_hour=2), Zone(2, "B"))
    assert question(make_plan(replace(site(), zones=zones)), "calls").interval.slowest_s == 75
    # minimum-off of 2 min: a rest of 120 s over 2, tighter than a burner run's 90 s
    short = question(make_plan(site("dual_fuel", compressor_min_off_min=2)), "short-cycling")
    assert short.interval.slowest_s == 60
    # a site's own threshold: excursions count from 40 s, over 2
    own = replace(site(), thresholds={"static_excursion_min_s": 40})
    assert question(make_plan(own), "static-above-target").interval.slowest_s == 20


@pytest.mark.parametrize(
    ("name", "shortest_s"),
    [
        ("output-chatter", 15),
        ("static-above-target", 60),
        ("limit-did-not-act", 120),
        ("second-stage-stayed-in", 120),
        ("equipment-cut-outs", 180),
        ("fuel", 60),
        ("defrost", 60),
        ("air", 120),
    ],
)
def test_its_shortest_event_is_read_twice_at_any_phase_and_not_if_any_slower(
    name: str, shortest_s: float
) -> None:
    """Held against counting itself: readings at k * interval + phase inside [0, length).

    Lengths are the definitions' own: chatter within 15 s, an excursion from 60 s, 2 min over the
    limit, a fall within 3 min, both fuels for more than 60 s, a defrost of 1 to 15 min.
    """

    def fewest_readings(interval_s: float) -> int:
        phases = [interval_s * n / 97 for n in range(97)]
        return min(sum(1 for k in range(100) if p + k * interval_s < shortest_s) for p in phases)

    slowest_s = question(make_plan("dual_fuel"), name).interval.slowest_s
    assert fewest_readings(slowest_s) >= 2
    assert fewest_readings(slowest_s * 1.05) < 2


def test_loggers_are_set_to_a_usual_interval_no_longer_than_asked() -> None:
    # 22.5 s: 20 s; 7.5 s: 5 s; under a second: the fastest there is
    assert [round_down_s(x) for x in (22.5, 7.5, 60, 59.9, 0.5)] == [20, 5, 60, 30, 1]


def test_slow_channels_need_not_be_as_fast_as_the_rest() -> None:
    numbers = values_for({})
    # outdoor air must stand past a balance point for 10 min: 600 s over 2
    assert for_role("outdoor_temp", 7.5, numbers) == 300
    assert for_role("supply_temp", 7.5, numbers) == 7.5
    # nor does a slow question make them slower than it asks
    assert for_role("outdoor_temp", 900, numbers) == 900


# ----------------------------------------------------------------------- what can be asked


def test_questions_that_the_equipment_cannot_raise_say_why() -> None:
    plan = make_plan("furnace")
    names = {q.name for q in plan.questions}
    assert "high-limit-trips" in names and "low-limit-trips" not in names
    assert ("Low-limit trips", "it does not cool") in plan.not_here
    plan = make_plan("ac")
    assert ("High-limit trips", "it does not heat") in plan.not_here
    assert not any(c.role in ("gas_valve", "output_w1", "zone_call_w1") for c in plan.channels)


def test_one_stage_and_modulating_equipment_have_no_staging_questions() -> None:
    one = replace(site(), equipment=Equipment("furnace", heating_stages=1))
    assert ("Second stage early", "one stage only") in make_plan(one).not_here
    assert not any(c.role == "output_w2" for c in make_plan(one).channels)
    modulating = replace(site(), equipment=Equipment("furnace", staged_by="modulating"))
    told = dict(make_plan(modulating).not_here)
    assert told["Second stage early"] == "staged by modulating"
    assert "modulates" in told["Short cycling"]


def test_heat_pump_thermostats_need_o_b_beside_y() -> None:
    zones = (Zone(1, "A", thermostat="heat_pump"),)
    trips = question(make_plan(replace(site("dual_fuel"), zones=zones)), "high-limit-trips")
    assert {"zone_call_y1", "zone_call_ob"} <= set(trips.needs)
    assert "zone_call_w1" not in trips.needs
    # a conventional thermostat's Y is cooling: no part of a heating question
    trips = question(make_plan("furnace_ac"), "high-limit-trips")
    assert set(trips.needs) == {"supply_temp", "output_w1", "zone_call_w1"}


def test_words_and_codes_choose_and_a_wrong_one_is_refused_with_the_nearest() -> None:
    assert [q.name for q in make_plan("furnace", ("short-cycling",)).questions] == ["short-cycling"]
    both = {q.name for q in make_plan("furnace", ("cycling", "static")).questions}
    assert both >= {"short-cycling", "output-chatter", "static-above-target"}
    assert not both & {"runtime", "high-limit-trips"}
    with pytest.raises(InputError) as refused:
        make_plan("furnace", ("short-cycle",))
    assert refused.value.found == "short-cycle" and refused.value.expected == '"short-cycling"?'
    with pytest.raises(InputError) as refused:
        make_plan("furnace", ("low-limit-trips",))
    assert "it does not cool" in str(refused.value.expected)


@pytest.mark.parametrize("kind", KINDS)
def test_every_channel_has_a_place_and_every_question_what_it_takes(kind: str) -> None:
    site_of_all = Equipment(kind, economizer=True, ventilator="erv")
    assert installed(site_of_all, Settings(stage_up_by="both"), ()).roles <= set(PROBES)
    plan = make_plan(kind)
    for c in plan.channels:
        assert c.where and c.without and c.set_to_s <= c.slowest_s and (c.needed_by or c.helps_with)
    for q in plan.questions:
        assert q.needs and q.hours == 6 and q.days == 2 and q.interval.why, q.name
    assert plan.days == 7


# ----------------------------------------------------------------------- order of worth


def test_worth_counts_each_subject_once_and_help_half() -> None:
    asked = ("high-limit-trips", "equipment-cut-outs", "limit-did-not-act", "static-above-target")
    plan = make_plan("furnace", asked)
    # static: needed by 1 of 1 static question, helps with all 3 of the trip questions: 1 + 3/3/2
    assert math.isclose(channel(plan, "static_pressure").worth, 1.5)
    # supply air: needed by 3 of 3 trip questions, helps with the static one: 1 + 1/2
    assert math.isclose(channel(plan, "supply_temp").worth, 1.5)
    # the flame helps with one of 3 trip questions: 1/3/2
    assert math.isclose(channel(plan, "flame").worth, 1 / 6)
    needed = [c.is_needed for c in plan.channels]
    assert needed == sorted(needed, reverse=True)


# ----------------------------------------------------------------------- what is there already


def logged(**intervals: float | None) -> tuple[Logged, ...]:
    return tuple(
        Logged(role, 1 if role.startswith("zone_") else None, interval_s)
        for role, interval_s in intervals.items()
    )


@pytest.mark.parametrize(
    ("supply_s", "standing"), [(30, READY), (60, READY), (61, TOO_SLOW), (None, NOT_KNOWN)]
)
def test_standing_of_trips_at_its_bound(supply_s: float | None, standing: str) -> None:
    have = logged(supply_temp=supply_s, output_w1=1, zone_call_w1=1)
    q = question(make_plan(site(), ("high-limit-trips",), have), "high-limit-trips")
    assert q.standing == standing
    if standing == TOO_SLOW:
        assert q.too_slow == ("Supply air every 61 s, 60 s would do",)
    # between 30 and 60 s it answers, and says that not all is certain
    unsure = any("that every one was seen" in text for text in q.cannot_tell)
    assert unsure == (supply_s == 60)


def test_missing_channel_and_unknown_causes_are_named() -> None:
    plan = make_plan(site(), ("high-limit-trips",), logged(supply_temp=10, output_w1=1))
    q = question(plan, "high-limit-trips")
    assert (q.standing, q.missing) == (MISSING, ("heat calls",))
    assert "little air told from much heat; time over target (no supply static)" in q.cannot_tell
    assert channel(plan, "zone_call_w1").logged == "not logged"
    assert channel(plan, "supply_temp").logged == "every 10 s"


def test_a_question_that_is_ready_has_all_that_its_rule_asks_for() -> None:
    """Held against the rules' own declarations: of each group of roles at least one is logged."""
    chance = random.Random(5)
    declared = {r.code: r.declaration.needs_roles for r in rules()}
    seen = {READY: 0, MISSING: 0, INFERRED: 0}
    for kind in KINDS * 20:
        roles = {role for role in PROBES if chance.random() < 0.6} or {"supply_temp"}
        plan = make_plan(site(kind), (), logged(**dict.fromkeys(roles, 1.0)))
        for q in plan.questions:
            groups = declared.get(q.name, ())
            if q.standing == READY:
                assert all(set(g) & roles for g in groups), (kind, q.name, roles)
            if any(not set(g) & roles for g in groups):
                assert q.standing in (MISSING, INFERRED), (kind, q.name, roles)
            seen[q.standing or ""] += 1
    assert min(seen[READY], seen[MISSING]) > 100


def test_w_of_a_heat_pump_is_its_strip_heat() -> None:
    have = logged(supply_temp=10, output_w1=1, output_y1=1, zone_call_y1=1, zone_call_ob=1)
    plan = make_plan(site("heat_pump"), ("high-limit-trips",), have)
    q = question(plan, "high-limit-trips")
    assert q.standing == READY and channel(plan, "output_aux").logged == "every 1 s"


def test_calls_that_are_logged_tell_which_thermostats_there_are() -> None:
    have = logged(supply_temp=10, output_w1=1, output_y1=1, zone_call_y1=1)
    q = question(make_plan(site("dual_fuel"), ("trips",), have), "high-limit-trips")
    assert q.standing == READY  # Y calls without W calls: heat pump thermostats
    assert "whether a Y call meant heat or cooling (no reversing valve calls)" in q.cannot_tell


def test_a_zone_without_its_call_is_named() -> None:
    zones = (Zone(1, "Main"), Zone(2, "Den"))
    have = logged(supply_temp=10, output_w1=1, zone_call_w1=1)
    q = question(make_plan(replace(site(), zones=zones), ("trips",), have), "high-limit-trips")
    assert q.standing == READY and "Den: no heat calls" in q.cannot_tell


# ----------------------------------------------------------------------- the form


def test_form_holds_every_key_that_can_be_read_off() -> None:
    """Every key of site.toml stands on some kind's form, or in the list of those that do not."""
    on_form = set()
    for kind in KINDS:
        here = installed(Equipment(kind), Settings(), ())
        on_form |= {f.key for s in stations(None, here) for f in s.facts}
    elsewhere = {key for keys in NOT_READ_OFF.values() for key in keys}
    keys = {
        f"{t}.{k}" for t in ("site", "equipment", "settings", "zone", "visit") for k in TABLES[t]
    }
    keys.discard("zone.number")  # heads the zones' columns
    assert on_form <= keys
    assert on_form | elsewhere == keys
    assert not on_form & elsewhere


def test_form_is_in_walking_order_and_shows_what_site_toml_says() -> None:
    plan = make_plan(read_site(LARCH))
    assert [s.title.split(":")[0] for s in plan.stations] == [
        "On arrival", "Furnace", "Outdoor unit", "Panel", "Thermostats and dampers", "Visits",
    ]  # fmt: skip
    assert "photograph" in plan.stations[0].first.lower()
    given = {f.key: f.given for s in plan.stations for f in s.facts}
    assert given["settings.high_limit_f"] == "150"
    assert given["equipment.temperature_rise_f"] == "35–65, 40–70"
    assert given["equipment.heat_pump_output_btuh"] == "30000 at 47 °F, 17500 at 17 °F"


# ----------------------------------------------------------------------- words, cautions, JSON


def test_cautions_of_the_work_are_there_and_nothing_suggests_defeating_a_safety() -> None:
    spec = importlib.util.spec_from_file_location(
        "rules_of_the_house", Path(__file__).parent / "findings" / "test_rules_of_the_house.py"
    )
    assert spec and spec.loader
    house = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(house)
    plan = make_plan("dual_fuel")
    said = " ".join(plan.cautions)
    for word in (
        "coil", "exchanger", "wiring", "isolated contact", "Never load the 24 V circuit",
        "licensed", "power off", "CO alarm", "not a safety check", "Photograph settings",
    ):  # fmt: skip
        assert word in said, word
    texts = [*plan.cautions, *(f"{p.where}; {p.care}" for p in PROBES.values())]
    assert not [t for t in texts if house.suggests(t)]
    assert house.suggests("Bypass the float switch.")  # it can see one
    # no gas, no refrigerant: no caution about them
    assert "CO alarm" not in " ".join(make_plan("ac").cautions)
    assert "Refrigerant" not in " ".join(make_plan("furnace").cautions)


def test_document_is_whole_and_plain_json() -> None:
    plan = make_plan(read_site(LARCH), ("trips",))
    document = json.loads(json.dumps(plan_document(plan), allow_nan=False))
    assert document["schema"] == "zonetrail.plan/1" and document["site"] == "larch-14"
    assert [c["role"] for c in document["channels"]] == [c.role for c in plan.channels]
    assert {q["name"] for q in document["questions"]} == {q.name for q in plan.questions}
    assert len(document["facts"]) == len(plan.stations)


def test_text_gives_the_answer_first_and_says_units_as_asked() -> None:
    plan = make_plan(read_site(LARCH), ("fuel",), units="si")
    text = plan_text(plan, 90)
    assert text.startswith("14 Larch Lane, upstairs and down: Log ")
    # outputs need 30 s, and supply beside them no more: 7 * 86,400 / 30
    assert "20,160 readings a channel" in " ".join(text.split())
    assert max(len(line) for line in text.splitlines()) <= 90
    # balance points 38 and 45 °F with 2 °F beyond: 36 °F = 2.2 °C, 47 °F = 8.3 °C
    assert "under 2.2 °C, and over 8.3 °C" in question(plan, "fuel").weather
    us = question(make_plan(read_site(LARCH), ("fuel",)), "fuel").weather
    assert "under 36 °F, and over 47 °F" in us


def test_text_of_a_log_without_outputs_is_readable_and_says_what_is_inferred() -> None:
    """What lacks is told in whole words at 90 characters; runs are inferred from the two probes."""
    air = (Logged("supply_temp", None, 10.0), Logged("return_temp", None, 10.0))
    text = plan_text(make_plan(read_site(LARCH), ("trips",), air), 90)
    lines = text.splitlines()
    assert any("no W1 out or Y1 out; no heat calls" in line for line in lines)
    assert max(map(len, lines)) <= 90
    said = " ".join(text.split())
    assert "short cycling are inferred, with an expected error" in said
    known = (*air, Logged("output_w1", None, 1.0, is_sampled=False))
    assert "inferred" not in plan_text(make_plan(read_site(LARCH), ("trips",), known), 90)
    assert "inferred" not in plan_text(make_plan(read_site(LARCH), ("trips",), air[:1]), 90)


@pytest.mark.parametrize(
    ("air_s", "standing"),
    [(10, INFERRED), (60, INFERRED), (61, MISSING), (300, MISSING), (None, NOT_KNOWN)],
)
def test_supply_and_return_air_answer_run_time_by_inference_at_their_bound(
    air_s: float | None, standing: str
) -> None:
    """Bound and errors are those the stage and the expected errors themselves declare."""
    air = logged(supply_temp=air_s, return_temp=air_s)
    plan = make_plan(site("furnace_ac"), (), air)
    q = question(plan, "runtime")
    assert q.standing == standing
    if standing == INFERRED:
        errors = [expected("furnace_ac", mode, 60.0) for mode in ("heating", "cooling")]
        worst = max(e.runtime_frac for e in errors if e is not None)
        assert f"run time about ±{words.share(worst)}" in q.inferred
        assert "questions can be answered, by what is inferred only" in standing_text(plan)
        assert question(plan, "high-limit-trips").standing == MISSING
    if standing == MISSING:
        assert "60 s would do to infer them" in " ".join(q.too_slow)


def test_nothing_is_inferred_beside_logged_outputs_or_without_return_air() -> None:
    for have in (logged(supply_temp=10, return_temp=10, output_y1=1), logged(supply_temp=10)):
        plan = make_plan(site("furnace_ac"), ("cycling", "runtime"), have)
        assert all(q.standing != INFERRED for q in plan.questions)


def test_short_cycling_is_not_promised_where_inferred_starts_are_too_far_off() -> None:
    """A heat pump's starts in heating are off by more than would be called short cycling."""
    air = logged(supply_temp=10, return_temp=10)
    pump = expected("heat_pump", "heating", 10.0)
    assert pump is not None
    assert pump.starts_frac > THRESHOLDS["short_cycling_min_share"].value / 2
    q = question(make_plan(site("heat_pump"), ("short-cycling",), air), "short-cycling")
    assert q.standing == MISSING or any(t.startswith("heating: ") for t in q.cannot_tell)
    q = question(make_plan(site("furnace"), ("short-cycling",), air), "short-cycling")
    assert q.standing == INFERRED


def test_calls_are_read_off_dampers_of_zones_that_relieve_nothing() -> None:
    larch = read_site(LARCH)
    relief = {z.number for z in larch.zones if z.relief}
    assert relief and relief < {z.number for z in larch.zones}
    dampers = tuple(Logged("zone_damper", z.number, 10.0) for z in larch.zones)
    air = logged(supply_temp=10, return_temp=10)
    q = question(make_plan(larch, ("calls",), (*dampers, *air)), "calls")
    assert q.standing == INFERRED and "dampers" in q.inferred
    assert any("says nothing of calls" in text for text in q.cannot_tell)
    only = tuple(d for d in dampers if d.zone in relief)
    assert question(make_plan(larch, ("calls",), (*only, *air)), "calls").standing == MISSING


def test_redacted_plan_names_no_zone_and_no_house() -> None:
    plan = make_plan(read_site(LARCH), redact=True)
    said = json.dumps(plan_document(plan), ensure_ascii=False)
    for private in ("Larch Lane", "Bedroom over garage", "laundry"):
        assert private not in said
    assert plan.name == "larch-14" and plan.zones[0] == "zone 1"
