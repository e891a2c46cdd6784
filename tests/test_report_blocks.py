"""What single blocks of the site's page say, from records that a test can read at a glance."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipeline.result import EvidenceWindow, Mark, Span
from reports.axis import value_ticks
from reports.block import Model
from reports.blocks import cycles, finding, header, rules, runtime, settings
from reports.evidence import evidence_figure
from reports.figure import DayFigure, DayRow, Level, Line, Panel
from reports.level_spot import Spot, level_spot
from reports.svg_days import day_key
from reports.theme import call_shape
from tests import report_sample as sample

at = sample.at
MODEL = Model(sample.sample_result())
SOURCES = ("sql/40_interval", "sql/50_measure", "pipeline/findings")


def plain(html: str) -> str:
    """The words; held-together ones are parted as others are."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", html))


def test_what_can_be_tried_stands_apart_from_the_sentence_before() -> None:
    first = MODEL.result.findings[0]
    cause = replace(first.causes[0], replay="zonetrail replay larch-1 --set stage2_min_zones=1,2")
    result = sample.sample_result(findings=(replace(first, causes=(cause,)),))
    said = plain(str(finding.render(Model(result)).html))
    assert f"{cause.because} Try it on this log: {cause.replay}" in said


@pytest.mark.parametrize("severity", ["act", "plan", "watch", "note"])
def test_a_found_rule_carries_its_findings_own_mark(severity: str) -> None:
    first = replace(MODEL.result.findings[0], severity=severity)
    html = str(rules.render(Model(sample.sample_result(findings=(first,)))).html)
    row = html[: html.index(first.title)].rsplit("<th", 1)[1]
    assert call_shape(severity) in row


def test_every_setting_that_is_read_is_said_to_be() -> None:
    files = [f for folder in SOURCES for f in Path(folder).iterdir() if f.is_file()]
    text = "\n".join(f.read_text(encoding="utf-8") for f in files)
    read = {key for key in settings.SETTING_WORDS if re.search(rf"['\"]{key}['\"]", text)}
    assert {"low_balance_f", "purge_s", "changeover_wait_min"} <= read
    assert read <= settings.JUDGED_BY.keys() | settings.READ_FOR.keys()
    codes = {code for named in settings.JUDGED_BY.values() for code in named}
    rule_files = {f.stem.replace("_", "-") for f in files if f.suffix == ".py"}
    assert codes <= rule_files


def test_time_on_by_outdoor_air_is_told_in_hours_and_as_a_share_of_that_air() -> None:
    basis = {"coverage": 0.98, "resolution_s": 120.0, "split": "outdoor"}
    rows = [
        {"part": f"{low}", "low_f": low, "what": what, "on_s": on_s, "known_s": 36_000.0} | basis
        for low, what, on_s in (
            (5.0, "output_w1", 32_400.0),
            (5.0, "output_w2", 9_000.0),
            (5.0, "burner", 32_400.0),
            (10.0, "output_w1", 18_000.0),
            (10.0, "output_w2", 0.0),
        )
    ] + [
        basis | {"split": "calling", "part": "1", "what": "output_w1", "on_s": 1.0, "known_s": 1.0}
    ]
    frames = MODEL.result.frames | {
        "measure.runtime_split": sample.frame("measure.runtime_split", rows)
    }
    html = str(runtime.render(Model(sample.sample_result(frames=frames))).html)
    table = html[html.index("On time by outdoor temperature") :]
    table = table[: table.index("</p>", table.index("</table>"))]
    cells = [plain(c) for c in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", table)]
    assert cells == [
        *("Outdoor air", "Hours of it", "W1 out", "W2 out"),
        *("5 to 10 °F", "10 h", "9.0 h, 90 %", "2.5 h, 25 %"),
        *("10 to 15 °F", "10 h", "5.0 h, 50 %", "–"),
    ]
    assert re.findall(r'<rect width="([\d.]+)%"', table) == ["90.0", "25.0", "50.0"]
    assert "logged 98 % of the time, to the nearest 2 min" in plain(table)
    si = str(runtime.render(Model(sample.sample_result(frames=frames, units="si"))).html)
    assert "−15.0 to −12.2 °C" in plain(si)


def test_without_outdoor_air_no_runtime_is_told_by_it() -> None:
    assert "No runtime by outdoor temperature" in str(runtime.render(MODEL).html)


def _window(**changes: object) -> EvidenceWindow:
    given = {"n": 1, "start_ts": at(13, 6, 1), "end_ts": at(13, 6, 9), "title": "Stayed in."}
    return EvidenceWindow(**(given | {"spans": (), "marks": (), "lines": ()} | changes))


def test_a_stretch_without_marks_of_its_own_is_marked_where_it_begins_and_read_there() -> None:
    window = _window(spans=(Span(at(13, 6, 3), at(13, 6, 4), "stayed in"),))
    drawn = evidence_figure(MODEL, MODEL.result.findings[0], window)
    # the trip of 6:05 am is told too
    assert [m.label for m in drawn.marks] == ["stayed in", "high-limit trip"]
    assert drawn.first_ts == drawn.marks[0].ts == at(13, 6, 3)


def test_a_band_too_thin_to_be_seen_is_a_mark_and_no_swatch() -> None:
    span = Span(at(13, 6, 3), at(13, 6, 3) + 500_000, "G off")
    told = _window(spans=(span,), marks=(Mark(span.start_ts, "G off"),))
    drawn = evidence_figure(MODEL, MODEL.result.findings[0], told)
    assert "G off" in [m.label for m in drawn.marks]
    assert "G off" not in [b.label for b in drawn.bands]


def test_what_was_on_before_the_minutes_drawn_is_said_with_its_time() -> None:
    drawn = evidence_figure(MODEL, MODEL.result.findings[0], _window())
    assert "On when it begins: W1 out since 6:00 am." in drawn.notes


HOUR = np.arange(0, 3601, 10, dtype="i8")


@pytest.mark.parametrize(
    ("values", "spot"),
    [
        (np.full(361, 0.2), Spot(1.0, True)),
        (np.full(361, 0.43), Spot(1.0, False)),
        (np.where(HOUR > 1800, 0.43, 0.37), Spot(0.0, True)),
        (np.where(HOUR > 1800, 0.4 + 0.05 * np.sin(HOUR), 0.2), Spot(0.0, True)),
    ],
    ids=["line below", "line above", "line crosses", "line swings at the end"],
)
def test_the_words_of_a_level_stand_where_the_line_does_not(values: np.ndarray, spot: Spot) -> None:
    line = Line("Static", "static", "solid", HOUR, values)
    levels = (Level(0.4, "target"), Level(0.8, "which leaves room above"))
    panel = Panel("Duct static", "in. w.c.", (line,), levels, from_zero=True)
    assert level_spot(panel, panel.levels[0], 0, 3600, 118) == spot


def test_words_that_would_leave_the_panel_go_to_the_other_side() -> None:
    line = Line("Supply air", "supply", "solid", HOUR, np.full(361, 60.0))
    panel = Panel("Air", "°F", (line,), (Level(150.0, "high limit"),))
    assert not level_spot(panel, panel.levels[0], 0, 3600, 118).is_above


def test_a_count_axis_has_no_half() -> None:
    assert [t.label for t in value_ticks(0, 9.7)] == ["0", "2.5", "5.0", "7.5"]
    assert [t.label for t in value_ticks(0, 9.7, is_whole=True)] == ["0", "5"]
    assert [t.label for t in value_ticks(0, 2.2, is_whole=True)] == ["0", "1", "2"]


def test_the_days_of_a_year_show_trips_as_they_are_drawn() -> None:
    row = DayRow("Mon", 0, 86_400_000_000, (), marks=(1,))
    drawn = DayFigure("days", "", "", (row,), 12)
    triangle, dash = "L7.500 9z", "M5 3h4v6h-4z"
    assert triangle in day_key(drawn) and dash not in day_key(drawn)
    assert dash in day_key(drawn, dashes=True) and triangle not in day_key(drawn, dashes=True)


@pytest.mark.parametrize(("years", "said"), [(0, "2026"), (1, "2025")])
def test_the_head_says_each_year_once(years: int, said: str) -> None:
    window = Span(MODEL.window.start_ts - years * 365 * 86_400_000_000, MODEL.window.end_ts)
    html = plain(str(header.render(Model(sample.sample_result(window=window))).html))
    assert html.count("2026") == 1 and html.count(said) == 1


def test_a_short_run_that_nothing_explains_has_no_empty_cell() -> None:
    rows = [
        {
            "source": "burner", "mode": "heating", "what": "run", "start_ts": at(13, 9),
            "end_ts": at(13, 9, 2), "length_s": 120.0, "zones": "1", "by_limit": False,
            "after_trip": False,
        }
    ]  # fmt: skip
    frames = MODEL.result.frames | {
        "measure.short_cycle": sample.frame("measure.short_cycle", rows)
    }
    html = str(cycles.render(Model(sample.sample_result(frames=frames))).html)
    table = html[html.index("Every short run") :]
    assert "<td></td>" not in table and "<td>–</td>" in table


def test_every_dot_of_the_cycles_stands_in_their_table() -> None:
    block = cycles.render(MODEL)
    figure = block.figures[0]
    table = figure.table
    assert table is not None and len(table.rows) == sum(figure.counts) == 9
    assert table.rows[0] == ("Tue Jan 13, 12:00 am", "50 %", "5")
    assert "Every hour of it: Furnace, heating (9 rows)" in plain(str(block.html))
