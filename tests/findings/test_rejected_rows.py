"""Rejected rows: a note that lists what gave no reading, never silence."""

CODE = "rejected-rows"


def file(n_rejected=0, n_bad_cells=0):
    return {
        "file_id": 1,
        "path": "exports/rooms.csv",
        "logger": "rooms",
        "n_read": 5801,
        "n_loaded": 5801 - n_rejected,
        "n_rejected": n_rejected,
        "n_repeated": 0,
        "n_bad_cells": n_bad_cells,
    }


def reject(line, text, reason, column=None):
    return {"file_id": 1, "line": line, "column_name": column, "text": text, "reason": reason}


def test_all_loaded_is_not_found(build, judge):
    judged, _ = judge(CODE, build({"store.file": [file()]}))
    assert (judged.result, judged.why) == ("not found", "All 5,801 rows gave readings.")


def test_found_with_place_and_reason(build, judge):
    rejects = [
        reject(2031, "ERR", "error code", "Den (°F)"),
        reject(1117, "2026-01-14T03:1", "row cut short"),
    ]
    tables = {"store.file": [file(1, 1)], "store.reject": rejects}
    _, finding = judge(CODE, build(tables))
    assert (finding.severity, finding.about) == ("note", "log")
    assert finding.summary == (
        "1 row and 1 single cell of 5,801 rows gave no reading, in exports/rooms.csv. Why: error "
        "code (1); row cut short (1)."
    )
    # the step points at the first line of the commonest reason, and asks what fits that line
    assert 'exports/rooms.csv line 2031, column Den (°F): "ERR" (error code)' in finding.checks[0]
    assert "a mark the logger writes" in finding.checks[0]
    cut = [reject(n, "2026-01-14T03:1", "row cut short") for n in (1117, 1118)]
    tables["store.reject"] = [*rejects[:1], *cut]
    _, finding = judge(CODE, build(tables))
    assert 'line 1117: "2026-01-14T03:1" (row cut short)' in finding.checks[0]
    assert "a mark the logger writes" not in finding.checks[0]
    tables["store.reject"] = rejects
    _, finding = judge(CODE, build(tables))
    assert dict(finding.table)["Line"] == ("1117", "2031")
    assert dict(finding.table)["Column"] == ("whole row", "Den (°F)")


def test_braces_in_the_text_do_no_harm(build, judge):
    tables = {"store.file": [file(1)], "store.reject": [reject(7, "{zone}", "not a time")]}
    _, finding = judge(CODE, build(tables))
    assert "(zone)" in finding.checks[0]


def test_conflicts_alone_are_found(build, judge):
    conflict = {"channel_id": 1, "ts": 1, "value_a": 1.0, "file_a": 1, "value_b": 2.0, "file_b": 1}
    tables = {"store.file": [file()], "store.conflict": [conflict, conflict]}
    _, finding = judge(CODE, build(tables))
    assert finding.summary == "2 time stamps logged twice with different values."


def test_long_log_shows_two_hundred_rows(build, judge):
    rejects = [reject(n, "x", "not a number") for n in range(300)]
    tables = {"store.file": [file(300)], "store.reject": rejects}
    _, finding = judge(CODE, build(tables))
    assert len(dict(finding.table)["Line"]) == 200
    assert "300 rows" in finding.summary


def test_without_the_store_cannot_tell(build, judge):
    assert judge(CODE, build(without=["store.reject"]))[0].result == "cannot tell"
