"""How numbers, times and zones are said."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from pipeline import words

DENVER = "America/Denver"


def ts(*parts, fold=0):
    t = datetime(*parts, tzinfo=ZoneInfo(DENVER), fold=fold)
    return int(t.timestamp()) * 1_000_000


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        ((2026, 1, 13, 6, 42), "Tue 6:42 am"),
        ((2026, 1, 13, 0, 5), "Tue 12:05 am"),
        ((2026, 1, 13, 12, 0), "Tue 12:00 pm"),
        ((2026, 1, 18, 21, 10), "Sun 9:10 pm"),
    ],
)
def test_clock(parts, said):
    assert words.clock(ts(*parts), DENVER) == said


def test_a_log_of_a_year_is_told_with_years():
    at = ts(2026, 1, 13, 6, 42)
    assert words.clock(at, DENVER, with_year=True) == "Tue Jan 13 2026 6:42 am"
    later = at + 12 * 3_600_000_000
    said = words.clock_span(at, later, DENVER, with_year=True, units="si")
    assert said == "Tue Jan 13 2026 06:42 to 18:42"


def test_clock_with_date_and_seconds():
    assert words.clock(ts(2026, 1, 13, 6, 42, 9), DENVER, with_date=True) == "Tue Jan 13 6:42 am"
    assert words.clock(ts(2026, 1, 13, 6, 42, 9), DENVER, with_seconds=True) == "Tue 6:42:09 am"


def test_clock_follows_daylight_saving():
    # zoneinfo as the outside source: 2026-03-08 2:00 am becomes 3:00 am in Denver
    before = ts(2026, 3, 8, 1, 59)
    assert words.clock(before, DENVER) == "Sun 1:59 am"
    assert words.clock(before + 60_000_000, DENVER) == "Sun 3:00 am"


def test_clock_span_says_the_day_once():
    assert words.clock_span(ts(2026, 1, 13, 6, 42), ts(2026, 1, 13, 7, 5), DENVER) == (
        "Tue 6:42 am to 7:05 am"
    )
    assert words.clock_span(ts(2026, 1, 13, 23, 0), ts(2026, 1, 14, 1, 0), DENVER) == (
        "Tue 11:00 pm to Wed 1:00 am"
    )


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0, "0 s"),
        (89.4, "89 s"),
        (90, "1.5 min"),
        (240, "4 min"),
        (255, "4.5 min"),  # 4.25 min, half up
        (599, "10 min"),
        (900, "15 min"),
        (7170, "2 h"),  # 119.5 min is said as 120
        (7800, "2 h 10 min"),
        (172800, "2 days"),
        (700000, "8.1 days"),
    ],
)
def test_duration(seconds, said):
    assert words.duration(seconds) == said


def test_durations_say_the_unit_once():
    assert words.durations([1380, 120, 600]) == "2 to 23 min"
    assert words.durations([45, 240]) == "45 s to 4 min"
    assert words.durations([240, 241]) == "4 min"


def test_duration_refuses_negative():
    with pytest.raises(ValueError, match="negative"):
        words.duration(-1)


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (1800, "30 min"),
        (3600, "1 hour"),
        (15120, "4.2 hours"),
        (14400, "4 hours"),
        (219600, "61 hours"),
        (35820, "10 hours"),  # 9.95
    ],
)
def test_hours(seconds, said):
    assert words.hours(seconds) == said


@pytest.mark.parametrize(
    ("part", "whole", "said"),
    [
        (6480, 219600, "1.8 of 61 hours"),
        (219600, 219600, "all 61 hours"),
        (219500, 219600, "61 of 61 hours"),
        (3600, 219600, "1 of 61 hours"),
        (2400, 7200, "40 min of 2 hours"),
    ],
)
def test_a_part_of_some_hours(part, whole, said):
    assert words.hours_of(part, whole) == said


def test_counts():
    assert [words.count(n, "trip") for n in (0, 1, 23)] == ["no trips", "1 trip", "23 trips"]
    assert [words.times(n) for n in (0, 1, 2, 23)] == ["never", "once", "twice", "23 times"]
    assert [words.of_all(n, 23) for n in (0, 20, 23)] == ["none of 23", "20 of 23", "all 23"]
    assert words.of_all(2, 2) == "both"
    assert words.of_all(1, 1) == "the only one"
    assert words.of_all(0, 1) == "0 of 1"
    said = [words.of_all(n, total, "trip") for n, total in ((0, 23), (23, 23), (2, 2), (1, 1))]
    assert said == ["none of 23 trips", "all 23 trips", "both trips", "the only trip"]
    assert words.of_all(0, 1, "trip") == "0 of 1 trip"
    assert (words.of_all(0, 0), words.of_all(0, 0, "trip")) == ("none", "no trips")
    assert words.of_all(3, 4, "stretch", "stretches") == "3 of 4 stretches"
    assert [words.number(n) for n in (0, 3, 10)] == ["no", "three", "10"]


def test_share_never_rounds_to_all_or_nothing():
    said = [words.share(x) for x in (0, 0.004, 0.314, 0.994, 0.9999, 1)]
    assert said == ["0 %", "under 1 %", "31 %", "over 99 %", "over 99 %", "100 %"]


def test_units():
    # 148 °F = (148 - 32) / 1.8 = 64.4 °C; 0.40 in. w.c. x 249.08891 = 99.6 Pa (NIST SP 811)
    assert words.temperature(148.2) == "148 °F"
    assert words.temperature(148, "si") == "64.4 °C"
    assert words.temperature_difference(9, "si") == "5.0 °C"
    assert words.static(0.4) == "0.40 in. w.c."
    assert words.static(0.4, "si") == "100 Pa"
    assert words.static(-0.001) == "0.00 in. w.c."
    assert words.span_of([0.71, 0.83, 0.75], "pressure") == "0.71 to 0.83 in. w.c."
    assert words.span_of([148.4, 147.6], "temperature") == "148 °F"


def test_zones():
    names = {1: "Main floor", 3: "Den"}
    assert words.zones("1+3", names) == "Main floor and Den"
    assert words.zones("3+5", names) == "Den and zone 5"
    assert words.zones("", names) == words.zones(None, names) == "no zone"
    assert words.calling("3", names) == "Den alone"
    assert words.calling("1+3", names) == "Main floor and Den"
    assert words.joined(["a", "b", "c"]) == "a, b and c"
    assert words.zone_numbers("10+2") == (2, 10)


def test_sentences_keep_the_unit_s_own_full_stop():
    assert words.sentence("static 0.40 in. w.c.") == "Static 0.40 in. w.c."
    assert words.sentences("one", "", "two?") == "One. Two?"


def test_fixed_texts_in_the_units_of_the_report():
    # 0.03 x 249.089 = 7.5 Pa; (80 - 32) / 1.8 = 26.7
    text = "agree within 0.03 in. w.c., return air under 80 °F"
    assert words.in_units(text, "us") == text
    assert words.in_units(text, "si") == "agree within 7 Pa, return air under 26.7 °C"


def test_differences_in_fixed_texts_are_no_temperatures():
    # 2 / 1.8 = 1.1; 16 / 1.8 = 8.9; 22 / 1.8 = 12.2: no 32 taken off
    text = "within 2 degrees F of it, 16 to 22 degrees F colder"
    assert words.in_units(text, "us") == text
    assert words.in_units(text, "si") == "within 1.1 °C of it, 8.9 °C to 12.2 °C colder"


def test_too_little_of_a_state():
    assert words.only(0.0, "heat") == "no heat outside visits"
    assert words.only(720.0, "heat") == "only 12 min of heat outside visits"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Bedroom over garage hardly moves", "Bedroom over garage hardly moves"),
        ("Den", "Den"),
        ("Dens are warm", "dens are warm"),  # another word
        ("W1 stays on", "W1 stays on"),
        ("None of 23", "none of 23"),
    ],
)
def test_a_name_keeps_its_capital_inside_a_sentence(text, said):
    assert words.lowered(text, ("Bedroom over garage", "Den")) == said


def test_si_units_come_with_the_24_hour_clock():
    """In a report in °C and Pa no time of day is am or pm: not midnight, noon or a fixed text's."""
    at = datetime(2026, 1, 13, 20, 32, 7, tzinfo=ZoneInfo("America/Denver"))
    ts, zone = int(at.timestamp()) * 1_000_000, "America/Denver"
    assert words.clock(ts, zone, units="si") == "Tue 20:32"
    assert words.clock(ts, zone, with_date=True, with_seconds=True, units="si") == (
        "Tue Jan 13 20:32:07"
    )
    said = words.clock_span(ts, ts + 6 * 3_600_000_000, zone, units="si")
    assert said == "Tue 20:32 to Wed 02:32"
    assert [words.of_day(m, "si") for m in (0, 725, 1440)] == ["00:00", "12:05", "00:00"]
    assert [words.of_day(m) for m in (0, 725, 1205)] == ["12:00 am", "12:05 pm", "8:05 pm"]
    text = "between 10 am and 5:30 pm, at 12 am and 12 pm"
    assert words.in_units(text) == text
    assert words.in_units(text, "si") == "between 10:00 and 17:30, at 00:00 and 12:00"
