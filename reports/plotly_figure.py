"""A time figure as Plotly: every panel and track on one x axis.

Plotly knows no time zones, so instants are sent as the site's wall clock taken as UTC. Names
are escaped: Plotly reads labels as a small HTML. Nothing is named in hover templates, where
%{...} would be interpreted; the page writes values under the chart itself.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from markupsafe import escape

from reports.figure import Level, Panel, TimeFigure, Track
from reports.level_spot import Spot, level_spot
from reports.markup import drawn, plotly_text, shortened
from reports.svg import PANEL_PX, ROW_NAME, ROW_NAME_NARROW, TRACK_PX, track_rows
from reports.theme import LIGHT

GUTTER_PX = 184
HEAD_PX = 22
FOOT_PX = 30
TOP_PX = 48
"""Room for the mode bar and the numbers of marks."""
FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
CONFIG: dict[str, Any] = {
    "displaylogo": False,
    "showSendToCloud": False,
    "showTips": False,
    "responsive": True,
    "scrollZoom": False,
    "displayModeBar": True,
    "modeBarButtons": [["toImage", "zoom2d", "pan2d", "zoomIn2d", "zoomOut2d", "resetScale2d"]],
}
# The axis writes 'pm' as the rest of the page does.
_LOCALE = {
    "date": "%m/%d/%Y",
    "periods": ["am", "pm"],
    "days": "Sunday Monday Tuesday Wednesday Thursday Friday Saturday".split(),
    "shortDays": "Sun Mon Tue Wed Thu Fri Sat".split(),
    "months": (
        "January February March April May June July August September October November December"
    ).split(),
    "shortMonths": "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(),
}
CONFIG["locale"] = "site"
CONFIG["locales"] = {"site": {"dictionary": {}, "format": _LOCALE}}
_DASH = {"solid": "solid", "dash": "6px,3px", "dot": "2px,2px", "dashdot": "7px,3px,2px,3px"}
_SAMPLE = {"solid": "━━", "dash": "━ ━", "dot": "┅┅", "dashdot": "━ ·"}


def height_px(figure: TimeFigure) -> int:
    """Height of the live drawing [px]."""
    panels = sum(round(PANEL_PX * p.weight) + HEAD_PX for p in figure.panels)
    tracks = track_rows(figure.tracks)[1] + HEAD_PX if figure.tracks else 0
    return round(TOP_PX + panels + tracks + FOOT_PX)


def time_plotly(figure: TimeFigure) -> dict[str, Any]:
    """The figure as Plotly's data and layout: a trace per line and level, one polygon per track.

    x : milliseconds of the local wall clock since 1970, as numbers on a date axis
    Each trace's `meta` says what the values under the chart need: kind, name, unit, decimals.
    """
    total = height_px(figure) - FOOT_PX - TOP_PX
    layout: dict[str, Any] = {
        "height": height_px(figure),
        "margin": {"l": GUTTER_PX, "r": 8, "t": TOP_PX, "b": FOOT_PX},
        "paper_bgcolor": LIGHT["paper"],
        "plot_bgcolor": LIGHT["paper"],
        "font": {"family": FONT, "size": 12, "color": LIGHT["muted"]},
        "showlegend": False,
        "hovermode": "x",
        "hoverdistance": -1,
        "spikedistance": -1,
        "dragmode": "zoom",
        "modebar": {
            "bgcolor": LIGHT["paper"],
            "color": LIGHT["muted"],
            "activecolor": LIGHT["link"],
            "orientation": "h",
        },
        "meta": {
            "short": [str(escape(shortened(t.name, ROW_NAME_NARROW))) for t in figure.tracks],
            "first": _ms(figure, figure.first_ts),
        },
        "annotations": [],
        "shapes": [],
    }
    traces: list[dict[str, Any]] = []
    top = 0.0
    last = "y"
    for i, panel in enumerate(figure.panels):
        last = axis = "y" if i == 0 else f"y{i + 1}"
        tall = round(PANEL_PX * panel.weight)
        domain = _domain(total, top + HEAD_PX, tall)
        low, high = panel.bounds()
        layout[f"yaxis{'' if i == 0 else i + 1}"] = _value_axis(domain, low, high)
        layout["annotations"].append(_panel_head(panel, domain[1]))
        traces += _panel_traces(figure, panel, axis, low, high)
        for level in panel.levels:
            spot = level_spot(panel, level, figure.start_ts, figure.end_ts, tall)
            layout["annotations"].append(_level_label(level, spot, axis))
        top += HEAD_PX + tall
    if figure.tracks:
        n = len(figure.panels) + 1
        last = axis = f"y{n}" if n > 1 else "y"
        tops, tall_px = track_rows(figure.tracks)
        domain = _domain(total, top + HEAD_PX, tall_px)
        layout[f"yaxis{n if n > 1 else ''}"] = {
            "domain": domain,
            "range": [tall_px, 0],
            "tickmode": "array",
            "tickvals": [y + TRACK_PX / 2 - 1 for y in tops],
            "ticktext": [str(escape(shortened(t.name, ROW_NAME))) for t in figure.tracks],
            "fixedrange": True,
            "showgrid": False,
            "zeroline": False,
            "ticks": "",
            "tickfont": {"size": 11, "color": LIGHT["ink"]},
            "automargin": False,
        }
        layout["annotations"].append(_head_text("<b>On and off</b>", domain[1]))
        for track, y in zip(figure.tracks, tops, strict=True):
            traces += _track_traces(figure, track, axis, y)
    layout["shapes"] = _shapes(figure)
    layout["xaxis"] = {
        "type": "date",
        "range": [_ms(figure, figure.start_ts), _ms(figure, figure.end_ts)],
        "anchor": last,
        "gridcolor": LIGHT["faint"],
        "showspikes": True,
        "spikemode": "across",
        "spikesnap": "cursor",
        "spikethickness": 1,
        "spikedash": "solid",
        "spikecolor": LIGHT["muted"],
        "tickformatstops": _tick_formats(figure.hours),
        "hoverformat": "",
    }
    return {"data": traces, "layout": layout}


def _scatter(**properties: Any) -> dict[str, Any]:
    # Plain, for Plotly's own classes check every property anew at a third of the page's cost; a
    # test has them check every kind of figure.
    return {"type": "scatter", **properties}


def _ms(figure: TimeFigure, ts: Any) -> Any:
    """Milliseconds of the wall clock, of one instant or an array of them."""
    return (ts + figure.offset_us) / 1000


def _domain(total: float, top: float, tall: float) -> list[float]:
    return [max(0.0, 1 - (top + tall) / total), min(1.0, 1 - top / total)]


def _value_axis(domain: list[float], low: float, high: float) -> dict[str, Any]:
    return {
        "domain": domain,
        "range": [low, high],
        "fixedrange": True,
        "gridcolor": LIGHT["faint"],
        "zeroline": False,
        "nticks": 5,
        "ticks": "",
        "automargin": False,
    }


def _head_text(words: str, y: float) -> dict[str, Any]:
    return {
        "text": words,
        "xref": "paper",
        "yref": "paper",
        "x": 0,
        "y": y,
        "xanchor": "left",
        "yanchor": "bottom",
        "showarrow": False,
        "align": "left",
        "bgcolor": LIGHT["paper"],  # the lines of marks run behind the words
        "font": {"size": 12, "color": LIGHT["ink"]},
    }


def _panel_head(panel: Panel, y: float) -> dict[str, Any]:
    head = f"<b>{plotly_text(panel.title)}, {plotly_text(panel.unit)}</b>"
    short = 16 if len(panel.lines) > 4 else 26
    names = [
        f'<span style="color:{LIGHT[line.hue]}">{_SAMPLE[line.dash]}</span> '
        f"{plotly_text(line.name, short)}"
        for line in panel.lines[:6]
    ]
    if len(panel.lines) > 6:
        names.append(f"and {len(panel.lines) - 6} more, named below")
    return _head_text("   ".join([head, *names]), y)


def _panel_traces(
    figure: TimeFigure, panel: Panel, axis: str, low: float, high: float
) -> list[dict[str, Any]]:
    traces = []
    foot = low + (high - low) * 0.06
    for spans, roof in ((panel.gaps, high), (panel.partial, foot)):
        if spans:
            x, y = _boxes(figure, spans, low, roof)
            traces.append(_hatched(x, y, axis))
    for level in panel.levels:
        traces.append(
            _scatter(
                x=np.array([_ms(figure, figure.start_ts), _ms(figure, figure.end_ts)]),
                y=np.array([level.value, level.value]),
                yaxis=axis,
                mode="lines",
                line={"color": LIGHT[level.hue], "width": 1.4, "dash": "8px,4px"},
                hoverinfo="skip",
                meta={"kind": "level", "steps": 10000},
            )
        )
    for line in panel.lines:
        traces.append(
            _scatter(
                x=_ms(figure, line.ts.astype("f8")),
                y=line.values,
                yaxis=axis,
                mode="lines",
                connectgaps=False,
                line={"color": LIGHT[line.hue], "width": 1.6, "dash": _DASH[line.dash]},
                hoverinfo="none",
                name=plotly_text(line.name),
                meta={
                    "kind": "line",
                    "name": drawn(line.name),
                    "unit": line.unit,
                    "decimals": line.decimals,
                    "steps": line.scale,
                    "channel": line.channel_id,
                    "offset_ms": figure.offset_us / 1000,
                },
            )
        )
    return traces


def _track_traces(figure: TimeFigure, track: Track, axis: str, top: float) -> list[dict[str, Any]]:
    base, roof = top + TRACK_PX - 3, top + 1
    traces = []
    x, y = _teeth(figure, track.on, base, roof)
    traces.append(
        _scatter(
            x=x,
            y=y,
            yaxis=axis,
            mode="lines",
            fill="toself",
            fillcolor=LIGHT[track.hue],
            line={"width": 0, "color": LIGHT[track.hue], "simplify": False},
            hoverinfo="none",
            name=plotly_text(track.name),
            meta={
                "kind": "track",
                "name": drawn(track.name),
                "steps": 10,
                "unknown": [[_ms(figure, a), _ms(figure, b)] for a, b in track.unknown],
                "event": track.is_event,
                "words": list(track.words),
            },
        )
    )
    if track.unknown:
        hx, hy = _boxes(figure, track.unknown, base, roof)
        traces.append(_hatched(hx, hy, axis))
    return traces


def _teeth(
    figure: TimeFigure, spans: tuple[tuple[int, int], ...], base: float, roof: float
) -> tuple[np.ndarray, np.ndarray]:
    """One closed outline along the base that rises over every span: exact edges, one shape."""
    xs = [_ms(figure, figure.start_ts)]
    ys = [base]
    for a, b in spans:
        a, b = max(a, figure.start_ts), min(b, figure.end_ts)
        if b > a:
            xs += [_ms(figure, a), _ms(figure, a), _ms(figure, b), _ms(figure, b)]
            ys += [base, roof, roof, base]
    xs.append(_ms(figure, figure.end_ts))
    ys.append(base)
    return np.array(xs), np.array(ys)


def _boxes(
    figure: TimeFigure, spans: tuple[tuple[int, int], ...], low: float, high: float
) -> tuple[np.ndarray, np.ndarray]:
    xs: list[float] = []
    ys: list[float] = []
    for a, b in spans:
        x0, x1 = _ms(figure, max(a, figure.start_ts)), _ms(figure, min(b, figure.end_ts))
        xs += [x0, x1, x1, x0, x0, np.nan]
        ys += [low, low, high, high, low, np.nan]
    return np.array(xs), np.array(ys)


def _hatched(x: np.ndarray, y: np.ndarray, axis: str) -> dict[str, Any]:
    return _scatter(
        x=x,
        y=y,
        yaxis=axis,
        mode="lines",
        fill="toself",
        line={"width": 0, "color": LIGHT["unknown"]},
        fillpattern={
            "shape": "/",
            "size": 6,
            "solidity": 0.35,
            "fgcolor": LIGHT["unknown"],
            "bgcolor": LIGHT["paper"],
            "fillmode": "replace",
        },
        hoverinfo="skip",
        meta={"kind": "unknown", "steps": 10000},
    )


def _level_label(level: Level, spot: Spot, axis: str) -> dict[str, Any]:
    return {
        "text": plotly_text(level.label),
        "xref": "paper",
        "yref": axis,
        "x": spot.at,
        "y": level.value,
        "xanchor": {"start": "left", "middle": "center", "end": "right"}[spot.anchor],
        "yanchor": "bottom" if spot.is_above else "top",
        "showarrow": False,
        "font": {"size": 11, "color": LIGHT[level.hue]},
    }


def _shapes(figure: TimeFigure) -> list[dict[str, Any]]:
    """Bands and marks over the full height: few, so shapes are cheap enough."""
    shapes: list[dict[str, Any]] = []
    for band in figure.bands:
        shapes.append(
            {
                "type": "rect",
                "xref": "x",
                "yref": "paper",
                "x0": _ms(figure, max(band.start_ts, figure.start_ts)),
                "x1": _ms(figure, min(band.end_ts, figure.end_ts)),
                "y0": 0,
                "y1": 1,
                "layer": "below",
                "line": {"width": 0},
                "fillcolor": LIGHT[band.hue],
            }
        )
    for i, mark in enumerate(figure.marks, start=1):
        x = _ms(figure, mark.ts)
        shapes.append(
            {
                "type": "line",
                "xref": "x",
                "yref": "paper",
                "x0": x,
                "x1": x,
                "y0": 0,
                "y1": 1,
                "line": {"width": 1, "dash": "2px,2px", "color": LIGHT[mark.hue]},
                "label": {
                    "text": str(i),
                    "textposition": "end",
                    "textangle": 0,
                    "xanchor": "center",
                    "yanchor": "bottom",
                    "padding": 2,
                    "font": {"size": 11, "weight": 700, "color": LIGHT[mark.hue]},
                },
            }
        )
    return shapes


def _tick_formats(hours: int) -> list[dict[str, Any]]:
    clock = "%H:%M" if hours == 24 else "%-I:%M %p"
    exact = "%H:%M:%S" if hours == 24 else "%-I:%M:%S %p"
    minute, day = 60_000, 86_400_000
    return [
        {"dtickrange": [None, minute - 1], "value": exact},
        {"dtickrange": [minute, day - 1], "value": clock},
        {"dtickrange": [day, None], "value": "%a %b %-d"},
    ]
