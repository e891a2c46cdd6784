"""Second stage at other settings: starts, time, and trips that would have come without it."""

from __future__ import annotations

from pipeline import words
from pipeline.findings import SiteFrames
from pipeline.findings._site import flags
from pipeline.replay.record import Column, Line, ReplayTable, Reproduced
from pipeline.replay.settings import BY_NAME
from pipeline.replay.staging import Spans, Staging, holds, length_s, overlap_s
from pipeline.replay.values import Asked, Made, heads, lines_of

SETTINGS = ("stage_up_delay_min", "stage2_min_zones")


def second_stage(site: SiteFrames, asked: Asked) -> Made:
    """Starts, time and trips of second stage at each delay and number of zones."""
    reason = why_not(site)
    if reason:
        return [], [], [f"Second stage cannot be replayed: {reason}."]
    staging = Staging(site)
    if not staging.runs:
        return [], [], ["Second stage cannot be replayed: nothing ran outside visits."]
    trips = _second_stage_trips(site)

    def on(delay_min: float | None, zones: float | None) -> Spans:
        return staging.second_stage(None if delay_min is None else delay_min * 60, zones)

    def figures(delay_min: float | None, zones: float | None) -> tuple[float | None, ...]:
        spans = on(delay_min, zones)
        kept = sum(holds(spans, int(t) - 1) for t in trips)
        return float(len(spans)), length_s(spans) / 3600, float(len(trips) - kept)

    logged = staging.logged
    lines = (
        Line(
            ("as logged", ""),
            (float(len(logged)), length_s(logged) / 3600, None),
        ),
        *lines_of(site, asked, SETTINGS, figures),
    )
    table = ReplayTable(
        key="staging",
        title="Second stage",
        heads=heads(SETTINGS),
        columns=(
            Column("second-stage starts", "starts"),
            Column("second-stage time", "h"),
            Column("trips on second stage at which it would have been off", "trips"),
        ),
        lines=lines,
        sentence=_sentence(lines, len(trips)),
        notes=(
            "A trip that second stage was part of may still have come on first stage alone.",
            *_assumed(staging),
        ),
        drawn=1,
    )
    check = _check(site, staging, on(*(site.setting(n) for n in SETTINGS)))
    return [table], [check], []


def why_not(site: SiteFrames) -> str:
    """Why second stage cannot be replayed; '' if it can."""
    roles = site.logged_roles
    if not {"output_w2", "output_y2"} & roles:
        return "W2 and Y2 were not logged"
    if not {"zone_call_w1", "zone_call_y1"} & roles:
        return "the zones' calls were not logged"
    if site.equipment.get("staged_by") in ("equipment", "modulating"):
        return "the panel does not stage this equipment"
    if site.setting_text("stage_up_by") == "equipment":
        return "the equipment stages itself, not the panel"
    if site.setting_text("stage_up_by") == "thermostat" and not (
        {"zone_call_w2", "zone_call_y2"} & roles
    ):
        return "the thermostats ask for it, and their second-stage calls were not logged"
    return ""


def _second_stage_trips(site: SiteFrames) -> list[int]:
    """Instants at which a trip took second stage away, visits left out."""
    rows = site.table("measure.trip_context")
    rows = rows[(rows["stage"] == 2) & ~flags(rows["in_visit"])]
    return sorted(int(t) for t in rows["drop_ts"])


def _assumed(staging: Staging) -> list[str]:
    """What the site file leaves open and this replay had to take for granted."""
    some = []
    site = staging.site
    if site.setting_text("stage_up_clock") is None:
        since = "a zone's call" if staging.clock == "zone_call" else "the equipment's start"
        some.append(f"Which clock the delay runs on is not given: counted from {since}.")
    if staging.by == "unknown":
        some.append("What brings second stage on is not given: taken to be the panel's timer.")
    if staging.release == "unknown":
        some.append(
            "When second stage lets go is not given: taken to be as soon as too few zones call."
        )
    return some


def _sentence(lines: tuple[Line, ...], n_trips: int) -> str:
    parts = []
    for line in lines[2:]:
        starts, hours, spared = line.values
        text = (
            f"at {' and '.join(line.labels)} second stage would have come on "
            f"{words.times(int(starts or 0))}, {words.hours((hours or 0) * 3600)} in all"
        )
        if n_trips:
            text += (
                f"; it would have been off at {words.of_all(int(spared or 0), n_trips)} trips that "
                "came on second stage"
            )
        parts.append(text)
    starts, hours, _ = lines[0].values
    first = (
        f"logged: second stage {words.times(int(starts or 0))}, "
        f"{words.hours((hours or 0) * 3600)} in all"
    )
    return words.sentences(first, *parts)


def _check(site: SiteFrames, staging: Staging, spans: Spans) -> Reproduced:
    logged = staging.logged
    both = overlap_s(logged, spans)
    most = max(length_s(logged), length_s(spans))
    unset = [BY_NAME[n].title for n in SETTINGS if site.setting(n) is None]
    agrees = most == 0 or both >= site.threshold("replay_agrees_share") * most
    extra_s, lacking_s = length_s(logged) - both, length_s(spans) - both
    if agrees:
        why = "second stage was on when these settings would have had it on"
    else:
        parts = []
        if extra_s > lacking_s:
            parts.append(
                f"{words.duration(extra_s)} of second stage was logged that the settings as given "
                "would not have allowed"
            )
        else:
            parts.append(
                f"second stage was off for {words.duration(lacking_s)} in which the settings as "
                "given would have had it on"
            )
        why = f"{parts[0]}: the panel does not do what the site file says"
    if unset:
        why += f" ({words.joined(unset)} not given)"
    return Reproduced(
        "second stage", length_s(logged) / 3600, length_s(spans) / 3600, "h", agrees, why
    )
