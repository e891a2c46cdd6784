"""A finding's evidence as a figure: the record's own numbers, drawn live and still."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import pandas as pd
import plotly.graph_objects as go
import pytest

from reports.block import Model
from reports.blocks.days import day_figure
from reports.blocks.timeline import whole_log
from reports.drawing import figure_html
from reports.evidence import evidence_figure
from reports.figure import TimeFigure
from reports.plotly_figure import time_plotly
from reports.svg import time_still
from reports.wire import unpacked_array, wire, wire_page
from tests import report_sample as sample

MODEL = Model(sample.sample_result())


def figure(model: Model = MODEL) -> TimeFigure:
    finding = model.result.findings[0]
    return evidence_figure(model, finding, finding.windows[0])


@cache
def made() -> dict[str, Any]:
    return wire(time_plotly(figure()))  # by itself, so that nothing of it is sent elsewhere


def line(name: str) -> dict[str, Any]:
    return next(t for t in made()["data"] if t["meta"].get("name") == name)


@pytest.mark.parametrize("drawn", [figure(), whole_log(MODEL)], ids=["evidence", "whole log"])
def test_plotly_itself_knows_every_property_that_is_sent(drawn: TimeFigure) -> None:
    plain = time_plotly(drawn)
    # raises ValueError on a property or a value that Plotly does not have
    checked = go.Figure(plain)
    assert len(checked.data) == len(plain["data"]) > 5
    for name in ("traces", "layout"):
        broken = time_plotly(drawn)
        where = broken["layout"] if name == "layout" else broken["data"][0]
        where["no_such_property"] = 1
        with pytest.raises(ValueError, match="no_such_property"):
            go.Figure(broken)


def test_trace_carries_every_reading_of_the_record() -> None:
    trace = line("Supply air")
    y = unpacked_array(trace["y"])
    # 31 readings 120..150 °F, a break, two of 130 °F
    assert y[:31].tolist() == [120.0 + i for i in range(31)]
    assert y[31] != y[31] and y[32:].tolist() == [130.0, 130.0]


def test_trace_lies_on_the_sites_wall_clock() -> None:
    x = unpacked_array(line("Supply air")["x"])
    # 6:00 am local, written as if UTC: 2026-01-13T06:00Z is 1768284000 s
    assert x[0] == 1768284000_000 and x[1] - x[0] == 10_000


def test_all_panels_share_one_axis() -> None:
    drawn = made()
    assert {t.get("xaxis", "x") for t in drawn["data"]} == {"x"}
    assert [k for k in drawn["layout"] if k.startswith("xaxis")] == ["xaxis"]
    assert drawn["layout"]["xaxis"]["type"] == "date"
    domains = [v["domain"] for k, v in drawn["layout"].items() if k.startswith("yaxis")]
    assert len(domains) == 4  # air, static, zones, on and off
    for (low, _), (_, high) in zip(sorted(domains)[1:], sorted(domains), strict=False):
        assert low > high


def test_track_is_one_outline_with_exact_edges() -> None:
    trace = line("W1 out")
    x = [v - 1768284000_000 for v in unpacked_array(trace["x"])]
    # on 6:00:00-6:05:00 of a window that ends 6:10:20: start, up, down, end
    assert x == [0, 0, 0, 300_000, 300_000, 620_000]
    assert trace["fill"] == "toself" and trace["line"]["width"] == 0


def test_what_is_not_known_is_hatched_and_never_off() -> None:
    trace = line("W2 out")
    # W2 is not covered 6:00-6:02
    assert trace["meta"]["unknown"] == [[1768284000_000, 1768284120_000]]
    patterns = [t for t in made()["data"] if "fillpattern" in t]
    assert patterns and any("neither one nor the other" in n for n in figure().notes)


def test_limit_target_trip_and_span_are_drawn() -> None:
    layout = made()["layout"]
    said = [a["text"] for a in layout["annotations"]]
    assert "high limit 150 °F" in said and "target 0.40 in. w.c." in said
    marks = [s for s in layout["shapes"] if s["type"] == "line"]
    assert [m["x0"] - 1768284000_000 for m in marks] == [300_000]
    assert "6:05:00\u00a0am: trip" in figure_html(figure(), MODEL.clock)


def test_both_drawings_come_from_one_sentence() -> None:
    assert figure().sentence == sample.sample_result().findings[0].windows[0].title
    assert f'aria-label="{figure().sentence}"' in time_still(figure())


def test_gap_of_one_line_is_named_and_hatched_along_the_foot_only() -> None:
    air, static, _ = figure().panels
    # supply stops 6:05-6:10 and nothing else is in its panel: hatched over the full height
    assert [tuple(g) for g in air.gaps] == [(sample.at(13, 6, 5), sample.at(13, 6, 10))]
    assert air.partial == () and static.gaps == ()
    frames = dict(MODEL.result.frames)
    readings, channels = frames["view.log_reading"], frames["channel.channel"]
    more = readings.query("channel_id == 2").assign(channel_id=9)
    like = channels.query("channel_id == 2").assign(role="return_temp", channel_id=9)
    frames["view.log_reading"] = pd.concat([readings, more], ignore_index=True)
    frames["channel.channel"] = pd.concat([channels, like], ignore_index=True)
    two = Model(replace(MODEL.result, frames=frames))
    air = figure(two).panels[0]
    assert air.gaps == () and air.partial == ((sample.at(13, 6, 5), sample.at(13, 6, 10)),)
    said = "Not recorded Tue Jan 13, 6:05 am – 6:10 am: Supply air"
    assert any(note.startswith(said) for note in figure(two).notes)


def test_state_that_was_off_throughout_is_a_sentence_not_a_row() -> None:
    frames = dict(MODEL.result.frames)
    states = frames["view.window_state"]
    off = states[states["role"] == "output_w1"].assign(role="output_y1", channel_id=8, is_on=False)
    model = Model(
        replace(MODEL.result, frames=frames | {"view.window_state": pd.concat([states, off])})
    )
    assert "Off throughout: Y1 out." in figure(model).notes
    assert "Y1 out" not in [t.name for t in figure(model).tracks]


def test_whole_log_has_every_reading_and_the_page_sends_it_once() -> None:
    drawn = {f.key: f for f in (figure(), whole_log(MODEL))}
    assert [len(p.lines[0].values) for p in whole_log(MODEL).panels] == [34, 62, 6]  # a break in 34
    figures, shared = wire_page({key: time_plotly(f) for key, f in drawn.items()})
    assert set(shared) == {"1", "2", "3"}
    assert unpacked_array(shared["1"]["y"])[:31].tolist() == [120.0 + i for i in range(31)]
    for key, sent in figures.items():
        lines = [t for t in sent["data"] if t["meta"]["kind"] == "line"]
        assert [t["y"]["$"][0] for t in lines] == ["1", "2", "3"], key
        assert [t["y"]["$"][1:3] for t in lines] == [[0, 34], [0, 62], [0, 6]], key


def test_a_line_on_another_clock_is_the_same_stretch_shifted_and_another_line_is_sent_whole() -> (
    None
):
    late = replace(figure(), key="late", offset_us=figure().offset_us + 3_600_000_000)
    static = figure().panels[1]
    bent = replace(static.lines[0], values=static.lines[0].values + 0.1, ts=static.lines[0].ts + 1)
    other = replace(figure(), key="other", panels=(replace(static, lines=(bent,)),))
    figures, _ = wire_page({f.key: time_plotly(f) for f in (figure(), late, other)})
    assert [t["x"]["$"][3] for t in figures["late"]["data"] if "$" in t["x"]] == [3_600_000.0] * 3
    (line,) = (t for t in figures["other"]["data"] if t["meta"]["kind"] == "line")
    assert unpacked_array(line["y"])[0] == pytest.approx(0.6)


def test_whole_log_has_runs_calls_and_trips() -> None:
    assert {t.name for t in whole_log(MODEL).tracks} == {
        "W1 out", "Main floor heat call", "Limit trips",
    }  # fmt: skip


def test_rare_events_are_marked_as_such_for_the_zoom() -> None:
    data = wire(time_plotly(whole_log(MODEL)))["data"]
    events = {t["meta"]["name"]: t["meta"]["event"] for t in data if t["meta"]["kind"] == "track"}
    assert events["Limit trips"] is True and events["W1 out"] is False


def test_day_row_tells_off_from_not_known_and_from_outside_the_log() -> None:
    conditions = pd.DataFrame(MODEL.rows("interval.condition"))
    figure = day_figure(MODEL, MODEL.rows("run.day"), conditions)
    first, second = figure.rows
    assert [p.kind for p in first.parts] == ["first", "second", "first"]
    assert first.marks == (sample.at(13, 6, 4, 50),) and first.unknown == ()
    assert second.unknown == ((sample.at(14, 0), sample.at(14, 1)),)
    # the hour without outputs is the only gap inside that lasts ten minutes
    assert first.outlined == () and second.outlined == second.unknown


def test_day_of_25_hours_keeps_its_length_and_says_so() -> None:
    # Denver, 2026-11-01: from midnight MDT (06:00 UTC) to midnight MST (07:00 UTC) = 25 h
    start = 1793512800 * sample.SECOND
    end = start + 25 * sample.HOUR
    day = {"day": "2026-11-01", "start_ts": start, "end_ts": end}
    on = {"class": "heating", "source": "burner", "stage": 1, "start_ts": start, "end_ts": end}
    result = sample.sample_result(window=sample.Span(start, end))
    figure = day_figure(Model(result), [day], pd.DataFrame([on]))
    assert "heat ran 25 h" in figure.sentence
    assert any("has 25 hours" in note for note in figure.notes)


@pytest.mark.parametrize("units", ["us", "si"])
def test_levels_are_drawn_in_the_units_of_their_panel(units: str) -> None:
    air, static, _ = figure(Model(sample.sample_result(units=units))).panels
    # 150 °F = 65.56 °C; 0.4 in. w.c. = 99.64 Pa
    expected = {"us": (150.0, 0.4), "si": (65.556, 99.6356)}[units]
    assert (air.levels[0].value, static.levels[0].value) == pytest.approx(expected, abs=1e-3)
