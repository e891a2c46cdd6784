"""A figure record as a still drawing: inline SVG that needs no script and fits any width.

Lines and bars lie in an inner SVG that is stretched to the width at hand (strokes are not);
words, marks and hatching are placed by per cent and keep their size. So one drawing serves a
phone, a wide screen and paper. Light colours stand as attributes for renderers that do not let
page CSS into SVG; classes let the theme override them.
"""

from __future__ import annotations

import numpy as np
from markupsafe import Markup, escape

from reports.axis import time_ticks, value_ticks
from reports.figure import Level, Line, Panel, TimeFigure, Track
from reports.level_spot import level_spot
from reports.markup import clean, drawn, shortened
from reports.theme import LIGHT, SVG_DASH

WIDE = 1500
"""Steps across the width: a little over half a pixel on a wide screen."""
FINE = 5
"""Steps per pixel of height."""
PANEL_PX = 118
TRACK_PX = 15
GROUP_PX = 7
STRIP_PX = 15
ROW_NAME, ROW_NAME_NARROW = 30, 15
"""Letters of a row's name that fit beside the drawing: on a wide page and paper, on a phone."""
LEVELS = 500
"""Columns of a row whose runs are more than this: its height is the share of their time on."""
EVENT_STEPS = 4
"""A rare event is drawn at least this wide: about 2 px on a wide screen."""
SIMPLIFY_PX = 0.45
"""A point is left out of the still drawing where the line passes this close to it anyway."""

DEFS = Markup(
    '<svg width="0" height="0" style="position:absolute" aria-hidden="true"><defs>'
    '<pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><rect width="6" height="6" class="f-paper" fill="{paper}"/>'
    '<line x1="0" y1="0" x2="0" y2="6" class="s-unknown" stroke="{unknown}" stroke-width="2"/>'
    "</pattern></defs></svg>"
).format(paper=LIGHT["paper"], unknown=LIGHT["unknown"])
"""Hatching that means 'not recorded'; once per page, before the first drawing."""


def paint(hue: str, stroke: bool = False) -> Markup:
    """class and colour attributes of a hue, as fill or stroke."""
    kind, attribute = ("s", "stroke") if stroke else ("f", "fill")
    return Markup('class="{}-{}" {}="{}"').format(kind, hue, attribute, LIGHT[hue])


def label(
    x: str, y: float, words: str, anchor: str = "start", hue: str = "muted", more: str = ""
) -> Markup:
    """A word in a drawing, cleaned, escaped and cut."""
    at = Markup("") if anchor == "start" else Markup(' text-anchor="{}"').format(anchor)
    # the drawing itself is filled with the usual hue
    fill = Markup("") if hue == "muted" else Markup(' fill="{}"').format(LIGHT[hue])
    return Markup('<text x="{}" y="{}"{} class="f-{}{}"{}>{}</text>').format(
        x, f"{y:g}", at, hue, f" {more}" if more else "", fill, drawn(words)
    )


def time_still(figure: TimeFigure) -> Markup:
    """The figure as stacked drawings over one time axis, described by its sentence."""
    parts = [_mark_strip(figure)] if figure.marks else []
    parts += [_panel(figure, panel) for panel in figure.panels]
    if figure.tracks:
        parts.append(_tracks(figure))
    parts.append(_axis(figure))
    return Markup('<div class="poster" role="img" aria-label="{}">{}</div>').format(
        clean(figure.sentence), Markup("").join(parts)
    )


def plot(height: float, inner: Markup, outer: Markup, under: Markup | str = "") -> Markup:
    """One drawing: `inner` in WIDE by FINE x height steps, the rest by per cent and px."""
    h = f"{height:g}"
    return Markup(
        '<svg class="plot" width="100%" height="{h}" font-size="11" fill="{muted}" '
        'aria-hidden="true">{under}'
        '<svg viewBox="0 0 {w} {t}" preserveAspectRatio="none" width="100%" height="{h}">{inner}'
        "</svg>{outer}</svg>"
    ).format(
        h=h,
        muted=LIGHT["muted"],
        w=WIDE,
        t=f"{height * FINE:g}",
        inner=inner,
        outer=outer,
        under=under,
    )


def simplified(x: np.ndarray, y: np.ndarray, tolerance: float) -> np.ndarray:
    """Indices of the points worth drawing: no left-out point is further than `tolerance` in y.

    x : ascending; y : finite. First and last are always kept.
    """
    n = len(x)
    if n <= 2:
        return np.arange(n)
    kept = [0]
    anchor, low, high = 0, -np.inf, np.inf
    xs, ys = x.tolist(), y.tolist()
    for i in range(1, n):
        dx = xs[i] - xs[anchor]
        slope = (ys[i] - ys[anchor]) / dx if dx > 0 else None
        if slope is None or not low <= slope <= high:
            if kept[-1] != i - 1:
                kept.append(i - 1)
            anchor = i - 1
            low, high = -np.inf, np.inf
            dx = xs[i] - xs[anchor]
        if dx > 0:
            low = max(low, (ys[i] - tolerance - ys[anchor]) / dx)
            high = min(high, (ys[i] + tolerance - ys[anchor]) / dx)
    if kept[-1] != n - 1:
        kept.append(n - 1)
    return np.array(kept)


def line_path(x: np.ndarray, y: np.ndarray) -> str:
    """SVG path data through points in whole steps; NaN in y breaks it. '' when nothing is left."""
    known = np.isfinite(y)
    out = []
    edges = np.flatnonzero(np.diff(np.concatenate(([0], known.view("i1"), [0]))))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        px, py = _columns(x[a:b], y[a:b])
        keep = simplified(px, py, SIMPLIFY_PX * FINE)
        qx, qy = np.rint(px[keep]).astype(int), np.rint(py[keep]).astype(int)
        if len(qx) == 1:  # a lone reading is a short dash, not nothing
            out.append(f"M{qx[0] - 2} {qy[0]}h4")
            continue
        steps = [
            f"{dx}{'' if dy < 0 else ' '}{dy}"
            for dx, dy in zip(np.diff(qx), np.diff(qy), strict=True)
            if dx or dy
        ]
        if not steps:
            steps = ["4 0"]
        out.append(f"M{qx[0]} {qy[0]}l" + " ".join(steps))
    return "".join(out)


def _columns(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest of every two steps, in time order, where points are denser than that."""
    if len(x) <= WIDE:
        return x, y
    column = np.floor(x / 2).astype(int)
    starts = np.flatnonzero(np.diff(column, prepend=column[0] - 1))
    picks: set[int] = set()
    for a, b in zip(starts, [*starts[1:], len(x)], strict=True):
        picks |= {int(a + np.argmin(y[a:b])), int(a + np.argmax(y[a:b]))}
    index = np.array(sorted(picks))
    return x[index], y[index]


def span_path(
    spans: tuple[tuple[int, int], ...],
    start_ts: int,
    end_ts: int,
    top: int,
    tall: int,
    least: int = 1,
) -> str:
    """SVG path data of bars, in whole steps; touching ones merge, none is thinner than `least`."""
    scale = WIDE / max(end_ts - start_ts, 1)
    bars: list[list[int]] = []
    for a, b in spans:
        a, b = max(a, start_ts), min(b, end_ts)
        if b <= a:
            continue
        x0 = round((a - start_ts) * scale)
        x1 = max(round((b - start_ts) * scale), x0 + least)
        if bars and x0 <= bars[-1][1]:
            bars[-1][1] = max(bars[-1][1], x1)
        else:
            bars.append([x0, x1])
    return "".join(f"M{a} {top}h{b - a}v{tall}h{a - b}z" for a, b in bars)


def level_path(
    spans: tuple[tuple[int, int], ...], start_ts: int, end_ts: int, top: int, tall: int
) -> str:
    """SVG path data of runs too many to draw: the height is the share of each column's time on."""
    if not spans:
        return ""
    at = np.linspace(start_ts, end_ts, LEVELS + 1)
    a, b = np.array(spans, float).reshape(-1, 2).clip(start_ts, end_ts).T
    # the time on until an instant, at every edge of a run: spans are in order and do not overlap
    edges = np.column_stack([a, b]).ravel()
    until = np.column_stack([np.cumsum(b - a) - (b - a), np.cumsum(b - a)]).ravel()
    share = np.diff(np.interp(at, edges, until)) / np.diff(at)
    wide = WIDE // LEVELS
    path, high, run = f"M0 {top + tall}", 0, 0
    for level in [*np.rint(share.clip(0, 1) * tall).astype(int).tolist(), 0]:
        if level != high:
            path += (f"h{run}" if run else "") + f"v{high - level}"
            high, run = level, 0
        run += wide
    return path + "z" if path.count("v") else ""


def hatching(
    spans: tuple[tuple[int, int], ...], start_ts: int, end_ts: int, top: float, tall: float
) -> Markup:
    """'Not recorded' over spans, placed by per cent so that the hatching keeps its form."""
    length = max(end_ts - start_ts, 1)
    out = []
    for a, b in spans:
        a, b = max(a, start_ts), min(b, end_ts)
        if b > a:
            out.append(
                Markup('<rect x="{}%" width="{}%" y="{}" height="{}" fill="url(#hatch)"/>').format(
                    f"{100 * (a - start_ts) / length:.2f}",
                    f"{100 * (b - a) / length:.2f}",
                    f"{top:g}",
                    f"{tall:g}",
                )
            )
    return Markup("").join(out)


def place(ts: float, start_ts: int, end_ts: int) -> float:
    """Per cent of the width at which an instant lies."""
    return 100 * (ts - start_ts) / max(end_ts - start_ts, 1)


def _backdrop(figure: TimeFigure, height: float) -> Markup:
    """Bands, grid and marks that run through every panel."""
    t = round(height * FINE)
    out = []
    for band in figure.bands:
        path = span_path(((band.start_ts, band.end_ts),), figure.start_ts, figure.end_ts, 0, t)
        out.append(Markup('<path d="{}" {}/>').format(path, paint(band.hue)))
    scale = WIDE / max(figure.end_ts - figure.start_ts, 1)
    ticks = time_ticks(figure.start_ts, figure.end_ts, figure.offset_us, figure.hours)
    grid = "".join(f"M{round((k.at - figure.start_ts) * scale)} 0v{t}" for k in ticks)
    out.append(_stroke(grid, "faint", 1))
    for hue in sorted({m.hue for m in figure.marks}):
        inside = [m for m in figure.marks if m.hue == hue]
        path = "".join(f"M{round((m.ts - figure.start_ts) * scale)} 0v{t}" for m in inside)
        out.append(_stroke(path, hue, 1, "2 2"))
    return Markup("").join(out)


def _stroke(path: str, hue: str, width: float, dash: str = "") -> Markup:
    if not path:
        return Markup()
    return Markup('<path d="{}" fill="none" {} stroke-width="{}"{}/>').format(
        path,
        paint(hue, stroke=True),
        f"{width:g}",
        Markup(' stroke-dasharray="{}"').format(dash) if dash else "",
    )


def _panel(figure: TimeFigure, panel: Panel) -> Markup:
    height = round(PANEL_PX * panel.weight)
    low, high = panel.bounds()

    def y_of(value: float | np.ndarray) -> float | np.ndarray:
        return (high - value) / (high - low) * height

    inner = [_backdrop(figure, height)]
    outer = [
        hatching(panel.gaps, figure.start_ts, figure.end_ts, 0, height),
        hatching(panel.partial, figure.start_ts, figure.end_ts, height - 7, 7),
    ]
    ticks = value_ticks(low, high)
    grid = "".join(f"M0 {round(float(y_of(k.at)) * FINE)}h{WIDE}" for k in ticks)
    inner.append(_stroke(grid, "faint", 1))
    outer += [label("-6", float(y_of(k.at)) + 3.5, k.label, "end") for k in ticks]
    for line in panel.lines:
        x = (line.ts - figure.start_ts) * (WIDE / max(figure.end_ts - figure.start_ts, 1))
        path = line_path(x.astype("f8"), np.asarray(y_of(line.values)) * FINE)
        inner.append(_stroke(path, line.hue, 1.6, SVG_DASH[line.dash]))
    for level in panel.levels:
        y = float(y_of(level.value))
        inner.append(_stroke(f"M0 {round(y * FINE)}h{WIDE}", level.hue, 1.4, "8 4"))
        spot = level_spot(panel, level, figure.start_ts, figure.end_ts, height)
        beside = y - 4 if spot.is_above else y + 12
        outer.append(
            label(f"{100 * spot.at:g}%", beside, level.label, spot.anchor, level.hue, "lv")
        )
    return Markup('<div class="pkey">{}</div>{}').format(
        panel_key(panel), plot(height, Markup("").join(inner), Markup("").join(outer))
    )


def panel_key(panel: Panel) -> Markup:
    """Panel title, unit and its lines' samples and names."""
    items = Markup("").join(
        Markup(
            '<span class="key"><svg width="26" height="8" aria-hidden="true">'
            '<line x1="0" x2="26" y1="4" y2="4" {} stroke-width="2"{}/></svg>{}</span>'
        ).format(paint(line.hue, stroke=True), _dash(line), drawn(line.name))
        for line in panel.lines
    )
    head = f"{panel.title}, {panel.unit}" if panel.unit else panel.title
    return Markup("<b>{}</b>{}").format(drawn(head), items)


def _dash(line: Line | Level) -> Markup:
    dash = SVG_DASH[line.dash] if isinstance(line, Line) else "8 4"
    return Markup(' stroke-dasharray="{}"').format(dash) if dash else Markup()


def track_rows(tracks: tuple[Track, ...]) -> tuple[list[float], float]:
    """(top of each row in px, height of all): rows of one group stand together."""
    tops: list[float] = []
    y = 3.0
    for i, track in enumerate(tracks):
        if i and track.group != tracks[i - 1].group:
            y += GROUP_PX
        tops.append(y)
        y += TRACK_PX
    return tops, y + 2


def _tracks(figure: TimeFigure) -> Markup:
    tops, height = track_rows(figure.tracks)
    inner = [_backdrop(figure, height)]
    outer = []
    base = "".join(f"M0 {round((top + TRACK_PX - 3) * FINE)}h{WIDE}" for top in tops)
    inner.append(_stroke(base, "rule", 0.8))
    for track, top in zip(figure.tracks, tops, strict=True):
        place_at = (track.on, figure.start_ts, figure.end_ts)
        size = (round((top + 1) * FINE), (TRACK_PX - 4) * FINE)
        if len(track.on) > LEVELS and not track.is_event:
            path = level_path(*place_at, *size)
        else:
            path = span_path(*place_at, *size, EVENT_STEPS if track.is_event else 1)
        if path:
            inner.append(Markup('<path d="{}" {}/>').format(path, paint(track.hue)))
        outer.append(hatching(track.unknown, figure.start_ts, figure.end_ts, top + 1, TRACK_PX - 4))
        name, brief = (shortened(track.name, n) for n in (ROW_NAME, ROW_NAME_NARROW))
        outer.append(label("-6", top + 10, name, "end", "ink", "tk" if name == brief else "tk w"))
        if name != brief:
            outer.append(label("-6", top + 10, brief, "end", "ink", "tk n"))
    return Markup('<div class="pkey"><b>{}</b></div>{}').format(
        "On and off; dampers open"
        if any(t.words[0] == "open" for t in figure.tracks)
        else "On and off",
        plot(height, Markup("").join(inner), Markup("").join(outer)),
    )


def _axis(figure: TimeFigure) -> Markup:
    ticks = time_ticks(figure.start_ts, figure.end_ts, figure.offset_us, figure.hours)
    out = []
    for tick in ticks:
        at = place(tick.at, figure.start_ts, figure.end_ts)
        anchor = "end" if at > 96 else "middle"
        out.append(
            label(f"{at:.2f}%", 12, tick.label, anchor, "muted", "" if tick.is_major else "w")
        )
    return plot(16, Markup(), Markup("").join(out))


def _mark_strip(figure: TimeFigure) -> Markup:
    """Numbers above the panels, moved apart where they would cover one another."""
    out, least = [], -100.0
    gap = 100.0 / max(22, len(figure.marks) + 1)
    for i, mark in enumerate(figure.marks, start=1):
        at = max(place(mark.ts, figure.start_ts, figure.end_ts), least + gap)
        least = at
        out.append(
            Markup(
                '<text x="{}%" y="11" text-anchor="middle" class="f-{} mk" fill="{}">{}</text>'
            ).format(f"{min(at, 100):.2f}", mark.hue, LIGHT[mark.hue], escape(str(i)))
        )
    return plot(STRIP_PX, Markup(), Markup("").join(out))
