"""Many days under one another: the rows of a day figure drawn so low that a year is one picture."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from markupsafe import Markup

from pipeline import words
from reports.figure import DayFigure, DayRow
from reports.markup import clean
from reports.svg import FINE, WIDE, label, paint, place, plot
from reports.svg_days import PART_FORM, day_key, hour_marks, longest_us, sample

MANY_DAYS = 62
"""Days beyond which rows have neither names nor triangles of their own."""
TALL_PX = 880
"""Height of the whole picture: a year on one screen, and on one sheet of paper."""
_STEPS = 480
"""Steps across a day: three minutes, a little over two pixels of a wide page."""
_ABOVE, _BELOW = 16, 9
"""Px of a usual row's bars above and below its line; here they fill the row."""
_MARK_STEPS = 4
_ROW_FROM, _ROW_TO = 1.2, 12.0
_MONTH_PX = 13
"""Months nearer than this to the one above go unnamed."""


def year_still(figure: DayFigure) -> Markup:
    """Bars, limit trips and what was not recorded by day; months at the side, hours across."""
    row_px = max(_ROW_FROM, min(_ROW_TO, TALL_PX / max(len(figure.rows), 1)))
    height = row_px * len(figure.rows)
    longest = longest_us(figure)
    drawing = _Rows(figure.rows, longest, row_px)
    months = [
        n for n, row in enumerate(figure.rows) if not n or row.month != figure.rows[n - 1].month
    ]
    inner = [_grid(longest, height, [n * row_px for n in months[1:]])]
    for kind, (hue, tall) in PART_FORM.items():
        bars = [
            (n, p.start_ts, p.end_ts)
            for n, row in enumerate(figure.rows)
            for p in row.parts
            if p.kind == kind
        ]
        top, deep = (_ABOVE - tall, tall) if tall > 0 else (_ABOVE, -tall)
        inner.append(drawing.path(bars, hue, top, deep))
    inner.append(
        drawing.path(
            ((n, a, b) for n, row in enumerate(figure.rows) for a, b in row.outside), "faint"
        )
    )
    marks = [(n, ts, ts) for n, row in enumerate(figure.rows) for ts in row.marks]
    inner.append(drawing.path(marks, "limit", least=_MARK_STEPS))
    outer = [
        Markup('<rect x="{}%" width="{}%" y="{}" height="{}" fill="url(#hatch)"/>').format(
            f"{place(a, row.start_ts, row.start_ts + longest):.1f}",
            f"{100 * (b - a) / longest:.1f}",
            f"{n * row_px:.1f}",
            f"{row_px:.1f}",
        )
        for n, row in enumerate(figure.rows)
        for a, b in row.unknown
    ]
    at = float(-_MONTH_PX)
    for n in months:
        if n * row_px - at >= _MONTH_PX:
            at = n * row_px
            name, year = figure.rows[n].month.split()
            outer.append(label("-6", at + 9, name, "end", "ink", "tk"))
            if n == 0 or name == words.MONTHS[0]:
                at += _MONTH_PX
                outer.append(label("-6", at + 9, year, "end", "muted"))
    outer += [
        Markup('<rect x="100%" width="5" y="{}" height="{}" {}/>').format(
            f"{n * row_px:.1f}", f"{max(row_px, 2):.1f}", paint("ink")
        )
        for n, row in enumerate(figure.rows)
        if row.note
    ]
    noted = sorted({row.note for row in figure.rows if row.note})
    key = day_key(figure, outlined=False, dashes=True) + Markup("").join(
        sample(Markup('<rect width="5" height="12" x="4" {}/>').format(paint("ink")), note)
        for note in noted
    )
    return Markup(
        '<div class="poster days many" role="img" aria-label="{}">{}{}</div><p class="keys">{}</p>'
    ).format(
        clean(figure.sentence),
        plot(height, Markup("").join(inner), Markup("").join(outer)),
        hour_marks(figure),
        key,
    )


def year_notes(figure_rows: Sequence[DayRow]) -> tuple[str, ...]:
    """What a picture of so many days leaves out."""
    if len(figure_rows) <= MANY_DAYS:
        return ()
    steps = words.count(24 * 60 // _STEPS, "minute")
    said = (
        f"One line a day, first to last from the top; bars to {steps}, no shorter than that. "
        "The tables have every month and every day."
    )
    n = sum(1 for row in figure_rows if row.outlined)
    if n:
        said += (
            f" On {words.count(n, 'day')} another channel was not recorded for a while, which is "
            "not drawn here: Data quality has every gap."
        )
    return (said,)


class _Rows:
    """Places bars in rows: `path` is one path for all bars of a kind."""

    def __init__(self, rows: Sequence[DayRow], longest: int, row_px: float) -> None:
        self.starts = [row.start_ts for row in rows]
        self.scale = _STEPS / longest
        self.row_px = row_px

    def path(
        self,
        bars: Iterable[tuple[int, int, int]],
        hue: str,
        top: int = 0,
        deep: int = _ABOVE + _BELOW,
        least: int = 1,
    ) -> Markup:
        """Bars of (row, begin, end), from `top` on and `deep` px of a usual row's."""
        unit = self.row_px * FINE / (_ABOVE + _BELOW)
        merged: list[list[int]] = []
        for n, a, b in bars:
            x0 = round((a - self.starts[n]) * self.scale)
            x1 = max(round((b - self.starts[n]) * self.scale), x0 + least)
            if merged and merged[-1][0] == n and x0 <= merged[-1][2]:
                merged[-1][2] = max(merged[-1][2], x1)
            else:
                merged.append([n, x0, x1])
        if not merged:
            return Markup()
        tall = f"{deep * unit:.2g}"
        # each bar from the one before: a year has tens of thousands
        steps, at_x, at_row = [], 0, None
        for n, x0, x1 in merged:
            if n == at_row:
                steps.append(f"m{x0 - at_x} 0")
            else:
                steps.append(f"M{x0} {n * self.row_px * FINE + top * unit:.1f}")
            steps.append(f"h{x1 - x0}v{tall}h{x0 - x1}z")
            at_x, at_row = x0, n
        return Markup('<g transform="scale({} 1)"><path d="{}" {}/></g>').format(
            f"{WIDE / _STEPS:g}", Markup("".join(steps)), paint(hue)
        )


def _grid(longest: int, height: float, months: Sequence[float]) -> Markup:
    hours = round(longest / 3_600_000_000)
    lines = "".join(f"M{round(WIDE * h / hours)} 0v{height * FINE:.0f}" for h in range(0, 25, 6))
    day = round(WIDE * 24 / hours)
    parted = "".join(f"M0 {y * FINE:.1f}h{day}" for y in months)
    return Markup('<path d="{}" fill="none" {}/><path d="{}" fill="none" {}/>').format(
        lines, paint("faint", stroke=True), parted, paint("rule", stroke=True)
    )
