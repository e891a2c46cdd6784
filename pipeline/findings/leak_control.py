"""Leak control: heat and cooling held off, fan on, every damper open, as a leak control asks.

What it says
    When it began, how long it lasted, and that the dampers nobody called for stood open with it.

Why it matters
    It is a safety: a sensor has seen refrigerant, or it is faulty. Some refrigerants burn.

What looks like it but is not
    A float switch (dampers stay with their calls), fan-only or ventilation (no call stands), purge.

Source
    Common practice, no source.
"""

from __future__ import annotations

from pipeline import words
from pipeline.findings import _cautions, _episodes, _held
from pipeline.findings._base import (
    CannotTell,
    Cause,
    Check,
    Declaration,
    NotFound,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._episodes import Episodes
from pipeline.findings._site import SiteFrames


def _leak(e: Episodes) -> Weighed:
    shares = [r.open_share for r in e.rows if r.open_share is not None]
    return Weighed(
        Weight.FITS,
        "no cooling with zones calling, the fan on, and dampers nobody called for open "
        f"{words.share(min(shares))} of the time or more",
    )


def _sensor(e: Episodes) -> Weighed:
    return Weighed(
        Weight.OPEN,
        f"it came {words.times(e.n)}; a sensor that fails looks the same in a log",
    )


def _float(e: Episodes) -> Weighed:
    return Weighed(Weight.RULED_OUT, "a float switch does not open the dampers of other zones")


FINDING = Declaration(
    title="Held off with every damper open as by leak control",
    question="Is cooling held off with the fan on and every damper open?",
    needs_tables=(
        "interval.call_unanswered",
        "interval.condition",
        "signal.state",
        "measure.condition_time",
    ),
    needs_roles=(("output_y1",), ("zone_call_y1",), ("zone_damper",)),
    figure="conditions",
    thresholds=("held_min_s", "held_fan_share", "held_open_share", "judged_min_h"),
    causes=(
        Cause("the leak control acts on a refrigerant leak", "It is what does this.", _leak),
        Cause("its sensor is faulty or reads something else", "Open: looks the same.", _sensor),
        Cause(
            "a float switch",
            "Ruled out by the open dampers.",
            _float,
            not_it="a float switch",
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "phone first: windows open, no flame, no switch near the unit until it is checked",
            "the house is aired and the system stays off",
            "people wait outside until it is aired; either way send a certified technician today",
        ),
        Check(
            "unit",
            "leak detector fit for this refrigerant at coil and joints, then the sensor by its "
            "maker's instructions",
            "no leak, sensor reads clean air",
            "repair by a certified technician; replace the sensor only after a clean check",
        ),
    ),
    cautions=(
        _cautions.REFRIGERANT,
        _cautions.OWN_LIMIT,
        _cautions.ELECTRICITY,
        _cautions.CODES_FIRST,
    ),
    confused_with=("Float switch: there the dampers stay with their calls.",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from one stretch: it is a safety, so it is never less than act."""
    rows = tuple(h for h in _held.periods(site) if h.kind == "leak")
    cool_s = site.seconds_in(["cooling"])
    if not rows:
        if cool_s < site.threshold("judged_min_h") * 3600:
            return CannotTell(words.only(cool_s, "cooling"))
        return NotFound(f"not once in {words.hours(cool_s)} of cooling")
    e = Episodes(site, rows, cool_s, "cooling")
    still = rows[-1].end_ts >= site.window.end_ts - 1
    return _episodes.found(
        e,
        severity="act",
        certainty="likely",
        headline=(
            "cooling was held off with the fan on and every damper open, as a leak control does, "
            f"{words.times(e.n)}, {e.how_long}"
        ),
        aside="held off as by a leak control",
        label="leak control",
        say=lambda r: f"held off for {words.duration(r.length_s)}, every damper open",
        detail=["It still stood at the end of the log"] if still else [],
        columns=(
            *_episodes.span_columns(site, "Held off from"),
            *_episodes.calling_column(site),
            ("Other dampers open", lambda r: _episodes.dash(r.open_share, words.share)),
        ),
    )
