"""The measuring of clock offsets in its short form: three systems, their clocks right and wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.accuracy import clocks, planted


@pytest.fixture(autouse=True)
def kept_apart(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sampled systems go to a folder of the session."""
    folder: Path = tmp_path_factory.getbasetemp() / "world"
    monkeypatch.setattr(planted, "cache_folder", lambda: folder)


def test_planted_offsets_are_found_and_none_is_wrong() -> None:
    """Of numbers 1, 2 and 7 (heat pump, dual fuel, dual fuel every 60 s) all cycled for a week."""
    rows = clocks.measured("tuning", [1, 2, 7], ["as it is"], logs=2, jobs=1)
    assert len(rows) == 3 * 2 * 3  # systems, logs, loggers
    assert not (rows["result"] == "wrong").any(), rows[["site_id", "logger", "why"]]
    large = rows[~rows["planted"].isin(["aligned", "7 s"]) & (rows["logger"] != "rooms")]
    assert (large["result"] == "found").all()
    table = clocks.table(rows)
    assert "as it is" in table and "wrong" in table
    assert "aligned systems with a false offset: 0 of 3" in clocks.goals(rows)


def test_what_counts_as_found_near_open_and_wrong() -> None:
    """By hand; interval 10 s, truth 90 s: 95 is within it; 75 +- 20 is near; none is open.

    60 +- 20 excludes the truth, and so does "no difference" to 15 s. 70 +- 75 claims nothing.
    """
    given = [(95, 20), (75, 20), (None, None), (60, 20), (3, 15), (70, 75)]
    rows = clocks.pd.DataFrame(
        [
            {
                "site_id": str(n), "logger": "static", "form": "as it is", "planted": "90 s",
                "true_s": 90.0, "interval_s": 10, "starts": 99, "fan_starts": 99,
                "offset_s": offset, "plus_minus_s": doubt,
                "confidence": "cannot tell" if offset is None else "shown",
            }
            for n, (offset, doubt) in enumerate(given)
        ]
    )  # fmt: skip
    judged = clocks.judged(rows)
    assert judged["result"].tolist() == ["found", "near", "open", "wrong", "wrong", "open"]
    assert judged["is_false"].tolist() == [False, False, False, True, False, False]
