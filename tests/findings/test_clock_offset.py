"""Clock offset: watch while it stands in the data, note once it is taken out."""

import pytest

CODE = "clock-offset"


def clock(logger="static", offset_s=240.0, applied_s=0.0, confidence="shown", **changes):
    row = {
        "logger": logger,
        "reference_logger": "panel",
        "offset_s": offset_s,
        "plus_minus_s": 5.0,
        "n_edge": 412,
        "edge": "G goes on: static rises",
        "confidence": confidence,
        "applied_s": applied_s,
        "why": "nothing that changes sharply",
    }
    return row | changes


def file(logger, path, file_id=1):
    return {"file_id": file_id, "logger": logger, "path": path}


def run(at, output="output_g"):
    return {
        "output": output,
        "start_ts": at(1, "06:00"),
        "end_ts": at(1, "06:30"),
        "on_s": 1800.0,
        "has_start": True,
        "has_end": True,
        "is_closed": True,
    }


def site_with(build, at, *clocks, files=None, **more):
    tables = {
        "trust.clock_offset": clocks,
        "store.file": files or [file("static", "exports/trunk_static.csv")],
        "interval.output_run": [run(at)],
    }
    return build(tables, **more)


REFERENCE = clock("panel", 0.0, confidence="reference")


@pytest.mark.parametrize(
    ("offset_s", "applied_s", "severity"),
    [
        (59.0, 0.0, None),
        (60.0, 0.0, "watch"),
        (-60.0, 0.0, "watch"),
        (240.0, 240.0, "note"),
        (240.0, 181.0, "note"),  # 59 s left
        (240.0, 180.0, "watch"),  # 60 s left
        (0.0, 240.0, "watch"),  # a correction that the data contradict
    ],
)
def test_size(build, judge, at, offset_s, applied_s, severity):
    judged, finding = judge(
        CODE, site_with(build, at, REFERENCE, clock("static", offset_s, applied_s))
    )
    assert judged.result == ("found" if severity else "not found")
    assert (finding.severity if finding else None) == severity


def test_sentence_and_line_for_the_site_file(build, judge, at):
    _, finding = judge(CODE, site_with(build, at, REFERENCE, clock()))
    assert finding.about == "log"
    assert finding.summary == (
        "The clock of static runs 4 min ahead of panel: from 412 starts and stops seen by static "
        "(G goes on: "
        "static rises), ± 5 s. Until that is put right, its readings stand beside the wrong call "
        "and stage."
    )
    assert (
        "review again with --align; for every later run add to site.toml an [[export]] block with "
        'the lines files = "exports/trunk_static.csv" and clock_offset_s = 240'
    ) in finding.checks[0]
    assert finding.windows[0].title == (
        "Tue 6:30 am, G goes off by panel; static shows what follows about 4 min later than it was."
    )


def test_several_files_of_one_logger_give_a_pattern(build, judge, at):
    files = [file("static", f"exports/trunk_static_{n}.csv", n) for n in (1, 2)]
    _, finding = judge(CODE, site_with(build, at, REFERENCE, clock(), files=files))
    assert 'files = "exports/trunk_static_*.csv"' in finding.checks[0]


def test_behind_is_said_as_behind(build, judge, at):
    _, finding = judge(CODE, site_with(build, at, REFERENCE, clock(offset_s=-90.0)))
    assert finding.summary.startswith("The clock of static runs 1.5 min behind panel: ")
    assert "clock_offset_s = -90" in finding.checks[0]


def test_whole_hour_is_a_time_zone(build, judge, at):
    _, finding = judge(CODE, site_with(build, at, REFERENCE, clock(offset_s=3600.0)))
    assert finding.causes[0].cause.startswith("The logger runs on another time zone")
    _, finding = judge(CODE, site_with(build, at, REFERENCE, clock(offset_s=3300.0)))
    assert finding.ruled_out[0].startswith("Not a time zone")


def test_cannot_tell(build, judge, at):
    open_ = clock("static", None, confidence="cannot tell", plus_minus_s=None)
    judged, _ = judge(CODE, site_with(build, at, REFERENCE, open_))
    assert (judged.result, judged.why) == (
        "cannot tell",
        "Static could not be compared (nothing that changes sharply).",
    )
    assert judge(CODE, site_with(build, at, REFERENCE))[0].why == "There is only one clock."
    assert judge(CODE, site_with(build, at))[0].result == "cannot tell"
    assert judge(CODE, build(without=["trust.clock_offset"]))[0].result == "cannot tell"


def test_agreeing_clocks_say_how_well(build, judge, at):
    rows = [REFERENCE, clock("plenum", 0.0), clock("rooms", None, confidence="cannot tell")]
    judged, _ = judge(CODE, site_with(build, at, *rows))
    assert judged.why == (
        "These agree with panel: plenum to within 5 s; rooms could not be compared (nothing that "
        "changes "
        "sharply)."
    )


def test_likely_stays_likely(build, judge, at):
    _, finding = judge(CODE, site_with(build, at, REFERENCE, clock(confidence="likely")))
    assert finding.certainty == "likely"


def test_offset_taken_out_for_this_run_only_still_gives_the_line(build, judge, at):
    for source, said in (("align", "clock_offset_s = 240"), ("site_file", "nothing to do")):
        tables = {
            "trust.clock_offset": [REFERENCE, clock(applied_s=240.0)],
            "run.clock": [{"logger": "static", "offset_s": 240.0, "source": source}],
            "store.file": [file("static", "exports/trunk_static.csv")],
        }
        _, finding = judge(CODE, build(tables))
        assert said in finding.checks[0]


@pytest.mark.parametrize(
    ("offset_s", "read_as", "source", "line"),
    [
        # Denver in January is at UTC-7: a clock on UTC shows 7 h more
        (25200.0, "America/Denver", "assumed", 'timezone = "UTC" (it looks left on UTC)'),
        (
            3600.0,
            "America/Denver",
            "assumed",
            'timezone = "UTC-06:00" (it looks left on daylight-saving time)',
        ),
        (-3600.0, "UTC-06:00", "site_file", "(it looks left on standard time)"),
        (10800.0, "America/Denver", "assumed", "clock_offset_s = 10800"),  # no zone of the site's
        (25200.0, "UTC", "file", "clock_offset_s = 25200"),  # the file names its zone itself
        (25000.0, "America/Denver", "assumed", "clock_offset_s = 25000"),
    ],
)
def test_whole_hours_are_named_with_their_line(build, judge, at, offset_s, read_as, source, line):
    files = [
        file("static", "exports/trunk_static.csv")
        | {"timezone": read_as, "timezone_source": source}
    ]
    _, finding = judge(CODE, site_with(build, at, REFERENCE, clock(offset_s=offset_s), files=files))
    assert line in finding.checks[0]


def test_drift_is_told_with_what_one_number_leaves(build, judge, at):
    _, finding = judge(
        CODE, site_with(build, at, REFERENCE, clock(offset_s=100.0, drift_s_per_day=30.0))
    )
    assert "gains about 30 s a day" in finding.summary


def test_correction_of_the_reference_is_no_offset_left(build, judge, at):
    """The panel ran 100 s ahead and is corrected: static, 100 s behind it as logged, now agrees."""
    panel = clock("panel", 0.0, applied_s=100.0, confidence="reference")
    _, finding = judge(CODE, site_with(build, at, panel, clock(offset_s=-100.0)))
    assert finding.severity == "note"
