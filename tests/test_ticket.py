"""The ticket: each part of the sheet from a small result worked by hand, and what must never be."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from pipeline.findings._base import NOT_HERE, PLACES
from pipeline.findings._cautions import CARBON_MONOXIDE, HEAT_OFF, WATCHED
from pipeline.first_checks import first_cautions, first_checks
from pipeline.result import Span
from pipeline.site_reader import read_site
from pipeline.ticket import make_ticket, ticket_document
from pipeline.ticket_answers import answers
from pipeline.ticket_checks import TicketCheck
from pipeline.ticket_steps import _busiest
from reports.ticket import LEVELS, cut, cut_aside, cut_steps, fitting_level, render_ticket
from reports.ticket_text import ticket_text
from tests import report_sample as sample

ROOT = Path(__file__).parents[1]
HOSTILE = "</script><script>x=1</script>\"'><img src=x onerror=x> %{y} \u202e=1+1 "


SITE = read_site(ROOT / "sample_data" / "larch-14" / "site.toml")


def ticket(site=SITE, **changes):
    return make_ticket(sample.sample_result(**changes), site)


def with_complaint(text):
    return sample.sample_result(site=replace(sample.sample_result().site, complaint=text))


def finding(**changes):
    return replace(sample.sample_result().findings[0], **changes)


# ---------------------------------------------------------------- the customer's words


def test_each_part_of_the_complaint_is_answered() -> None:
    said = answers(with_complaint("Keeps shutting off, short cycling and smells odd."))
    assert [(a.words, a.said) for a in said] == [
        ("Keeps shutting off", "yes: high-limit trips, once"),  # one trip in the sample
        ("short cycling", "not in this log: no short cycling"),  # judged, not found
        ("smells odd", "not something this log can show"),
    ]


def test_on_and_off_is_one_part() -> None:
    assert [a.words for a in answers(with_complaint("goes on and off and roars"))] == [
        "goes on and off",
        "roars",
    ]


def test_a_room_is_answered_by_its_own_row() -> None:
    rows = [
        {
            "zone": z, "mode": "heating", "rule": "setpoint", "not_keeping_up_s": s,
            "n_stretch": 1, "n_day": 1,
        }
        for z, s in ((1, 0.0), (2, 7200.0))
    ]  # fmt: skip
    frames = sample.sample_result().frames | {
        "measure.zone_comfort": sample.frame("measure.zone_comfort", rows)
    }
    result = replace(with_complaint("the loft is cold; main floor is cold"), frames=frames)
    assert [a.said for a in answers(result)] == [
        "yes: Loft was not keeping up for 2 hours on 1 day",
        "not in this log: Main floor was never found behind",
    ]


def test_long_calls_without_a_setpoint_fit_the_words_and_are_no_yes() -> None:
    row = {
        "zone": 2, "mode": "heating", "rule": "long call", "not_keeping_up_s": 7200.0,
        "n_stretch": 1, "n_day": 1,
    }  # fmt: skip
    frames = sample.sample_result().frames | {
        "measure.zone_comfort": sample.frame("measure.zone_comfort", [row])
    }
    said = answers(replace(with_complaint("the loft is cold"), frames=frames))[0].said
    assert said.startswith("fits: Loft called for 2 hours") and "setpoint was not logged" in said


def test_a_room_nobody_watched_is_not_said_to_be_well() -> None:
    said = answers(with_complaint("loft is cold"))[0].said
    assert said.startswith("cannot tell")


def test_no_answer_where_redacted() -> None:
    assert answers(replace(with_complaint("it is cold"), redacted=True)) == []


# ---------------------------------------------------------------- making it happen, and when


@pytest.mark.parametrize("left_s, is_told", [(59.0, True), (60.0, False), (-240.0, False)])
def test_static_on_a_clock_that_is_off_is_not_told_beside_calls(
    left_s: float, is_told: bool
) -> None:
    result = sample.sample_result()
    assert result.thresholds["clock_offset_warn_s"] == 60
    # channel 2 of the sample is its static
    off = sample.frame("trust.clock_left", [{"channel_id": 2, "left_us": left_s * 1e6}])
    steps = ticket(frames=result.frames | {"trust.clock_left": off}).steps
    assert ("static over" in steps) is is_told and "heat dropping out near 150 °F" in steps


def test_trips_are_made_to_happen_by_their_own_zone_and_stage() -> None:
    steps = ticket().steps
    # the sample's one trip: zone 1 alone, second stage, 0.5 in. w.c., 150 °F after 300 s
    assert steps.startswith("Call Main floor alone for heat and let second stage come.")
    assert "static over 0.50 in. w.c." in steps
    assert "near 150 °F, 5 min into the run" in steps
    # either temperature stands beside what it belongs to: 150 °F is the panel's setting, 170 °F
    # the plate's maximum, from the site file; "whichever comes first (170 °F)" would read as 170
    assert (
        "Stay at the unit: end the call at the panel's limit (150 °F) or at the plate's maximum "
        "outlet temperature (170 °F), whichever comes first."
    ) in steps
    # what must be done for safety is said before what to expect: it is the last to be cut
    assert steps.index("Stay at the unit") < steps.index("Expect")


def test_a_temperature_that_nobody_gave_is_left_out_of_when_to_stop() -> None:
    result = replace(sample.sample_result(), site=replace(sample.sample_result().site, settings=()))
    plate = replace(SITE, equipment=replace(SITE.equipment, max_outlet_f=None))
    assert f"{WATCHED.removeprefix('stay at the unit; ')}." in make_ticket(result, plate).steps


def test_second_stage_is_expected_to_stay_in_as_long_as_it_surely_did() -> None:
    """90 s are within what it may take: only the ten minutes are told."""
    frames = dict(sample.sample_result().frames)
    first = frames["measure.stage_up"].iloc[[0]]
    frames["measure.stage_up"] = pd.concat(
        [
            first.assign(stayed_in_s=90.0, is_stayed_in=False),
            first.assign(stayed_in_s=600.0, is_stayed_in=True),
        ],
        ignore_index=True,
    )
    found = (finding(code="second-stage-stayed-in"),)
    assert (
        "Expect second stage to stay in for 10 min." in ticket(frames=frames, findings=found).steps
    )


def test_nothing_is_forced_where_heat_is_to_stay_off() -> None:
    steps = ticket(findings=(finding(cautions=(HEAT_OFF,)),)).steps
    assert steps.startswith("Do not force it.")


def test_when_names_days_hours_and_weather() -> None:
    weather = sample.frame(
        "interval.weather",
        [{"start_ts": sample.at(13, 6), "end_ts": sample.at(13, 7), "outdoor_f": 20.0}],
    )
    frames = sample.sample_result().frames | {"interval.weather": weather}
    when = ticket(frames=frames).when
    assert when == "On 1 day, at 6:04 am, 20 °F outdoors."


def test_busiest_stretch_of_the_day() -> None:
    # 10 events: eight from 20:00 to 20:35 at 5 min, one at 3:00, one at 12:00. 80 % of 10 are 8.
    minutes = [1200 + 5 * i for i in range(8)] + [180, 720]
    assert _busiest(minutes, 0.8) == (1200, 35, 8)
    # over midnight: 23:50, 0:10, 0:20 are one stretch of 30 min that starts at 23:50
    assert _busiest([10, 20, 1430], 1.0) == (1430, 30, 3)


# ---------------------------------------------------------------- checks, settings, boxes, proof


def test_checks_are_in_walking_order_whatever_order_the_findings_give() -> None:
    checks = (
        "At the outdoor unit: look. Good: clean. If not: rinse.",
        "At the unit: read codes. Good: none. If not: note them.",
        "At the panel: read the limit. Good: 150. If not: ask.",
        "At the panel: read the delay. Good: 10. If not: ask.",
        "At the thermostats: read. Good: 70. If not: ask.",
    )
    made = ticket(findings=(finding(checks=checks),))
    # the fifth is beyond what one finding may put on the sheet; a place's second comes last in rank
    assert [(c.place, c.rank) for c in made.checks] == [
        ("At the panel", 2),
        ("At the panel", 3),
        ("At the unit", 1),
        ("At the outdoor unit", 0),
    ]
    assert made.n_more_checks == 1
    assert made.checks[0].how == "Read the limit."
    assert (made.checks[0].good, made.checks[0].bad) == ("150.", "ask.")


def test_what_the_verdict_says_first_of_the_log_has_its_check() -> None:
    """A clock that is off leads the verdict; the sheet and the terminal then say what to do."""
    clock = finding(
        code="clock-offset", about="log", severity="watch", cautions=(),
        checks=("At the office: put the clock right. Good: agrees.", "At the loggers: set it."),
    )  # fmt: skip
    places = ("panel", "dampers", "unit", "thermostats", "outdoor unit")
    many = tuple(
        finding(
            code=f"made-up-{n}", checks=(f"At the {p}: look at {n}.",), cautions=(f"Care {n}.",)
        )
        for n, p in enumerate(places)
    )
    note = replace(clock, code="logging-gap", severity="note", checks=("At the office: ask.",))
    found = (clock, *many, note)
    rank = {c.place: c.rank for c in ticket(findings=found).checks}
    assert (rank["At the panel"], rank["At the office"]) == (0, 1)
    # the house first, as on the page; what the log asks for is not left out
    assert first_checks(found, 3) == ["At the panel: look at 0.", clock.checks[0]]
    assert first_cautions(found, 2) == ["Care 0.", "Care 1."]  # a finding of the log has none
    # the log alone: its own checks; a note of it does not come before the house
    assert first_checks((clock,), 3) == list(clock.checks)
    assert first_checks((*many, note), 1) == ["At the panel: look at 0."]


def test_settings_nobody_read_get_a_line() -> None:
    settings = dict(ticket().settings)
    assert settings["high_limit_f"] == "150 °F"
    assert settings["stage2_min_zones"] == ""


def test_boxes_carry_the_plates_bands() -> None:
    boxes = dict(ticket().boxes)
    assert boxes["Rise, stage 2"] == "plate: 40 to 70 °F"
    # the plate's static is of both sides together: it stands under neither alone
    assert (boxes["Supply static"], boxes["Return static"]) == ("", "")
    assert boxes["Supply + return"] == "plate: 0.50 in. w.c."
    si = dict(ticket(units="si").boxes)
    # differences: 40 / 1.8 = 22.2, 70 / 1.8 = 38.9
    assert si["Rise, stage 2"] == "plate: 22.2 to 38.9 °C"


def test_proof_names_the_state_and_the_days_it_takes() -> None:
    # 1.5 h of zone 1 alone in 2 days are 0.75 h a day: 5 h take 6.67, so 7 days
    assert "5 hours (or 20 calls) of Main floor alone calling for heat" in ticket().prove
    assert "about 7 days after the fix" in ticket().prove


def test_stop_lines_come_from_grave_findings_the_plate_and_the_customer() -> None:
    grave = finding(cautions=(CARBON_MONOXIDE, "Another."))
    plain = replace(SITE, call_first=True, equipment=replace(SITE.equipment, leak_control=True))
    made = ticket(plain, findings=(grave,))
    assert made.stop[0].startswith("Call this customer")
    assert made.stop[1] == CARBON_MONOXIDE
    assert "Leak control" in made.stop[2]
    assert CARBON_MONOXIDE not in made.do_not and "Another." in made.do_not
    assert ticket(findings=(replace(grave, severity="watch"),)).stop == ()


def test_redacted_sheet_has_no_name_words_or_places() -> None:
    made = ticket(redacted=True)
    text = f"{ticket_document(made)}{render_ticket(made)}{ticket_text(made)}"
    for secret in ("1 Larch Lane", "shutting off", "riser by the laundry"):
        assert secret not in text
    assert "larch-1" in text


def test_an_empty_site_still_gives_a_sheet_that_says_so() -> None:
    made = make_ticket(sample.empty_result(), SITE)
    assert made.call == "cannot judge"
    assert "Nothing was found" in made.steps
    page = render_ticket(made)
    assert "Cannot judge" in page and "outdoor air not logged" in page


def test_the_data_says_what_limits_the_sheet_and_nothing_of_what_is_not_here() -> None:
    result = sample.sample_result()
    off = result.frames["trust.clock_offset"].iloc[[0]].assign(
        logger="made", reference_logger="panel", offset_s=236.0, applied_s=0.0, confidence="shown",
    )  # fmt: skip
    # channel 2 of the sample is its static
    channels = result.frames["channel.channel"].copy()
    channels["logger"] = ["made" if c == 2 else "other" for c in channels["channel_id"]]
    verdict = replace(
        result.verdict,
        how_sure="Trips: shown. Looked at: two days. About the log: it stopped once.",
        cannot_tell=(
            f"Strip heat in mild weather: {NOT_HERE}a heat pump with strip heat.",
            "Static hunting: the clock of made is 4 min off.",
            "Defrost: only 29 min of compressor heat.",
        ),
    )
    frames = result.frames | {"trust.clock_offset": off, "channel.channel": channels}
    made = ticket(frames=frames, verdict=verdict).data
    assert made[0] == (
        "The clock of made runs 4 min ahead of panel and is not corrected here: what it read "
        "stands beside the wrong calls and stages."
    )
    assert made[1].startswith("Not logged, and would settle more: ") and "setpoints" in made[1]
    assert made[2:] == (
        "Two days.", "It stopped once.", "Cannot tell: Defrost: only 29 min of compressor heat."
    )  # fmt: skip
    # taken out, there is nothing left to say of it
    frames = frames | {"trust.clock_offset": off.assign(applied_s=236.0)}
    assert "clock" not in ticket(frames=frames, verdict=verdict).data[0]


def test_a_check_that_fits_keeps_every_word_of_what_a_bad_result_means() -> None:
    """What needs a licence stands at its end, and is not cut off to a quarter of the room."""
    bad = "airflow or gas input is off: filter, coil, return, blower; gas by a licensed technician."
    plain = TicketCheck(0, "At the unit", "Measure the rise.", "in the band.", f"{bad} {bad}")
    made = replace(ticket(), checks=(plain,))
    level = next(n for n, level in enumerate(LEVELS) if len(plain.bad) < level.check_letters <= 440)
    assert len(plain.bad) > LEVELS[level].check_letters // 4
    assert f"{bad} {bad}" in " ".join(
        re.sub("&#39;", "'", render_ticket(made, level=level)).split()
    )


def test_an_answer_that_is_too_long_loses_its_aside_first() -> None:
    said = "fits: a room called for 53 hours in calls that hardly moved it"
    assert cut_aside(f"{said} (its setpoint was not logged)", 80) == said
    assert cut_aside(f"{said} (aside)", 80) == f"{said} (aside)"


def full_ticket():
    """A customer with three complaints and a log with much to check: the text has to choose."""
    places = ("panel", "dampers", "ducts", "unit", "outdoor unit")
    look = "look at this and that and at what stands beside it, then at the rest of it"
    checks = tuple(f"{PLACES[p]}: {look}. Good: as it should. If not: mend it." for p in places)
    thermostat = f"{PLACES['thermostat']}: {look}. Good: set. If not: set it."
    base = sample.sample_result()
    names = {1: "Bedroom over the garage 1", 2: "Bedroom over the garage 2"}
    settings = tuple((f"made_up_setting_{n}", f"{n} min", "") for n in range(12))
    result = sample.sample_result(
        site=replace(
            base.site,
            zones=names,
            complaint="bedroom is cold, vents roar, it keeps shutting off, it smells odd",
            settings=(*settings, *base.site.settings),
        ),
        verdict=replace(
            base.verdict, how_sure="Limit trips: seen. Looked at: all.", sentence=look * 9
        ),
        findings=(
            finding(cautions=(CARBON_MONOXIDE, *(f"{look} {n}" for n in range(6))), checks=checks),
            finding(code="short-cycling", checks=(thermostat,)),
        ),
    )  # fmt: skip
    return make_ticket(result, SITE)


def test_the_text_says_how_sure_what_was_set_and_where_the_walk_begins() -> None:
    text = ticket_text(full_ticket())
    assert len(text) < 2000
    lines = text.splitlines()
    assert "HOW SURE: Limit trips: seen." in lines
    checks = [line for line in lines if re.match(r"\d\. ", line)]
    assert len(checks) >= 3 and checks[0].startswith("1. At the thermostats: ")
    found = next(line for line in lines if line.startswith("AS FOUND: "))
    # of fourteen settings those that limits and stages rest on come first
    assert found.startswith("AS FOUND: static target 0.40 in. w.c.; high limit 150 °F")


def test_when_to_end_a_forced_call_is_never_cut() -> None:
    steps = f"Call {', '.join(['Bedroom over the garage'] * 9)} for heat. {WATCHED}. Expect heat."
    for most in (100, 200, 300):
        assert cut_steps(steps, most) == steps.replace("Expect heat.", "…")
    assert cut_steps(steps, 400) == steps
    assert len(cut_steps("Look at the panel. " * 99, 200)) <= 200
    long = long_ticket()
    for text in (ticket_text(replace(long, steps=steps)), ticket_text(full_ticket())):
        assert len(text) < 2000 and "whichever comes first." in text


# ---------------------------------------------------------------- the forms


def long_ticket():
    """Many findings, long names, texts without end."""
    names = {1: "Wide " * 2000, 2: HOSTILE * 200}
    site = replace(
        sample.sample_result().site,
        name=HOSTILE * 500,
        complaint=(HOSTILE + "cold, ") * 400,
        zones=names,
        settings=tuple((f"made_up_setting_{n}", HOSTILE * 9, "") for n in range(60)),
    )
    text = f"{names[1]} and {HOSTILE * 3} did it again and again. "
    many = tuple(
        finding(
            code=f"made-up-{n}",
            severity="act",
            summary=text * 3,
            ruled_out=(text, text + "x"),
            checks=tuple(
                f"{p}: {text * 4} Good: {text}. If not: {text}."
                for p in ("At the panel", "At the unit", "At the dampers", "Along the ducts")
            ),
            cautions=(HEAT_OFF, CARBON_MONOXIDE, *(f"{text} {n} {m}" for m in range(6))),
            evidence=tuple(Span(sample.at(13, h), sample.at(13, h, 5)) for h in range(20)),
        )
        for n in range(30)
    )
    verdict = replace(
        sample.sample_result().verdict,
        sentence=text * 9,
        how_sure=text * 9,
        ruled_out=(text,) * 40,
        cannot_tell=(text,) * 40,
    )
    return make_ticket(sample.sample_result(site=site, findings=many, verdict=verdict), SITE)


def test_page_has_no_script_loads_nothing_and_is_light() -> None:
    for made in (ticket(), long_ticket()):
        page = render_ticket(made)
        assert page.count("<script") == 0
        assert "default-src &#39;none&#39;; script-src &#39;none&#39;" in page
        assert not re.search(r"(?:src|href)\s*=\s*[\"'](?!#)", page)
        assert len(page.encode()) <= 60_000


def test_names_and_notes_are_data() -> None:
    page = render_ticket(long_ticket())
    assert "<img" not in page and "\u202e" not in page
    assert "&lt;/script&gt;" in page


def test_page_is_the_same_bytes_again() -> None:
    assert render_ticket(long_ticket()) == render_ticket(long_ticket())


def test_paper_is_named() -> None:
    assert "@page{size:a4}" in render_ticket(ticket(), "a4")
    assert "@page{size:letter}" in render_ticket(ticket())


def test_longest_texts_step_down_but_keep_the_verdict_and_the_stop_line() -> None:
    made = long_ticket()
    assert 0 < fitting_level(made) < len(LEVELS)
    page = render_ticket(made)
    assert "If a CO alarm sounds" in page
    assert fitting_level(ticket()) == 0  # little to say: all of it, in the largest type


@pytest.mark.parametrize("which", ["short", "long", "empty"])
def test_text_pastes_into_a_ticket_field(which: str) -> None:
    made = {
        "short": ticket,
        "long": long_ticket,
        "empty": lambda: make_ticket(sample.empty_result(), SITE),
    }[which]()
    text = ticket_text(made)
    assert len(text) < 2000
    assert all(len(line) < 600 for line in text.splitlines())
    assert text.splitlines()[-1].endswith("Not a safety check.")
    assert not re.search(r"[\u202a-\u202e\x00-\x08]", text)


def test_text_gives_way_in_the_least_needed_parts_first() -> None:
    text = ticket_text(ticket())
    assert "ACT: The panel's high limit shut the heat off once." in text
    assert '"it keeps shutting off": yes: high-limit trips, once' in text
    assert "1. At the panel: Read the minimum zones. Good: 2." in text


def test_cut_ends_at_a_sentence_or_word() -> None:
    assert cut("One two three. Four five six.", 20) == "One two three. …"
    assert cut("One two three four", 12) == "One two…"
    assert cut("short", 12) == "short"
