"""The figure record: what is drawn, said and tabled, once; svg.py and plotly_figure.py draw it.

All instants are UTC epoch microseconds; all values are already in display units. A figure knows
nothing of colours beyond the name of a hue, nor of pixels beyond the weight of a panel.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from reports.table import Table

Instants = np.ndarray
"""int64, UTC microseconds, ascending."""


@dataclass(frozen=True)
class Line:
    """One channel drawn as a line; NaN breaks it.

    scale : steps per unit that the drawn line keeps (see display.Display.wire_scale)
    channel_id : figures of one page that draw the same channel share its readings
    """

    name: str
    hue: str
    dash: str
    ts: Instants
    values: np.ndarray
    unit: str = ""
    decimals: int = 1
    scale: int = 1000
    channel_id: int | None = None


@dataclass(frozen=True)
class Level:
    """A horizontal line a reader compares with: a target, a limit."""

    value: float
    label: str
    hue: str = "limit"


@dataclass(frozen=True)
class Panel:
    """Lines that share a vertical axis.

    gaps : (start, end) where no line has a reading; hatched over the full height
    partial : (start, end) where only some have; hatched along the foot
    """

    title: str
    unit: str
    lines: tuple[Line, ...]
    levels: tuple[Level, ...] = ()
    gaps: tuple[tuple[int, int], ...] = ()
    partial: tuple[tuple[int, int], ...] = ()
    weight: float = 1.0
    from_zero: bool = False

    def bounds(self) -> tuple[float, float]:
        """(low, high) that shows every line and level, with a little air. (0, 1) when empty."""
        values = [line.values[np.isfinite(line.values)] for line in self.lines]
        known = [float(f) for v in values if v.size for f in (v.min(), v.max())]
        known += [level.value for level in self.levels]
        if not known:
            return 0.0, 1.0
        low, high = min(known), max(known)
        if self.from_zero:
            low, high = min(low, 0.0), max(high, 0.0)
        air = 0.06 * (high - low) or abs(high) * 0.05 or 1.0
        return (low if self.from_zero and low == 0 else low - air), high + air


@dataclass(frozen=True)
class Track:
    """An on/off state as a row of bars.

    on, unknown : (start, end) spans, ascending, not overlapping; off is what remains
    group : rows of one group stand together
    words : what its two states are called
    is_event : rare and short: drawn at least a few pixels wide, at every zoom
    """

    name: str
    hue: str
    group: str
    on: tuple[tuple[int, int], ...]
    unknown: tuple[tuple[int, int], ...] = ()
    is_event: bool = False
    words: tuple[str, str] = ("on", "off")


@dataclass(frozen=True)
class Mark:
    """An instant with a number in the drawing and a line in the list under it."""

    ts: int
    label: str
    hue: str = "limit"


@dataclass(frozen=True)
class Band:
    """A stretch shaded over the full height. hue: band or visit."""

    start_ts: int
    end_ts: int
    label: str
    hue: str = "band"


@dataclass(frozen=True)
class TimeFigure:
    """Panels and tracks over one time axis.

    key : unique in the page, letters, digits and hyphens
    sentence : says the figure aloud, with numbers, from the record it is drawn from
    notes : plain sentences under the drawing (what is hatched, what was off throughout)
    offset_us : local minus UTC used along the whole axis; zone_name says which that is
    """

    key: str
    title: str
    sentence: str
    start_ts: int
    end_ts: int
    offset_us: int
    zone_name: str
    hours: int
    panels: tuple[Panel, ...] = ()
    tracks: tuple[Track, ...] = ()
    marks: tuple[Mark, ...] = ()
    bands: tuple[Band, ...] = ()
    notes: tuple[str, ...] = ()
    table: Table | None = None

    @property
    def first_ts(self) -> int:
        """Where reading begins: the mark nearest to the worst reading, else that of a stretch.

        Worst is farthest beyond the line a panel is compared with; without one, the middle.
        """
        middle = (self.start_ts + self.end_ts) // 2
        marks = [m.ts for m in self.marks if self.start_ts <= m.ts <= self.end_ts]
        for panel in self.panels:
            for line in panel.lines[:1] if panel.levels else ():
                if np.isfinite(line.values).any():
                    level = panel.levels[0].value
                    sign = 1 if level >= np.nanmedian(line.values) else -1
                    worst = int(line.ts[int(np.nanargmax(sign * line.values))])
                    return min(marks, key=lambda ts: abs(ts - worst), default=worst)
        return min(marks, default=middle)

    @property
    def is_empty(self) -> bool:
        """Nothing to draw: no line with a value and no track."""
        return not self.tracks and not any(
            np.isfinite(line.values).any() for panel in self.panels for line in panel.lines
        )


@dataclass(frozen=True)
class DayPart:
    """A bar in a day's row. kind: first, second, aux, compressor, compressor2, cool, cool2."""

    start_ts: int
    end_ts: int
    kind: str


@dataclass(frozen=True)
class DayRow:
    """One local day; ts bounds are its own midnights, so 23 h and 25 h days keep their length.

    month : the month it lies in, with its year, as many days are named by it
    """

    label: str
    start_ts: int
    end_ts: int
    parts: tuple[DayPart, ...]
    marks: tuple[int, ...] = ()
    unknown: tuple[tuple[int, int], ...] = ()
    outlined: tuple[tuple[int, int], ...] = ()
    outside: tuple[tuple[int, int], ...] = ()
    note: str = ""
    month: str = ""


@dataclass(frozen=True)
class DayFigure:
    """Days under one another, midnight to midnight."""

    key: str
    title: str
    sentence: str
    rows: tuple[DayRow, ...]
    hours: int
    notes: tuple[str, ...] = ()
    by_month: Table | None = None
    table: Table | None = None


@dataclass(frozen=True)
class Curve:
    """A drawn curve: x, y ascending in x."""

    name: str
    hue: str
    dash: str
    x: tuple[float, ...]
    y: tuple[float, ...]


@dataclass(frozen=True)
class PointFigure:
    """Points and curves on plain axes. counts: how many observations lie on each point."""

    key: str
    title: str
    sentence: str
    x_title: str
    y_title: str
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    points: tuple[tuple[float, float], ...]
    counts: tuple[int, ...]
    curves: tuple[Curve, ...] = ()
    notes: tuple[str, ...] = ()
    table: Table | None = field(default=None)


Figure = TimeFigure | DayFigure | PointFigure
