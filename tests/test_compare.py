"""Before and after: verdicts on a small log made by hand, refusals, the page and the verb."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from pipeline.cli import zonetrail
from pipeline.compare import compare, comparison_document, visit_parts, whole_sentence
from pipeline.compare_measures import BETTER, CANNOT, NEITHER, NOT_YET, WORSE
from pipeline.errors import InputError
from pipeline.guard import run_command
from pipeline.result import Span
from reports.compare import comparison_text, render_comparison
from sample_data.unpack import unpack_site
from tests import report_sample as sample

at, frame = sample.at, sample.frame
DAYS = range(5, 19)  # fourteen days of January, the fix on the twelfth: seven before, seven after
FIX = 12


def made(before=3, after=0, hours=2.0, outdoor=25.0, outdoor_after=25.0, visits=(), settings=()):
    """Each day `hours` of zone 1's heat from 6:00 am; trips a day as given, ten minutes apart."""
    conditions, weather, trips, calls, days = [], [], [], [], []
    for day in DAYS:
        end = at(day, 6) + round(hours * sample.HOUR)
        days.append(
            {"day": dt.date(2026, 1, day), "start_ts": at(day, 0), "end_ts": at(day + 1, 0)}
        )
        for a, b, kind in ((at(day, 0), at(day, 6), "off"), (at(day, 6), end, "heating"),
                           (end, at(day + 1, 0), "off")):  # fmt: skip
            conditions.append({
                "start_ts": a, "end_ts": b, "class": kind, "stage": int(kind == "heating"),
                "source": "burner" if kind == "heating" else None, "zones": "1", "n_zones": 1,
                "n_heat": int(kind == "heating"), "n_cool": 0, "in_visit": False,
            })  # fmt: skip
        f = outdoor if day < FIX else outdoor_after
        weather.append({"start_ts": at(day, 0), "end_ts": at(day + 1, 0), "outdoor_f": f})
        calls.append({
            "zone": 1, "mode": "heating", "start_ts": at(day, 6), "end_ts": end, "has_start": True,
        })  # fmt: skip
        for n in range(before if day < FIX else after):
            trips.append({
                "trip_id": len(trips), "kind": "high", "drop_ts": at(day, 6, 10 * n + 5),
                "start_ts": at(day, 6, 10 * n + 5), "zones": "1", "in_visit": False,
            })  # fmt: skip
    window = Span(at(DAYS[0], 0), at(DAYS[-1] + 1, 0))
    frames = {
        "run.day": frame("run.day", days),
        "run.setting": frame("run.setting", [
            {"name": "static_target_inwc", "value": 0.4, "start_ts": 0, "end_ts": 2**62},
            *settings,
        ]),
        "interval.condition": frame("interval.condition", conditions),
        "interval.weather": frame("interval.weather", weather),
        "interval.call": frame("interval.call", calls),
        "measure.trip_context": frame("measure.trip_context", trips),
        "signal.coverage": frame("signal.coverage", [
            {"channel_id": 1, "role": "supply_temp", "valid_s": 1e6, "coverage": 1.0},
            {"channel_id": 2, "role": "static_pressure", "valid_s": 1e6, "coverage": 1.0},
        ]),
    }  # fmt: skip
    base = sample.sample_result()
    return replace(base, window=window, frames=frames, site=replace(base.site, visits=visits))


def sides():
    return Span(at(DAYS[0], 0), at(FIX, 0)), Span(at(FIX, 0), at(DAYS[-1] + 1, 0))


def row(result, name):
    return next(r for r in compare(result, *sides()).rows if r.name == name)


# ---------------------------------------------------------------- verdicts


def test_better_with_its_rates() -> None:
    r = row(made(), "High-limit trips")
    assert r.verdict == BETTER
    # 3 trips in 2 hours a day are 15 in 10 hours; 7 days of 2 hours are 14 hours and 21 trips
    assert (r.before, r.after) == (15.0, 0.0)
    assert (r.n_before, r.n_after, r.before_hours, r.after_hours) == (21, 0, 14.0, 14.0)
    assert (r.low, r.high) == (-15.0, -15.0)  # every day alike: nothing to wander


@pytest.mark.parametrize(
    "others, state",
    [
        (("2",), "with Main floor calling alone"),
        (("2", "1+2"), "with Main floor calling alone or Main floor and Loft calling"),
        (("2", "1+2", "1+3", "2+3"), "in the 4 calling combinations that showed it"),
    ],
)
def test_a_rate_names_the_state_whose_hours_it_counts(others: tuple[str, ...], state: str) -> None:
    """Zone 2 alone heats an hour a day without a trip: its hours are no part of the rate."""
    result = made()
    heat = result.frames["interval.condition"]
    rows = heat.to_dict("records")
    trips = result.frames["measure.trip_context"].to_dict("records")
    for n, zones in enumerate(others):
        for r in [r for r in rows if r["class"] == "heating" and r["zones"] == "1"]:
            start = r["end_ts"] + n * sample.HOUR
            rows.append({**r, "start_ts": start, "end_ts": start + sample.HOUR, "zones": zones})
            if zones != "2":
                own = {"drop_ts": start + 1, "start_ts": start + 1, "zones": zones}
                trips.append(trips[0] | own)
    heated = {r["end_ts"] for r in rows if r["class"] == "heating" and r["zones"] == "1"}
    for r in rows:
        if r["class"] == "off" and r["start_ts"] in heated:
            r["start_ts"] += len(others) * sample.HOUR
    rows.sort(key=lambda r: r["start_ts"])
    frames = result.frames | {
        "interval.condition": pd.DataFrame(rows)[heat.columns],
        "measure.trip_context": pd.DataFrame(trips),
    }
    c = compare(replace(result, frames=frames), *sides())
    r = next(r for r in c.rows if r.name == "High-limit trips")
    assert r.state == state
    assert r.before_hours == 14.0 + 7.0 * (len(others) - 1)
    assert f"per 10 h of heat {state}" in comparison_text(c, 400)
    assert state in render_comparison(c)
    # where every hour of heat showed it, the unit says all there is to say
    assert row(made(), "High-limit trips").state == ""


def test_worse_is_said_first() -> None:
    c = compare(made(before=0, after=3), *sides())
    assert row(made(before=0, after=3), "High-limit trips").verdict == WORSE
    assert c.sentence.startswith("Worse: high-limit trips")


def test_no_difference_is_no_evidence() -> None:
    r = row(made(before=2, after=2), "High-limit trips")
    assert r.verdict == NEITHER
    none = row(made(before=0, after=0), "High-limit trips")
    assert (none.verdict, none.why) == (NEITHER, "none on either side")


@pytest.mark.parametrize(
    "hours, verdict",
    [
        (0.71, NOT_YET),  # 7 days of 0.71 h are 4.97 h, under five; 7 calls, under twenty
        (0.72, BETTER),  # 5.04 h
    ],
)
def test_five_like_hours_are_needed(hours: float, verdict: str) -> None:
    r = row(made(hours=hours), "High-limit trips")
    assert r.verdict == verdict
    if verdict == NOT_YET:
        assert "5 hours or 20 calls" in r.why


def test_twenty_calls_do_instead_of_the_hours() -> None:
    result = made(hours=0.71)
    calls = result.frames["interval.call"]
    thrice = frame("interval.call", [r for r in calls.to_dict("records") for _ in range(3)])
    thrice["site_id"] = "larch-1"
    frames = result.frames | {"interval.call": thrice}  # 21 calls each side
    assert row(replace(result, frames=frames), "High-limit trips").verdict == BETTER


def test_other_weather_is_not_like() -> None:
    r = row(made(outdoor_after=55.0), "High-limit trips")
    assert r.verdict == NOT_YET
    assert r.why == "no hours are alike: before 25 °F, after 55 °F outdoors"


def test_changed_target_is_another_question() -> None:
    new = {"name": "static_target_inwc", "value": 0.6, "start_ts": at(FIX, 0), "end_ts": 2**62}
    result = made(settings=(new,))
    frames = dict(result.frames)
    old = frames["run.setting"].copy()
    old.loc[0, "end_ts"] = at(FIX, 0)
    frames["run.setting"] = old
    r = row(replace(result, frames=frames), "Static above target")
    assert r.verdict == CANNOT and "target was changed" in r.why


def test_a_clock_that_is_off_is_said_where_static_is_compared() -> None:
    result = made()
    base = sample.sample_result().frames
    off = base["trust.clock_offset"].iloc[[0]].assign(
        logger="trunk", reference_logger="panel", offset_s=-236.0, applied_s=0.0,
        confidence="shown",
    )  # fmt: skip
    channels = base["channel.channel"].copy()
    channels["logger"] = ["trunk" if c == 2 else "other" for c in channels["channel_id"]]
    frames = result.frames | {"trust.clock_offset": off, "channel.channel": channels}
    c = compare(replace(result, frames=frames), *sides())
    said = next(r for r in c.rows if r.name == "Static above target")
    assert said.why.endswith("the clock of trunk runs 4 min behind panel, not corrected")
    assert c.cautions[0].startswith("The clock of trunk runs 4 min behind panel and is not")
    # taken out of the data, nothing is left to say
    frames = frames | {"trust.clock_offset": off.assign(applied_s=-236.0)}
    c = compare(replace(result, frames=frames), *sides())
    assert "clock" not in f"{c.cautions}{[r.why for r in c.rows]}"


def test_several_changes_cannot_be_told_apart() -> None:
    visit = Span(at(FIX, 0), at(FIX, 1), "stage-up delay changed, filter changed")
    result = made(visits=(visit,))
    c = compare(result, Span(at(DAYS[0], 0), visit.start_ts), Span(visit.end_ts, at(19, 0)))
    assert any("stage-up delay changed and filter changed" in s for s in c.cautions)
    one = made(visits=(replace(visit, label="filter changed"),))
    c = compare(one, Span(at(DAYS[0], 0), visit.start_ts), Span(visit.end_ts, at(19, 0)))
    assert not any("told apart" in s for s in c.cautions)
    assert visit_parts("a, b and c; d") == ["a", "b", "c", "d"]


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    "before, after, what",
    [
        ((5, 5), (12, 19), "empty or runs backwards"),
        ((5, 13), (12, 19), "overlap"),
        ((1, 4), (12, 19), "nothing was logged"),
    ],
)
def test_windows_that_cannot_be_compared(before, after, what) -> None:
    spans = [Span(at(a, 0), at(b, 0)) for a, b in (before, after)]
    with pytest.raises(InputError, match=what):
        compare(made(), *spans)


def test_no_outdoor_air_no_comparison() -> None:
    result = made()
    frames = result.frames | {"interval.weather": frame("interval.weather", [])}
    with pytest.raises(InputError, match="outdoor air was not logged"):
        compare(replace(result, frames=frames), *sides())


# ---------------------------------------------------------------- page and verb


def test_page_has_no_script_and_names_are_data() -> None:
    visit = Span(at(FIX, 0), at(FIX, 1), '<img src=x onerror=x>, "b" </script>')
    result = made(visits=(visit,))
    name = "</script><script>x</script>" * 99
    result = replace(result, site=replace(result.site, name=name))
    page = render_comparison(compare(result, *sides()))
    assert "<script" not in page and "<img" not in page
    assert "better" in page and "Rise against the plate" in page
    assert "better: High-limit trips: 15.0 (21) to 0.0 (0)" in comparison_text(
        compare(made(), *sides())
    )


def test_document_is_plain_and_in_utc() -> None:
    document = comparison_document(compare(made(), *sides()))
    json.dumps(document, allow_nan=False)
    assert document["schema"] == "zonetrail.compare/1"
    assert document["before"]["start"] == "2026-01-05T07:00:00Z"  # midnight in Denver


def test_sentence_of_nothing_shown() -> None:
    rows = [r for r in compare(made(outdoor_after=55), *sides()).rows if r.verdict == NOT_YET]
    assert whole_sentence(rows).startswith("Not yet shown")


def run(*arguments) -> int:
    return run_command(zonetrail, [str(a) for a in arguments])


def test_verb_writes_page_and_json_and_refuses_nonsense(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    larch = unpack_site("larch-14", tmp_path)
    for arguments, told in (
        ((), "not said where before ends"),
        (("--before", "2026-01-12..2026-01-14"), "not settled"),
        (("--before", "2026-01-12", "--after", "2026-01-15..2026-01-16"), "is not a window"),
        (("--split", "yesterday"), "is not a time"),
    ):
        assert run("compare", larch, *arguments) == 2
        assert told in capsys.readouterr().err
    assert run("compare", larch, "--split", "2026-01-16", "--align", "--json", "-", "--strict") == 1
    document = json.loads(capsys.readouterr().out)
    rows = {r["name"]: r for r in document["rows"]}
    # nothing was mended at the sample site: no row may claim it
    assert rows["High-limit trips"]["verdict"] == NEITHER
    assert not [r for r in rows.values() if r["verdict"] in (BETTER, WORSE)]
    names = sorted(p.name for p in (larch / "report").iterdir())
    assert names == ["compare.html", "compare.json"]
