"""Drawings: palette, axes, paths, packing and words, each against hand-worked or outside values."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.result import Span
from reports.axis import time_ticks, value_ticks
from reports.display import Clock, Display
from reports.evidence import uncovered
from reports.markup import clean, plotly_text, shortened
from reports.svg import line_path, simplified, span_path
from reports.theme import DARK, LIGHT, LINE_HUES, TEXT_HUES, zone_style
from reports.wire import packed_array, unpacked_array

SECOND = 1_000_000

# ------------------------------------------------------------------ colours


def luminance(colour: str) -> float:
    """Relative luminance; W3C, WCAG 2.2, definition 'relative luminance'."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_formula_on_its_known_end() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)  # WCAG 2.2: range is 1 to 21


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_text_reads_on_paper_and_card(palette: dict[str, str]) -> None:
    # WCAG 2.2, 1.4.3 (AA): 4.5:1
    for hue in TEXT_HUES:
        for ground in ("paper", "card"):
            assert contrast(palette[hue], palette[ground]) >= 4.5, (hue, ground)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_lines_stand_out_from_paper_and_bands(palette: dict[str, str]) -> None:
    # WCAG 2.2, 1.4.11 (AA): 3:1 for what is needed to understand a drawing
    for hue in LINE_HUES:
        assert contrast(palette[hue], palette["paper"]) >= 3.0, hue
    for hue in ("supply", "return", "static", "on", "limit"):
        assert contrast(palette[hue], palette["band"]) >= 3.0, hue


def test_light_and_dark_name_the_same_hues_and_light_ones_differ() -> None:
    assert LIGHT.keys() == DARK.keys()
    assert len(set(LIGHT.values())) == len(LIGHT)  # the script maps light to dark by value


def test_first_sixteen_zones_are_drawn_differently() -> None:
    assert len({zone_style(i) for i in range(16)}) == 16


# ------------------------------------------------------------------ lines and bars


@given(
    st.lists(st.floats(-1e4, 1e4, allow_nan=False), min_size=2, max_size=200),
    st.floats(0.01, 50),
)
@settings(deadline=None)
def test_no_left_out_point_is_further_off_than_the_tolerance(
    values: list[float], tolerance: float
) -> None:
    x, y = np.arange(len(values), dtype=float), np.array(values)
    kept = simplified(x, y, tolerance)
    assert kept[0] == 0 and kept[-1] == len(values) - 1
    # numpy's own interpolation through the kept points is the outside measure
    off = np.abs(np.interp(x, x[kept], y[kept]) - y)
    assert off.max() <= tolerance * (1 + 1e-9) + 1e-6


def test_path_breaks_where_nothing_was_read() -> None:
    x, y = np.array([0.0, 10, 20, 30, 40]), np.array([5.0, 5, np.nan, 7, 7])
    assert line_path(x, y) == "M0 5l10 0M30 7l10 0"


def test_lone_reading_is_a_dash_and_no_reading_is_nothing() -> None:
    assert line_path(np.array([10.0]), np.array([4.0])) == "M8 4h4"
    assert line_path(np.array([10.0]), np.array([np.nan])) == ""


def test_bars_keep_their_edges_merge_when_touching_and_are_never_thinner_than_a_step() -> None:
    # 1500 steps across 1500 s: one step a second
    spans = ((0, 100 * SECOND), (100 * SECOND, 200 * SECOND), (500 * SECOND, 500 * SECOND + 1))
    assert span_path(spans, 0, 1500 * SECOND, 0, 10) == "M0 0h200v10h-200zM500 0h1v10h-1z"


def test_what_is_not_covered_is_what_remains() -> None:
    assert uncovered(((2 * SECOND, 4 * SECOND),), Span(0, 10 * SECOND)) == (
        (0, 2 * SECOND),
        (4 * SECOND, 10 * SECOND),
    )
    assert uncovered((), Span(0, 10 * SECOND)) == ((0, 10 * SECOND),)


@given(
    st.lists(st.one_of(st.none(), st.floats(-1e6, 1e6, allow_nan=False)), max_size=80),
    st.sampled_from([1, 10, 100, 1000, 10000]),
)
def test_packed_numbers_come_back_to_half_a_step(values: list[float | None], steps: int) -> None:
    given_values = np.array([np.nan if v is None else v for v in values], dtype=float)
    back = unpacked_array(packed_array(given_values, steps))
    assert np.array_equal(np.isnan(back), np.isnan(given_values))
    known = ~np.isnan(given_values)
    assert np.all(np.abs(back[known] - given_values[known]) <= 0.5 / steps + 1e-9)


# ------------------------------------------------------------------ axes


@pytest.mark.parametrize(
    ("low", "high", "labels"),
    [
        (0.0, 1.0, ["0", "0.25", "0.50", "0.75", "1.00"]),
        (64.0, 71.0, ["64", "66", "68", "70"]),
        (-10.0, 150.0, ["0", "50", "100", "150"]),
        (-2.0, 2.0, ["−2", "−1", "0", "1", "2"]),
    ],
)
def test_value_axis_has_round_numbers(low: float, high: float, labels: list[str]) -> None:
    assert [t.label for t in value_ticks(low, high)] == labels


def test_value_axis_of_a_flat_line_has_its_value() -> None:
    assert [t.label for t in value_ticks(3.0, 3.0)] == ["3"]


def test_time_axis_is_round_by_the_local_clock() -> None:
    # 5:57 to 6:43 am in India, whose clock is half an hour off the hours of UTC
    zone = ZoneInfo("Asia/Kolkata")
    start = dt.datetime(2026, 1, 13, 5, 57, tzinfo=zone)
    first = round(start.timestamp()) * SECOND
    ticks = time_ticks(first, first + 46 * 60 * SECOND, Clock("Asia/Kolkata").offset_us(first), 12)
    # 46 min in at most nine steps of a round length: every 10 min
    assert [t.label for t in ticks] == ["6:00 am", "6:10 am", "6:20 am", "6:30 am", "6:40 am"]
    at = dt.datetime.fromtimestamp(ticks[0].at / SECOND, zone)
    assert (at.hour, at.minute) == (6, 0)


# ------------------------------------------------------------------ words


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (45, "45 s"), (89.5, "89.5 s"), (150, "2 min 30 s"), (1800, "30 min"), (5369, "89 min"),
        (5399, "1 h 30 min"),
        (5400, "1 h 30 min"), (7200, "2 h"), (36000, "10 h"), (48601, "14 h"),
        (-240, "−4 min"), (None, "–"),
        (float("nan"), "–"),
    ],
)  # fmt: skip
def test_lengths_are_said_as_people_say_them(seconds: float | None, said: str) -> None:
    assert Display().duration(seconds) == said


@pytest.mark.parametrize(
    ("share", "said"),
    [(1.0, "100 %"), (0.9999, ">99 %"), (0.0001, "<1 %"), (0.0, "0 %"), (0.934, "93 %")],
)
def test_share_is_never_rounded_to_all_or_nothing(share: float, said: str) -> None:
    assert Display().share(share) == said


def test_values_carry_their_unit_in_both_systems() -> None:
    # 32 °F is 0 °C by definition; 0.40 x 249.08891 Pa = 99.6 Pa
    assert Display("us").value("temperature", 32) == "32.0 °F"
    assert Display("si").value("temperature", 32) == "0.0 °C"
    assert Display("si").value("pressure", 0.40) == "100 Pa"
    assert Display("us").value("pressure", -0.001) == "0.00 in. w.c."
    assert Display("si").shown("temperature", np.array([32.0, 212.0])) == pytest.approx([0, 100])


def test_span_says_the_second_day_only_where_it_differs() -> None:
    clock = Clock("America/Denver")
    start = round(dt.datetime(2026, 1, 13, 13, 0, tzinfo=dt.UTC).timestamp()) * SECOND
    hour = 3600 * SECOND
    assert clock.span(start, start + hour) == "Tue Jan 13, 6:00 am – 7:00 am"
    assert clock.span(start, start + 24 * hour) == "Tue Jan 13, 6:00 am – Wed Jan 14, 6:00 am"
    assert Clock("America/Denver", 24).time(start, seconds=True) == "06:00:00"


def test_clock_change_inside_a_span_is_noticed() -> None:
    # clocks go forward in Denver on 2026-03-08 (second Sunday of March)
    clock = Clock("America/Denver")
    noon = round(dt.datetime(2026, 3, 7, 19, 0, tzinfo=dt.UTC).timestamp()) * SECOND
    day = 86400 * SECOND
    assert clock.changes_within(Span(noon, noon + day))
    assert not clock.changes_within(Span(noon - day, noon))
    assert (clock.name(noon), clock.name(noon + day)) == ("MST", "MDT")


def test_foreign_text_is_shown_not_obeyed() -> None:
    assert clean("a\u202eb\x07") == "a\\u202eb\\u0007"
    assert plotly_text("<b>A & B</b>") == "&lt;b&gt;A &amp; B&lt;/b&gt;"
    assert len(clean("x" * 5000)) == 2000


def test_long_names_keep_what_tells_rows_apart() -> None:
    assert shortened("Bedroom over garage damper", 17) == "Bedroom o… damper"
    assert shortened("Loft", 17) == "Loft"
    assert all(len(shortened("x" * n, 15)) <= 15 for n in (10, 15, 16, 40))
