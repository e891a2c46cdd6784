"""Judgement numbers in the units of the report."""

from __future__ import annotations

import pytest

from pipeline.threshold_words import TEMPERATURES, number_said
from pipeline.thresholds import THRESHOLDS


@pytest.mark.parametrize(
    ("name", "value", "us", "si"),
    [
        # a temperature: (32 - 32) / 1.8 = 0, (140 - 32) / 1.8 = 60
        ("freezing_f", 32.0, "32 °F", "0 °C"),
        ("no_fan_supply_f", 140.0, "140 °F", "60 °C"),
        # a difference: 2 / 1.8 = 1.11, and no 32 taken off
        ("zone_off_f", 2.0, "2 °F", "1.11 °C"),
        ("over_gain_f_per_h", 0.9, "0.9 °F/h", "0.5 °C/h"),
        ("not_keeping_up_once_degree_h", 4.5, "4.5 °F h", "2.5 °C h"),
        # 249.08891 Pa to the inch (NIST SP 811, appendix B): 0.05 of it are 12.45
        ("static_finding_over_inwc", 0.05, "0.05 in. w.c.", "12.5 Pa"),
        ("compare_min_hours", 5.0, "5 h", "5 h"),
        ("coverage_warn_frac", 0.9, "90 %", "90 %"),
    ],
)
def test_a_number_is_said_in_the_units_of_the_report(
    name: str, value: float, us: str, si: str
) -> None:
    assert number_said(name, value) == us
    assert number_said(name, value, "si") == si


def test_no_number_of_a_report_in_si_stays_in_us_units() -> None:
    said = {name: number_said(name, t.value, "si") for name, t in THRESHOLDS.items()}
    assert [n for n, text in said.items() if "°F" in text or "in. w.c." in text] == []


def test_what_is_told_as_a_temperature_is_one() -> None:
    """No difference in the table is as large as freezing; what is that large is a temperature."""
    degrees = {n: t for n, t in THRESHOLDS.items() if t.unit == "°F"}
    assert set(degrees) >= TEMPERATURES
    assert {n for n, t in degrees.items() if t.value >= 32} <= TEMPERATURES
