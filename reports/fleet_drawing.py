"""Still drawings of a fleet's record: a rate by week as bars, and a site's days side by side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from markupsafe import Markup

from pipeline import words
from pipeline.fleet_result import DayFigures, Trend
from reports.display import plural
from reports.markup import clean, fill
from reports.svg import FINE, WIDE, label, paint, plot

BAR_PX = 56
FOOT_PX = 17
LEAST_WEEKS = 8
"""A log of few weeks leaves room for the weeks to come: its bars stand at the right."""
LEAST_PX = 1.5
"""A value above nought is drawn at least this high."""
DAY_LABELS = 6
PART_COVERED_H = 20.0
"""A day with fewer hours logged is hatched along its foot."""

_FIGURE = """
<figure class="fig weeks"><figcaption><b>{{ title }}</b> {{ said }}</figcaption>
<div class="poster weeks" role="img" aria-label="{{ title }} {{ said }}">{{ drawing }}</div>
</figure>
"""


def week_figure(trend: Trend) -> Markup:
    """A rate by week: bars, hatched where a week had too little to tell, said in its caption."""
    before: list[float | None] = [None] * max(LEAST_WEEKS - len(trend.weeks), 0)
    values = [*before, *trend.values]
    n = len(values)
    top = max((v for v in values if v is not None), default=0.0) or 1.0
    inner = [_bars(values, top, "on", BAR_PX)]
    missing = [v is None and k >= len(before) for k, v in enumerate(values)]
    outer = [_hatched(missing, BAR_PX - 7, 7)]
    for k, value in enumerate(values):
        if value is not None and (value == top or k == n - 1):
            y = BAR_PX - 4 - (BAR_PX - 16) * value / top
            outer.append(label(f"{100 * (k + 0.5) / n:.1f}%", y, number(value), _anchor(k, n)))
    axis = [
        label(f"{at:.1f}%", 12, _month_day(week), anchor)
        for week, at, anchor in (
            (trend.weeks[0], 100 * len(before) / n, "start"),
            (trend.weeks[-1], 100.0, "end"),
        )
    ]
    drawing = plot(BAR_PX, _joined(inner), _joined(outer)) + plot(FOOT_PX, Markup(), _joined(axis))
    return fill(_FIGURE, title=trend.label, said=week_sentence(trend), drawing=drawing)


def week_sentence(trend: Trend) -> str:
    """'0.8 per 100 h of heat in the week of Mon Sep 28; 0.3 to 1.9 in 11 weeks; ...'."""
    known = [(w, v) for w, v in zip(trend.weeks, trend.values, strict=True) if v is not None]
    if not known:
        return "no week had enough to tell."
    week, last = known[-1]
    said = f"{number(last)} {trend.unit} in the week of {words.day(week)}"
    low, high = min(v for _, v in known), max(v for _, v in known)
    if len(known) > 1 and number(low) == number(high):
        said = f"{number(last)} {trend.unit} in each of {plural(len(known), 'week')}"
    elif len(known) > 1:
        said += f"; {number(low)} to {number(high)} over {plural(len(known), 'week')}"
    missing = len(trend.weeks) - len(known)
    return said + (f"; {plural(missing, 'week')} with too little to tell." if missing else ".")


def number(value: float) -> str:
    """A rate as written: whole from 10 on, else one decimal, two under 1."""
    if value >= 9.95 or value == 0:
        return f"{value:,.0f}"
    return f"{value:.1f}" if value >= 0.995 else f"{value:.2f}"


def day_figure(days: Sequence[DayFigures]) -> Markup:
    """Days side by side: heat and cooling, trips, static over target, what was not logged."""
    hours = [d.heat_h or 0.0 for d in days] + [d.cool_h or 0.0 for d in days]
    top = max(hours, default=0.0) or 1.0
    rows = [_days_row(f"Heat and cooling, h a day (up to {number(top)})", days, top, _heat_cool)]
    for title, value, hue in (
        ("High-limit trips", lambda d: d.n_trips, "limit"),
        ("Static above target, h", lambda d: d.above_target_h, "static"),
    ):
        known = [v for d in days if (v := value(d)) is not None]
        if known and max(known) > 0:
            most = max(known)
            rows.append(
                _days_row(
                    f"{title} (up to {most if isinstance(most, int) else number(most)} a day)",
                    days,
                    most,
                    _plain(value, hue),
                    30,
                )
            )
    title = "Heat above the line, cooling below:"
    drawing = _joined([*rows, _day_axis(days)])
    return fill(_FIGURE, title=title, said=day_sentence(days), drawing=drawing)


def day_sentence(days: Sequence[DayFigures]) -> str:
    """What the drawing of days shows, in words, with its numbers."""
    first, last = days[0].day, days[-1].day
    heat = sum(d.heat_h or 0.0 for d in days)
    cool = sum(d.cool_h or 0.0 for d in days)
    trips = sum(d.n_trips or 0 for d in days)
    missing = sum(d.covered_h < 1 for d in days)
    flagged = [words.day(d.day) for d in days if d.is_unusual]
    parts = [f"{words.day(first)} to {words.day(last)}: {heat:,.0f} h of heat, {cool:,.0f} h of "
             "cooling"]  # fmt: skip
    if any(d.n_trips is not None for d in days):
        parts.append(plural(trips, "trip") if trips else "no trip seen")
    if flagged:
        shown = ", ".join(flagged[-4:])
        parts.append(f"{plural(len(flagged), 'unusual day')}, marked: {shown}"
                     + (" the last" if len(flagged) > 4 else ""))  # fmt: skip
    if missing:
        parts.append(f"{plural(missing, 'day')} not logged, hatched")
    return "; ".join(parts) + "."


_Value = Callable[[DayFigures], float | int | None]


def _heat_cool(days: Sequence[DayFigures], top: float, height: int) -> Markup:
    half = (height - 2) / 2
    middle = half + 1
    up = _columns([d.heat_h for d in days], top, middle, half)
    down = _columns([d.cool_h for d in days], top, middle, -half)
    base = Markup('<path d="M0 {}h{}" fill="none" {}/>').format(
        round(middle * FINE), WIDE, paint("rule", stroke=True)
    )
    return base + _path(up, "on") + _path(down, "cool")


def _plain(value: _Value, hue: str) -> Callable[[Sequence[DayFigures], float, int], Markup]:
    def drawn(days: Sequence[DayFigures], top: float, height: int) -> Markup:
        return _path(_columns([value(d) for d in days], top, height, height - 2), hue)

    return drawn


def _days_row(
    title: str,
    days: Sequence[DayFigures],
    top: float,
    draw: Callable[[Sequence[DayFigures], float, int], Markup],
    height: int = 64,
) -> Markup:
    n = len(days)
    outer = [
        _hatched([d.covered_h < 1 for d in days], 0, height),
        _hatched([1 <= d.covered_h < PART_COVERED_H for d in days], height - 5, 5),
    ]
    for k, d in enumerate(days):
        if d.is_unusual:
            outer.append(
                Markup(
                    '<svg x="{}%" y="0" width="1" height="8" overflow="visible">'
                    '<path d="M-4.5 0h9L0 7z" {}/></svg>'
                ).format(f"{100 * (k + 0.5) / n:.2f}", paint("ink"))
            )
    return Markup('<p class="rowhead">{}</p>{}').format(
        clean(title), plot(height, draw(days, top, height), _joined(outer))
    )


def _day_axis(days: Sequence[DayFigures]) -> Markup:
    mondays = [k for k, d in enumerate(days) if d.day.weekday() == 0]
    step = -(-len(mondays) // DAY_LABELS) or 1
    marks = [
        label(f"{100 * k / len(days):.1f}%", 12, _month_day(days[k].day), _anchor(k, len(days)))
        for k in mondays[::step]
    ]
    return plot(FOOT_PX, Markup(), _joined(marks))


def _bars(values: Sequence[float | None], top: float, hue: str, height: int) -> Markup:
    base = Markup('<path d="M0 {}h{}" fill="none" {}/>').format(
        (height - 1) * FINE, WIDE, paint("rule", stroke=True)
    )
    return base + _path(_columns(values, top, height - 1, height - 15), hue)


def _columns(values: Sequence[float | int | None], top: float, base: float, tall: float) -> str:
    """Bars as one path from `base` [px]; tall : px of the largest, negative downwards."""
    n = max(len(values), 1)
    width = WIDE / n
    out = []
    for k, value in enumerate(values):
        if value is None or value <= 0:
            continue
        sign = 1 if tall > 0 else -1
        h = sign * max(abs(tall) * value / top, LEAST_PX)
        x, w = round(width * k + 0.12 * width), max(round(0.76 * width), 2)
        out.append(f"M{x} {round(base * FINE)}h{w}v{-round(h * FINE)}h{-w}z")
    return "".join(out)


def _path(d: str, hue: str) -> Markup:
    return Markup('<path d="{}" {}/>').format(d, paint(hue)) if d else Markup()


def _hatched(which: Sequence[bool], y: float, height: float) -> Markup:
    n = max(len(which), 1)
    out = []
    k = 0
    while k < len(which):
        end = k
        while end < len(which) and which[end]:
            end += 1
        if end > k:
            out.append(
                Markup('<rect x="{}%" width="{}%" y="{}" height="{}" fill="url(#hatch)"/>').format(
                    f"{100 * k / n:.2f}", f"{100 * (end - k) / n:.2f}", y, height
                )
            )
        k = end + 1
    return _joined(out)


def _anchor(k: int, n: int) -> str:
    return "end" if k >= 0.93 * n else "start" if k == 0 else "middle"


def _month_day(day: date) -> str:
    return words.day(day)[4:]


def _joined(parts: Sequence[Markup]) -> Markup:
    return Markup("").join(parts)
