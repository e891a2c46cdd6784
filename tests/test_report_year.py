"""A year on a page: its days as one picture, its rows of runs, its axis, its dates."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pandas as pd

from reports.axis import time_ticks
from reports.block import Model
from reports.blocks.days import day_figure
from reports.display import Clock
from reports.drawing import figure_html
from reports.svg import level_path
from reports.svg_year import MANY_DAYS
from tests import report_sample as sample

HOUR = 3_600_000_000
DAY = 24 * HOUR


def us(year: int, month: int, day: int) -> int:
    return int(datetime(year, month, day, tzinfo=UTC).timestamp()) * 1_000_000


def test_days_of_months_are_one_picture_with_a_table_of_months() -> None:
    # 100 days from Nov 1: an hour of first stage each, on the first of a month two of second
    start = us(2025, 11, 1)
    days = [
        {"day": "", "start_ts": start + n * DAY, "end_ts": start + (n + 1) * DAY}
        for n in range(100)
    ]
    rows = []
    for n, day in enumerate(days):
        at = day["start_ts"]
        first = (datetime(2025, 11, 1) + timedelta(days=n)).day == 1
        spans = [("heating", 1, at, at + HOUR), ("heating", 2, at + HOUR, at + 3 * HOUR)]
        off = at + (3 if first else 1) * HOUR
        for what, stage, a, b in [*spans[: 2 if first else 1], ("off", 0, off, at + DAY)]:
            rows.append(
                {"class": what, "source": "burner" if stage else None, "stage": stage}
                | {"start_ts": a, "end_ts": b}
            )
    window = sample.Span(start, start + 100 * DAY)
    result = sample.sample_result(window=window)
    utc = result.site.__class__(**{**vars(result.site), "timezone": "UTC"})
    model = Model(result.__class__(**{**vars(result), "site": utc}))
    figure = day_figure(model, days, pd.DataFrame(rows))
    assert len(figure.rows) == 100 > MANY_DAYS
    assert figure.by_month is not None
    told = {cells[0]: [getattr(c, "text", c) for c in cells[1:4]] for cells in figure.by_month.rows}
    # 30, 31 and 31 days, and 8 of February; two hours more on the first of each
    assert told == {
        "Nov 2025": ["30", "32 h", "2.0 h"],
        "Dec 2025": ["31", "33 h", "2.0 h"],
        "Jan 2026": ["31", "33 h", "2.0 h"],
        "Feb 2026": ["8", "10 h", "2.0 h"],
    }
    # what says nothing of any month has no column there
    assert [c.title for c in figure.by_month.columns][:5] == [
        "Month", "Days", "Heat", "of it second stage", "Limit trips",
    ]  # fmt: skip
    html = str(figure_html(figure))
    poster = html[html.index('class="poster days many"') : html.index('class="keys"')]
    assert re.findall(r">(Nov|Dec|Jan|Feb|2025|2026)<", poster) == [
        "Nov", "2025", "Dec", "Jan", "2026", "Feb",
    ]  # fmt: skip
    # one hour is 20 steps of three minutes; every day has its bar, the four firsts a second one
    assert poster.count("h20v") == 100 and poster.count("h40v") == 4


def test_a_row_with_too_many_runs_stands_as_high_as_its_share_of_time_on() -> None:
    # 5,000 runs, on for a quarter of the time in the first half, three quarters in the second
    spans = tuple((1000 * n, 1000 * n + (250 if n < 2500 else 750)) for n in range(5000))
    path = level_path(spans, 0, 5_000_000, 10, 40)
    # 10 of 40 steps up, half the width, 20 more, the other half, and down again
    assert path == "M0 50v-10h750v-20h750v30z"
    assert level_path((), 0, 1000, 10, 40) == ""


def test_a_year_is_parted_by_its_months() -> None:
    ticks = time_ticks(us(2025, 2, 1), us(2026, 2, 1), 0, 12)
    assert [t.label for t in ticks] == ["Mar 2025", "May", "Jul", "Sep", "Nov", "Jan 2026"]
    assert ticks[1].at == us(2025, 5, 1)
    # a season every month
    short = time_ticks(us(2025, 10, 15), us(2026, 3, 1), 0, 12)
    assert [t.label for t in short] == ["Nov 2025", "Dec", "Jan 2026", "Feb", "Mar"]


def test_dates_a_year_apart_have_their_years() -> None:
    clock = Clock("UTC")
    year = clock.span(us(2025, 2, 1), us(2026, 2, 1))
    assert year == "Sat Feb 1 2025, 12:00 am – Sun Feb 1 2026, 12:00 am"
    assert "2025" not in clock.span(us(2025, 2, 1), us(2025, 2, 8))
