"""Fan never stops: the blower runs on with nothing asking for it.

What it says
    For how much of the time without any output of heat, cooling or fan the blower was seen running.

Why it matters
    It costs power all year, carries moisture off the coil back into the house and hides what other
    figures need: a fan at rest.

What looks like it but is not
    The fan's own time after a run, a fan called for at the thermostat (there G is on), a furnace's
    own limit that is open, a static sensor whose zero is off.

Source
    Common practice, no source.
"""

from __future__ import annotations

from pipeline import words
from pipeline.findings import _cautions, _episodes
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
from pipeline.findings._site import SiteFrames, flags


def _relay(e: Episodes) -> Weighed:
    return Weighed(
        Weight.FITS,
        f"it ran through {words.share(e.more['share'])} of {words.hours(e.state_s)} with no "
        "output on, not even G",
    )


def _own_limit(e: Episodes) -> Weighed:
    if "equipment_limit" in e.site.logged_roles:
        return Weighed(
            Weight.OPEN, "the furnace's own limit was logged: look whether it was open then"
        )
    if e.more["share"] >= e.site.threshold("fan_always_share"):
        return Weighed(
            Weight.AGAINST,
            f"it ran {words.share(e.more['share'])} of the time: a limit that "
            "opens lets it stop in between",
        )
    return Weighed(Weight.OPEN, "the furnace's own limit was not logged")


def _zero(e: Episodes) -> Weighed:
    if e.more["evidence"] == "blower_run":
        return Weighed(Weight.RULED_OUT, "the blower's own contact was logged on")
    known = e.numbers("static_inwc")
    return Weighed(
        Weight.OPEN,
        f"static was {e.site.statics(known)} with nothing on: check its zero first",
    )


FINDING = Declaration(
    title="Fan never stops",
    question="Does the blower stop when nothing asks for it?",
    needs_tables=("interval.idle_blower",),
    needs_roles=(("output_g",), ("static_pressure", "blower_run")),
    figure="outputs",
    thresholds=(
        "idle_blower_min_s",
        "idle_static_min_inwc",
        "idle_static_share",
        "fan_after_run_max_s",
        "fan_idle_min_s",
        "fan_idle_share",
        "fan_always_share",
    ),
    causes=(
        Cause(
            "the blower relay or the motor's control holds on, or a fan switch at the unit",
            "Fits when it runs with G off.",
            _relay,
        ),
        Cause(
            "the furnace's own limit stands open and runs the fan",
            "Lowered when the fan never stops at all.",
            _own_limit,
        ),
        Cause(
            "the static sensor's zero is off",
            "Ruled out where the blower's own contact was logged.",
            _zero,
            not_it="the static sensor's zero",
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "fan switch of every thermostat, and 24 V at G with all of them in AUTO",
            "AUTO, no 24 V at G",
            "set to AUTO if the customer agrees",
        ),
        Check(
            "unit",
            "with no call: does the blower stop within its off-delay? Read fault codes first",
            "stops",
            "power off and verified: relay, its wire, the motor's control; if a limit is open, "
            "find why, never bridge it",
        ),
    ),
    cautions=(
        _cautions.OWN_LIMIT,
        _cautions.ELECTRICITY,
        _cautions.CODES_FIRST,
        _cautions.SETTINGS,
    ),
    confused_with=("Fan ON at a thermostat: there G is on.",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found when the blower ran through most of the time in which nothing asked for it."""
    table = site.table("interval.idle_blower")
    rows = table[~flags(table["in_visit"]) & (table["seen_s"] > 0)]
    seen_s = float(rows["seen_s"].sum())
    if seen_s < site.threshold("fan_idle_min_s"):
        return CannotTell(
            f"only {words.hours(seen_s)} in which nothing asked for the fan and it could be seen"
        )
    running_s = float(rows["running_s"].sum())
    share = running_s / seen_s
    if share < site.threshold("fan_idle_share"):
        return NotFound(
            f"the blower stood still in {words.share(1 - share)} of {words.hours(seen_s)} with "
            "nothing asking for it"
        )
    ran = rows[rows["running_s"] >= site.threshold("fan_idle_share") * rows["seen_s"]]
    e = _episodes.episodes(
        site,
        ran,
        state_s=seen_s,
        state="time with nothing on",
        more={"share": share, "evidence": str(rows["evidence"].iloc[0])},
    )
    by = "its own contact" if e.more["evidence"] == "blower_run" else "static"
    return _episodes.found(
        e,
        severity="plan",
        certainty="shown" if e.more["evidence"] == "blower_run" else "likely",
        headline=(
            f"the fan never stops: by {by} the blower ran {words.share(share)} of "
            f"{words.hours(seen_s)} in which no output of heat, cooling or fan was on"
        ),
        aside="the fan never stops",
        label="fan, no call",
        say=lambda r: f"blower running for {words.duration(r.running_s)} with nothing on",
        columns=(
            *_episodes.span_columns(site),
            ("Blower ran", lambda r: words.duration(r.running_s)),
            ("Static", lambda r: _episodes.dash(r.static_inwc, site.static)),
        ),
    )
