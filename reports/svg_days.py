"""Still drawings of the other two kinds of figure: days under one another, and points on axes."""

from __future__ import annotations

from itertools import groupby

from markupsafe import Markup

from pipeline.units import MICROSECONDS
from reports.axis import value_ticks
from reports.figure import DayFigure, DayPart, DayRow, PointFigure
from reports.markup import clean
from reports.svg import FINE, WIDE, hatching, label, paint, place, plot, span_path
from reports.theme import SVG_DASH

ROW_PX = 34
_BASE = 23
# kind -> (hue, px above the line the day stands on; below it when negative)
PART_FORM = {
    "first": ("on", 9),
    "second": ("on", 16),
    "aux": ("limit", 16),
    "compressor": ("onsoft", 9),
    "compressor2": ("onsoft", 16),
    "cool": ("cool", -5),
    "cool2": ("cool", -9),
}
PART_WORDS = {
    "first": "heat, first stage",
    "second": "heat, second stage (taller)",
    "aux": "heat with strip or auxiliary",
    "compressor": "compressor heat",
    "compressor2": "compressor heat, second stage (taller)",
    "cool": "cooling (below the line)",
    "cool2": "cooling, second stage (deeper)",
}
_HOUR = 3600 * MICROSECONDS
# marks nearer than this are one triangle with a count: a wide page, a phone (12 px an hour)
_APART_US = {"w": 60 * 60 * MICROSECONDS, "n": 150 * 60 * MICROSECONDS}


def day_still(figure: DayFigure) -> Markup:
    """One row per local day, hours across; its key names only what is drawn."""
    longest = longest_us(figure)
    rows = Markup("").join(_row(row, row.start_ts + longest) for row in figure.rows)
    return Markup(
        '<div class="poster days" role="img" aria-label="{}">{}{}</div><p class="keys">{}</p>'
    ).format(clean(figure.sentence), rows, hour_marks(figure), day_key(figure))


def longest_us(figure: DayFigure) -> int:
    """The longest of its days: where clocks change one has 25 hours."""
    return max((row.end_ts - row.start_ts for row in figure.rows), default=24 * _HOUR)


def hour_marks(figure: DayFigure) -> Markup:
    """The hours under the rows."""
    hours = round(longest_us(figure) / _HOUR)
    marks = []
    for hour in range(0, hours + 1, 3):
        at = 100 * hour / hours
        anchor = "end" if at > 97 else "middle" if hour else "start"
        marks.append(
            label(
                f"{at:.2f}%", 12, _hour(hour, figure.hours), anchor, "muted", "w" * (hour % 6 > 0)
            )
        )
    return plot(16, Markup(), Markup("").join(marks))


def _hour(hour: int, hours: int) -> str:
    if hours == 24:
        return f"{hour:02d}"
    return f"{hour % 12 or 12} {'am' if hour % 24 < 12 else 'pm'}"


def _row(row: DayRow, end_ts: int) -> Markup:
    longest = end_ts - row.start_ts
    grid = "".join(
        f"M{round(WIDE * h * _HOUR / longest)} 0v{ROW_PX * FINE}" for h in range(0, 25, 6)
    )
    inner = [
        Markup('<path d="{}" fill="none" {}/>').format(grid, paint("faint", stroke=True)),
        Markup('<path d="M0 {}h{}" fill="none" {}/>').format(
            _BASE * FINE, WIDE, paint("rule", stroke=True)
        ),
    ]
    ordered = sorted(row.parts, key=lambda p: (p.kind, p.start_ts))
    for kind, group in groupby(ordered, key=lambda p: p.kind):
        hue, tall = PART_FORM[kind]
        top = _BASE - tall if tall > 0 else _BASE
        path = span_path(_spans(list(group)), row.start_ts, end_ts, top * FINE, abs(tall) * FINE)
        if path:
            inner.append(Markup('<path d="{}" {}/>').format(path, paint(hue)))
    outer = [hatching(row.unknown, row.start_ts, end_ts, _BASE - 16, 25)]
    for a, b in row.outlined:
        outer.append(
            Markup(
                '<rect x="{}%" width="{}%" y="5" height="28" fill="none" {} '
                'stroke-dasharray="3 2"/>'
            ).format(
                f"{place(a, row.start_ts, end_ts):.2f}",
                f"{100 * (b - a) / longest:.2f}",
                paint("unknown", stroke=True),
            )
        )
    for a, b in row.outside:
        outer.append(
            Markup('<rect x="{}%" width="{}%" y="0" height="{}" {} opacity="0.55"/>').format(
                f"{place(a, row.start_ts, end_ts):.2f}",
                f"{100 * (b - a) / longest:.2f}",
                ROW_PX,
                paint("faint"),
            )
        )
    for form, apart in _APART_US.items():
        for at, count in _groups(row.marks, apart):
            outer.append(
                Markup(
                    '<svg class="{}" x="{}%" y="0" width="1" height="7" overflow="visible">'
                    '<path d="M-4.5 0h9L0 6.5z" {}/>{}</svg>'
                ).format(
                    form,
                    f"{place(at, row.start_ts, end_ts):.2f}",
                    paint("limit"),
                    label("6", 8, f"×{count}", "start", "limit", "ct") if count > 1 else Markup(),
                )
            )
    outer.append(label("-8", _BASE - 2, row.label, "end", "ink", "tk"))
    outer.append(label("100%", ROW_PX - 2, row.note, "end", "muted", "rn"))
    return plot(ROW_PX, Markup("").join(inner), Markup("").join(outer))


def _groups(marks: tuple[int, ...], apart_us: int) -> list[tuple[float, int]]:
    """(middle, how many) of marks that would cover one another."""
    groups: list[list[int]] = []
    for ts in sorted(marks):
        if groups and ts - groups[-1][0] < apart_us:
            groups[-1].append(ts)
        else:
            groups.append([ts])
    return [((g[0] + g[-1]) / 2, len(g)) for g in groups]


def _spans(parts: list[DayPart]) -> tuple[tuple[int, int], ...]:
    return tuple((p.start_ts, p.end_ts) for p in parts)


def day_key(figure: DayFigure, outlined: bool = True, dashes: bool = False) -> Markup:
    """Samples of what occurs in the figure, in the order of PART_FORM.

    dashes : limit trips are drawn as dashes, not as triangles
    """
    seen = {part.kind for row in figure.rows for part in row.parts}
    items = []
    for kind, (hue, tall) in PART_FORM.items():
        if kind in seen:
            y = 12 - tall * 0.6 if tall > 0 else 5
            items.append(
                sample(
                    Markup('<rect width="14" y="{}" height="{}" {}/>').format(
                        f"{y:g}", f"{abs(tall) * 0.6:g}", paint(hue)
                    ),
                    PART_WORDS[kind],
                )
            )
    if any(row.marks for row in figure.rows):
        shape = "M5 3h4v6h-4z" if dashes else "M3 2h9L7.500 9z"
        drawn_mark = Markup('<path d="{}" {}/>').format(shape, paint("limit"))
        items.append(sample(drawn_mark, "limit trip"))
    if any(row.unknown for row in figure.rows):
        items.append(
            sample(
                Markup('<rect width="14" height="12" fill="url(#hatch)"/>'), "outputs not recorded"
            )
        )
    if outlined and any(row.outlined for row in figure.rows):
        box = Markup(
            '<rect x="1" y="1" width="12" height="10" fill="none" {} stroke-dasharray="3 2"/>'
        ).format(paint("unknown", stroke=True))
        items.append(sample(box, "another channel not recorded"))
    if any(row.outside for row in figure.rows):
        items.append(
            sample(
                Markup('<rect width="14" height="12" {}/>').format(paint("faint")),
                "outside the log",
            )
        )
    return Markup("").join(items)


def sample(inner: Markup, words: str) -> Markup:
    """An item of a key: a small drawing and what it stands for."""
    return Markup(
        '<span class="key"><svg width="14" height="12" aria-hidden="true">{}</svg>{}</span>'
    ).format(inner, words)


def point_still(figure: PointFigure) -> Markup:
    """Points (larger where several fall together) and curves on plain axes."""
    height = 230
    (x0, x1), (y0, y1) = figure.x_range, figure.y_range

    def px(x: float) -> float:
        return 100 * (x - x0) / (x1 - x0)

    def py(y: float) -> float:
        return height - (y - y0) / (y1 - y0) * height

    inner, outer = [], []
    grid = ""
    for tick in value_ticks(y0, y1, 6, is_whole=all(y == round(y) for _, y in figure.points)):
        grid += f"M0 {round(py(tick.at) * FINE)}h{WIDE}"
        outer.append(label("-6", py(tick.at) + 3.5, tick.label, "end"))
    inner.append(Markup('<path d="{}" fill="none" {}/>').format(grid, paint("faint", stroke=True)))
    for curve in figure.curves:
        steps = " ".join(
            f"{round(px(x) * WIDE / 100)} {round(py(y) * FINE)}"
            for x, y in zip(curve.x, curve.y, strict=True)
        )
        dash = SVG_DASH[curve.dash]
        inner.append(
            Markup(
                '<path d="M{}" fill="none" {} stroke-width="1.8" stroke-dasharray="{}"/>'
            ).format(steps, paint(curve.hue, stroke=True), dash or "none")
        )
    dots = Markup("").join(
        Markup('<circle cx="{}%" cy="{}" r="{}"/>').format(
            f"{px(x):.2f}", f"{py(y):.1f}", f"{2.4 + 1.2 * count**0.5:.1f}"
        )
        for (x, y), count in zip(figure.points, figure.counts, strict=True)
    )
    outer.append(Markup('<g {} fill-opacity="0.55">{}</g>').format(paint("on"), dots))
    foot = [
        label(f"{px(t.at):.2f}%", 14, t.label, "end" if px(t.at) > 97 else "middle")
        for t in value_ticks(x0, x1, 6)
    ]
    keys = Markup("").join(
        Markup(
            '<span class="key"><svg width="26" height="8" aria-hidden="true"><line x2="26" y1="4" '
            'y2="4" {} stroke-width="2" stroke-dasharray="{}"/></svg>{}</span>'
        ).format(paint(c.hue, stroke=True), SVG_DASH[c.dash] or "none", c.name)
        for c in figure.curves
    )
    return Markup(
        '<div class="poster points" role="img" aria-label="{}"><div class="pkey"><b>{}</b>{}</div>'
        '{}{}<div class="xtitle">{}</div></div>'
    ).format(
        clean(figure.sentence),
        figure.y_title,
        keys,
        plot(height, Markup("").join(inner), Markup("").join(outer)),
        plot(16, Markup(), Markup("").join(foot)),
        figure.x_title,
    )
