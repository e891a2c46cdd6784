"""Sampling honesty: one log at three intervals, and what each measure, rule and figure then says.

The log is made here: two zones of a furnace whose burner is on for 8 of every 30 minutes, with
readings taken every 10 s, every 3 min and every 15 min. What is expected follows from the measures'
own declarations (60 s for runs, 300 s for comfort) and needs no pipeline: of runs of 8 min a log
at 3 min sees each with two readings or three, one at 15 min may see none.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import jsonschema
import pandas as pd
import pytest

from pipeline.findings._judge import rules
from pipeline.review import review_site
from pipeline.review_json import review_document, review_schema
from pipeline.sampling import AT_LEAST, CERTAIN, NOT_GIVEN, intervals, standing, standings
from pipeline.tables import _measure
from pipeline.thresholds import values_for
from reports.site import render_site

NUMBERS = values_for({})
HOURS = 48
SITE = """
[site]
id = "birch-2"
timezone = "America/Chicago"
[equipment]
kind = "furnace"
heating_stages = 2
[settings]
high_limit_f = 150
[[zone]]
number = 1
name = "Up"
[[zone]]
number = 2
name = "Down"
[[channel]]
column = "W1"
role = "output_w1"
[[channel]]
column = "W2"
role = "output_w2"
[[channel]]
column = "G"
role = "output_g"
[[channel]]
column = "Call 1"
role = "zone_call_w1"
zone = 1
[[channel]]
column = "Call 2"
role = "zone_call_w1"
zone = 2
[[channel]]
column = "Supply"
role = "supply_temp"
unit = "degF"
"""


def written(folder: Path, interval_s: int) -> Path:
    """The log at this interval, as a site folder."""
    start = datetime(2026, 1, 12)
    rows = ["Time,W1,W2,G,Call 1,Call 2,Supply"]
    for second in range(0, HOURS * 3600, interval_s):
        phase = (second + 7 * 60) % 1800
        on = phase < 480
        supply = 120.0 if 60 <= phase < 540 else 72.0
        at = start + timedelta(seconds=second)
        call = int(on)
        rows.append(
            f"{at:%Y-%m-%d %H:%M:%S},{call},0,{call},{call},0,{supply + second % 7 / 10:.1f}"
        )
    (folder / "exports").mkdir(parents=True)
    (folder / "exports" / "log.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def reviewed(tmp_path_factory: pytest.TempPathFactory) -> Callable[[int], object]:
    made = {}

    def at(interval_s: int):
        if interval_s not in made:
            folder = tmp_path_factory.mktemp("log") / f"every-{interval_s}"
            made[interval_s] = review_site(written(folder, interval_s)).result
        return made[interval_s]

    return at


@pytest.mark.parametrize(
    ("interval_s", "result"), [(10, CERTAIN), (180, AT_LEAST), (900, NOT_GIVEN)]
)
def test_a_log_at_three_intervals(reviewed, interval_s: int, result: str) -> None:
    document = review_document(reviewed(interval_s))
    jsonschema.validate(document, review_schema())
    of = {s["measure"]: s for s in document["sampling"]}
    assert (of["runtime"]["result"], of["runtime"]["enough_s"]) == (result, 60)
    assert of["runtime"]["interval_s"] == interval_s
    w1, heat = document["runtime"]["output_w1"], document["cycles"]["heat_output"]
    zone = document["zones"][0]
    counts = (w1["starts"], heat["starts"], zone["calls"], document["staging"]["starts"])
    if result == NOT_GIVEN:
        assert counts == (None, None, None, None)
        for block, key in ((w1, "starts"), (heat, "starts"), (zone, "calls")):
            assert "every 60 s would do" in block["not_measured"][key]
    else:
        assert counts[:3] == (96, 96, 96)  # 48 h, two an hour; the log begins in a rest
        for block in (w1, zone, document["stages"]["heating"], document["staging"]):
            assert block["at_least"] is (result == AT_LEAST)
            assert "starts" not in block.get("not_measured", {})
    # a rule that needs outputs and calls: certain at 60 s, and at 3 min at least what was seen
    rule = next(j for j in document["judged"] if j["code"] == "call-without-output")
    assert rule["result"] == ("cannot tell" if result == NOT_GIVEN else "not found")
    assert ("every 60 s would do" in rule["why"]) is (result != CERTAIN)


@pytest.mark.parametrize("interval_s", [10, 180, 900])
def test_the_page_says_it_where_the_figure_stands(reviewed, interval_s: int) -> None:
    page = render_site(reviewed(interval_s))
    starts = page.split("What the panel put out", 1)[1].split("</table>", 1)[0]
    assert ("at least 96" in starts) is (interval_s == 180)
    assert ("not given" in starts) is (interval_s == 900)
    assert ("this log is too coarse" in page) is (interval_s != 10)


@pytest.mark.parametrize(
    ("interval_s", "result"),
    [(59.0, CERTAIN), (60.0, CERTAIN), (60.1, AT_LEAST), (360.0, AT_LEAST), (360.1, NOT_GIVEN)],
)
def test_under_at_and_over_both_bounds(interval_s: float, result: str) -> None:
    assert NUMBERS["sampling_part_times"] == 6
    found = standing("measure.runtime", {"output_w1": interval_s}, NUMBERS)
    assert found is not None
    assert (found.result, bool(found.why)) == (result, result != CERTAIN)


def test_only_channels_that_are_counted_from_matter() -> None:
    """Outdoor air every half hour and a room every five minutes do not blur a trip."""
    logged = {"supply_temp": 10.0, "output_w1": 1.0, "zone_call_w1": 1.0}
    slow = {"outdoor_temp": 1800.0, "zone_temp": 300.0}
    found = standing("measure.trip_context", logged | slow, NUMBERS)
    assert found is not None
    assert (found.result, found.interval_s) == (CERTAIN, 10)
    assert standing("measure.static_total", logged, NUMBERS) is None  # static was not logged


def test_what_lacks_a_channel_it_cannot_do_without_is_not_called_certain() -> None:
    """Supply and return air alone, from which runs are inferred: no second stage, trip or limit."""

    def named(*roles: str) -> set[str]:
        rows = [(role, n, 10.0, 86400.0, 86400.0) for n, role in enumerate(roles)]
        columns = ["role", "channel_id", "interval_s", "valid_s", "window_s"]
        coverage = pd.DataFrame(rows, columns=columns)
        return {
            n.removeprefix("measure.") for n in standings({"signal.coverage": coverage}, NUMBERS)
        }

    blind = {"stage_up", "stage_up_missing", "heat_day", "limit_approach", "recirculation",
             "trip_context", "balance", "equipment_stage", "defrost_total", "sign", "airflow_index",
             "purge"}  # fmt: skip
    temps = named("supply_temp", "return_temp", "inferred_heat")
    assert not blind & temps
    assert {"runtime", "cycle", "rise"} <= temps
    states = ("output_w1", "output_w2", "output_y1", "zone_call_w1")
    others = ("static_pressure", "outdoor_temp", "zone_temp")
    assert blind <= named("supply_temp", "return_temp", *states, *others)


def test_a_stretch_at_a_slower_rate_counts_from_a_tenth_of_the_window() -> None:
    coverage = pd.DataFrame(
        [("supply_temp", 3, 10.0, 86400.0, 86400.0)],
        columns=["role", "channel_id", "interval_s", "valid_s", "window_s"],
    )

    def slowest(hours: float) -> float:
        held = [(3, 0, round(hours * 3600e6), 300.0)]
        rates = pd.DataFrame(held, columns=["channel_id", "start_ts", "end_ts", "interval_s"])
        return intervals(coverage, rates, 0.1)["supply_temp"]

    assert (slowest(2.4), slowest(2.5)) == (10, 300)


SAID = {"definition": "", "needs": [], "resolution": "", "source": ""}


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"interval_max_s": 60}, "one of interval_max_s and counted_from, not both"),
        ({"counted_from": ["supply_temp"]}, "one of interval_max_s and counted_from, not both"),
        ({"interval_max_s": 60, "counted_from": ["suply"]}, "suply: no role begins so"),
        ({"not_without": [["supply_temp"], ["suply"]]}, "suply: no role begins so"),
    ],
)
def test_a_measure_that_does_not_say_what_it_is_counted_from_is_refused(
    more: dict[str, object], words: str
) -> None:
    with pytest.raises(ValueError, match=f"sql/x.sql: measure.x .*{words}"):
        _measure("measure.x", SAID | more, "sql/x.sql")


# a run and a leap of supply air look alike in a coarse log: that rule says so itself
OF_READINGS = "sensor-spikes"
LOG_RULES = [r for r in rules() if r.declaration.about == "log" and r.code != OF_READINGS]


@pytest.mark.parametrize("code", [r.code for r in LOG_RULES])
def test_a_rule_about_the_log_is_never_limited_by_it(reviewed, code: str) -> None:
    judged = {j["code"]: j for j in review_document(reviewed(900))["judged"]}
    assert "would do" not in judged[code]["why"]
