"""Unusual days where they are read: the days at a glance, and review.json."""

from __future__ import annotations

import datetime as dt
import importlib.util
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from pipeline.result import SiteResult
from pipeline.review_json import review_document, review_schema, review_text
from pipeline.unusual.record import (
    CANNOT_TELL,
    JUDGED,
    UNUSUAL,
    Change,
    ChangesJudged,
    DayJudged,
    DaysJudged,
    Departure,
    Step,
    Unusual,
)
from reports.block import Block, Model
from reports.blocks import days as block
from reports.figure import DayFigure


def _beside(name: str) -> Any:
    """The module beside this one: tests are not a package, so it is loaded from its file."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


WHY = "Second-stage heat 5.1 h; days as cold as this one had 1.2 to 1.9 h."


@pytest.fixture(scope="module")
def result() -> SiteResult:
    found: SiteResult = _beside("report_sample")._RESULT
    return found


@pytest.fixture(scope="module")
def unusual(result: SiteResult) -> Unusual:
    """The first day of the sample is unusual, and something changed on it."""
    first = result.frames["run.day"].iloc[0]
    day = dt.date.fromisoformat(str(first["day"])[:10])
    start_ts, end_ts = int(first["start_ts"]), int(first["end_ts"])
    departure = Departure(
        "heat_second_s", "second-stage heat", 5.1, 1.5, 1.2, 1.9, "h", 7.5, WHY[:-1].lower()
    )
    judged = DayJudged(day, start_ts, end_ts, UNUSUAL, WHY, 1.8, (departure,))
    step = Step(
        "room_f", "mean of the rooms", "step", day, day, day, None, 69.0, 72.0, 3.0, 2.5, 3.5,
        "°F", 40, 50, "mean of the rooms 69 °F before, 72 °F after at like weather",
    )  # fmt: skip
    change = Change(day, day, day, "", "Since Tue Jan 13: the rooms 3 °F up.", (step,))
    return Unusual(
        DaysJudged(JUDGED, "90 days; of usual days about one in 200 is flagged.", 0.005, 90, 0,
                   (judged,)),
        ChangesJudged(JUDGED, "90 days.", 0.05, 90, 0, (change,)),
    )  # fmt: skip


def drawn(result: SiteResult) -> tuple[Block, DayFigure]:
    made = block.render(Model(result))
    (figure,) = made.figures
    assert isinstance(figure, DayFigure)
    return made, figure


def test_the_row_is_marked_and_the_reason_stands_under_it(
    result: SiteResult, unusual: Unusual
) -> None:
    made, figure = drawn(replace(result, unusual=unusual))
    assert [r.note for r in figure.rows][:2] == ["unusual", ""]
    said = [n for n in figure.notes if "is unusual: second-stage heat 5.1 h" in n]
    assert len(said) == 1
    assert any(n.startswith("Changed and stayed: since Tue Jan 13") for n in figure.notes)
    assert ">unusual</text>" in made.html
    assert figure.table is not None and figure.table.columns[-1].title == "Unusual for its weather"
    assert figure.table.rows[0][-1] == WHY and figure.table.rows[1][-1] == ""


def test_too_few_days_is_said_once_and_nothing_is_marked(
    result: SiteResult, unusual: Unusual
) -> None:
    why = "Cannot tell yet: 7 days with enough logged, 35 more days needed."
    few = Unusual(
        DaysJudged(CANNOT_TELL, why, 0.005, 7, 35), ChangesJudged(CANNOT_TELL, why, 0.05, 7, 35)
    )
    _, figure = drawn(replace(result, unusual=few))
    assert not any(r.note for r in figure.rows)
    assert "Unusual days: cannot tell yet: 7 days with enough logged, 35 more days needed." in (
        figure.notes
    )
    assert figure.table is not None
    assert "Unusual for its weather" not in [c.title for c in figure.table.columns]


def test_review_json_carries_days_and_changes_and_meets_the_schema(
    result: SiteResult, unusual: Unusual
) -> None:
    small = _beside("review_sample").a_result()
    text = review_text(replace(small, unusual=unusual))
    document = json.loads(text)
    jsonschema.validate(document, review_schema(), cls=jsonschema.Draft202012Validator)
    told = document["unusual"]
    assert told["days"]["false_flag_share"] == 0.005
    (day,) = told["days"]["flagged"]
    assert (day["why"], day["score"]) == (WHY, 1.8)
    assert day["departures"][0]["figure"] == "heat_second_s"
    (change,) = told["changes"]["found"]
    assert change["figures"][0]["size"] == 3.0


def test_review_json_says_where_nobody_looked() -> None:
    told = review_document(_beside("review_sample").a_result())["unusual"]
    assert told["days"]["result"] == "cannot tell"
    assert told["days"]["flagged"] == [] and told["changes"]["found"] == []
