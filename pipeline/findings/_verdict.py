"""The head of the page: one call, one sentence, how sure, what was ruled out, what cannot be told.

The call is the worst severity found; without a finding about the installation it is Clear only
where enough was logged of enough hours of heat or cooling, and the limit rules could be judged in
them; else it is Cannot judge. Clear says that the patterns were not seen in these hours. It is
never a statement about safety.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import words
from pipeline.channels import INFERRED_ROLES, OUTPUT_ROLES
from pipeline.findings._cautions import CLEAN_LOG
from pipeline.findings._clocks import clocks, doubtful
from pipeline.findings._judge import rules
from pipeline.findings._site import SiteFrames, number, records, role_words
from pipeline.findings._standing import NEVER_FRAC, leans_on_inferred, left_out, together
from pipeline.findings._states import MODE_WORDS
from pipeline.result import SEVERITIES, Finding, Judged, Verdict

CERTAINTY = {
    "shown": "seen in the log; the cause is an inference",
    "likely": "likely from the log; the cause is an inference",
    "possible": "possible; the log does not show it",
}
SEEN_WITHOUT = ("supply_temp", "return_temp", "outdoor_temp", "static_pressure", "zone_temp")
"""What a log without outputs may still show; named so that the page does not look empty."""
COMPARED = ("supply_temp", "static_pressure", *OUTPUT_ROLES)
"""What is set beside the outputs' clock to the minute."""
TOLD_WITH_HEAD = 2
"""Findings that are told in the head's own sentence behind it; the rest is listed after it."""


def verdict(findings: Sequence[Finding], judged: Sequence[Judged], site: SiteFrames) -> Verdict:
    """The verdict of one site, from the result of judge_site.

    findings, judged : as judge_site gives them, in that order
    """
    installation = [f for f in findings if f.about == "installation"]
    log = [f for f in findings if f.about == "log"]
    loud = [f for f in log if f.severity != "note"]
    hours = _hours(site)
    names = tuple(site.site.zones.values())
    unclear = _why_not_clear(judged, site, hours)
    call: str
    if installation:
        call = _worst(findings)
        sentence = _story(installation, loud, _mark(installation[0], site))
    elif unclear is None:
        call = _worst(log) if log else "clear"
        sentence = f"None of the patterns looked for was seen in {_hours_words(hours)}."
    else:
        call = "cannot judge"
        sentence = words.sentence(unclear)
    if loud:
        first = "; ".join(_clause(_headline(f)) for f in loud)
        sentence = f"{words.sentence(f'First the log itself: {first}')} {sentence}"
    return Verdict(
        call=call,
        sentence=sentence,
        how_sure=_how_sure(installation, log, site, hours),
        ruled_out=_ruled_out(installation, judged, names),
        cannot_tell=_cannot_tell(judged, names),
    )


def _story(installation: Sequence[Finding], loud: Sequence[Finding], mark: str) -> str:
    """The head finding, what goes with it in the same sentence, and the names of the rest.

    mark : what is said before it, as _mark gives it
    With a sentence about the log before it (`loud`) it is one sentence, so that there are two.
    """
    head = installation[0]
    order = {code: n for n, code in enumerate(head.goes_with)}
    linked = sorted(
        (f for f in installation[1:] if _linked(head, f, installation)),
        key=lambda f: order.get(f.code, len(order)),
    )
    told = [f"{mark}{_headline(head)}"] + [_aside(f) for f in linked[:TOLD_WITH_HEAD]]
    sentence = words.sentence("; ".join(_clause(part) for part in told))
    rest = [f for f in installation[1:] if f not in linked[:TOLD_WITH_HEAD]]
    if rest:
        names = words.joined(words.lowered(f.title) for f in rest)
        if loud:
            return words.sentence(f"{'; '.join(_clause(part) for part in told)}; also {names}")
        sentence += f" Also: {names}."
    return sentence


def _mark(head: Finding, site: SiteFrames) -> str:
    """What keeps the head finding from being told as it stands; '' if nothing does."""
    d = next((rule.declaration for rule in rules() if rule.code == head.code), None)
    if d is None or head.about == "log":
        return ""
    if doubtful(site, (*d.needs_roles, *d.compares)):
        return "to be judged again with the clocks put right: "
    if leans_on_inferred(site, d):
        return "by runs that are inferred, not logged: "
    return ""


def _linked(head: Finding, other: Finding, findings: Sequence[Finding]) -> bool:
    """Whether one of the two brings the other about, directly or through further findings."""
    pairs = {(f.code, code) for f in findings for code in f.goes_with}
    reached = {head.code}
    while True:
        more = {b for a, b in pairs if a in reached} | {a for a, b in pairs if b in reached}
        if more <= reached:
            return other.code in reached
        reached |= more


def _how_sure(
    installation: Sequence[Finding],
    log: Sequence[Finding],
    site: SiteFrames,
    hours: dict[str, float],
) -> str:
    parts = []
    if installation:
        head = installation[0]
        parts.append(f"{head.title}: {CERTAINTY[head.certainty]}.")
        parts.append(_when(head, site))
    covered = site.coverage("conditions")
    looked = f"Looked at: {words.duration(site.window_s)} with {_ran(site, hours)}"
    if covered is None or covered.coverage < NEVER_FRAC:
        parts.append(f"{looked}; outputs, calls and fan were {_together(site)}.")
    else:
        fine = (
            f", to {words.duration(covered.resolution_s)}"
            if covered.resolution_s is not None
            else ""
        )
        parts.append(
            f"{looked}; outputs, calls and fan logged {words.share(covered.coverage)} "
            f"of the time{fine}."
        )
    # the hours leave visits out, in which a technician may well have run it
    where = "in this log outside visits" if len(site.table("run.visit")) else "in this log"
    if hours["heating"] >= _clear_s(site) and hours["cooling"] < _judged_s(site):
        ran = "hardly ran" if hours["cooling"] else "was not seen to run"
        parts.append(f"Cooling was not looked at: it {ran} {where}.")
    if hours["cooling"] >= _clear_s(site) and hours["heating"] < _judged_s(site):
        ran = "hardly ran" if hours["heating"] else "was not seen to run"
        parts.append(f"Heat was not looked at: it {ran} {where}.")
    quiet = [f for f in log if f.severity == "note"]
    if quiet:
        parts.append(f"About the log: {'; '.join(_clause(_headline(f)) for f in quiet)}.")
    untold = _untold_clocks(site)
    if untold:
        clock = "clock" if len(untold) == 1 else "clocks"
        parts.append(f"The {clock} of {words.joined(untold)} could not be compared.")
    inferred = _inferred_words(site)
    if inferred:
        parts.append(f"No output was logged: {inferred}.")
    if not installation:
        parts.append(CLEAN_LOG)
    return " ".join(part for part in parts if part)


def _untold_clocks(site: SiteFrames) -> list[str]:
    """Loggers that conclusions set beside the outputs and whose clocks nothing could be told of.

    Rooms and outdoor air move slowly: minutes between their clocks change no conclusion.
    """
    if not site.has_table("channel.channel"):
        return []
    channels = site.table("channel.channel")
    fast = set(channels.loc[channels["role"].isin(COMPARED), "logger"])
    told = clocks(site)
    if not any(c.confidence == "reference" for c in told):
        return []  # no outputs: nothing is set beside them
    return [c.logger for c in told if c.confidence == "cannot tell" and c.logger in fast]


def _when(head: Finding, site: SiteFrames) -> str:
    """When it happens, if its events lie close on the clock: 'Every day, 7:40 pm to 9:20 pm.'"""
    times = [words.local(e.start_ts, site.site.timezone) for e in head.evidence]
    if len(times) < site.threshold("when_min_events"):
        return ""
    minutes = sorted(t.hour * 60 + t.minute for t in times)
    day = 24 * 60
    # the longest stretch of the day without an event; the events lie in what is left
    gaps = [(b - a, b) for a, b in zip(minutes, [*minutes[1:], minutes[0] + day], strict=True)]
    longest, first = max(gaps)
    if day - longest > site.threshold("when_max_spread_h") * 60:
        return ""
    start, end = first % day, (first + day - longest) % day
    days = {t.date() for t in times}
    often = f"on {words.count(len(days), 'day')}"
    start_said, end_said = (words.of_day(minute, site.units) for minute in (start, end))
    return f"It happened {often}, always between {start_said} and {end_said}."


def _cannot_tell(judged: Sequence[Judged], names: Sequence[str]) -> tuple[str, ...]:
    """What no rule could tell; rules that lack the same thing stand in one line."""
    lacking: dict[str, list[str]] = {}
    for j in judged:
        if j.result == "cannot tell":
            lacking.setdefault(j.why, []).append(j.title)
    made = []
    for why, titles in lacking.items():
        told = words.joined([titles[0], *(words.lowered(title) for title in titles[1:])])
        made.append(f"{told}: {words.lowered(why, names)}")
    return tuple(made)


def _ruled_out(
    installation: Sequence[Finding], judged: Sequence[Judged], names: Sequence[str]
) -> tuple[str, ...]:
    """What the worst findings rule out, then the installation's patterns that were not seen.

    What milder findings rule out stands under each of them: at the head it would answer a
    question that nobody has asked yet.
    """
    about = {rule.code: rule.declaration.about for rule in rules()}
    worst = _worst(installation) if installation else ""
    said = [text for f in installation if f.severity == worst for text in f.ruled_out]
    said += [
        f"{j.title}: {words.lowered(j.why, names)}"
        for j in judged
        if j.result == "not found" and about.get(j.code) == "installation"
    ]
    return tuple(dict.fromkeys(said))


def _why_not_clear(
    judged: Sequence[Judged], site: SiteFrames, hours: dict[str, float]
) -> str | None:
    """Why the page may not say Clear, or None if it may."""
    enough = [mode for mode, seconds in hours.items() if seconds >= _clear_s(site)]
    if not any(role in site.logged_roles for role in OUTPUT_ROLES):
        calls = any(role.startswith("zone_call") for role in site.logged_roles)
        what = "no outputs were logged" if calls else "no outputs or calls were logged"
        beside = [role_words(r) for r in SEEN_WITHOUT if r in site.logged_roles]
        shown = f"; logged were {words.joined(beside)}" if beside else ""
        inferred = _inferred_words(site)
        if inferred:
            return f"cannot judge limits and stages: {what}; {inferred}"
        return f"cannot judge: {what}, so when heat ran is not known{shown}{_too_coarse(site)}"
    if not any(hours.values()):
        return "neither heat nor cooling was seen to run in this log"
    if not enough:
        return (
            f"only {_hours_words(hours)} in this log; "
            f"{words.hours(_clear_s(site))} of either are needed to judge"
        )
    covered = site.coverage("conditions")
    if covered is None or covered.coverage < site.threshold("clear_min_coverage_frac"):
        return f"outputs, calls and fan were {_together(site)}"
    results = {j.code: j for j in judged}
    names = tuple(site.site.zones.values())
    for rule in rules():
        if rule.declaration.clears in enough and rule.code in results:
            j = results[rule.code]
            if j.result == "cannot tell":
                return f"{words.lowered(j.title)} cannot be judged: {words.lowered(j.why, names)}"
    return None


def _together(site: SiteFrames) -> str:
    """How little outputs, calls and fan were known together, and which of them are not trusted."""
    covered = site.coverage("conditions")
    untrusted = left_out(site)
    note = f": {words.joined(untrusted)} logged and not to be trusted" if untrusted else ""
    return f"{together(covered.coverage if covered else 0.0)}{note}"


def _judged_s(site: SiteFrames) -> float:
    return site.threshold("judged_min_h") * 3600


def _clear_s(site: SiteFrames) -> float:
    return site.threshold("clear_min_hours") * 3600


def _hours(site: SiteFrames) -> dict[str, float]:
    """Seconds of heat and of cooling, visits left out."""
    return {mode: site.seconds_in([mode]) for mode in ("heating", "cooling")}


def _ran(site: SiteFrames, hours: dict[str, float]) -> str:
    """How long heat and cooling ran, or that nothing in the log told when they did."""
    tells = (*OUTPUT_ROLES, *INFERRED_ROLES)
    if not any(hours.values()) and not any(role in site.logged_roles for role in tells):
        return "heat and cooling not known"
    return _hours_words(hours)


def _hours_words(hours: dict[str, float]) -> str:
    ran = [f"{words.hours(s)} of {MODE_WORDS[mode]}" for mode, s in hours.items() if s > 0]
    return words.joined(ran) or "no heat and no cooling"


def _too_coarse(site: SiteFrames) -> str:
    """Why runs were not inferred from temperatures that were logged, and what would do; else ''."""
    rows = records(site.table("signal.coverage"))
    both = [r for r in rows if r.role in ("supply_temp", "return_temp")]
    slowest = max((number(r.interval_s) or 0.0 for r in both), default=0.0)
    enough = site.threshold("inferred_interval_max_s")
    if len({r.role for r in both}) < 2 or slowest <= enough:
        return ""
    return (
        f"; every {words.duration(slowest)} is too coarse to infer runs from supply and return "
        f"temperature, {words.duration(enough)} or faster would do"
    )


def _inferred_words(site: SiteFrames) -> str:
    """What ran by supply and return temperature, with its expected error; '' if nothing was told.

    'inferred from supply and return temperature, heat ran 31 hours (about ±3 %) with 210 starts
    (about ±5 %)'
    """
    if not site.has_table("measure.runtime"):
        return ""
    told = []
    for r in records(site.table("measure.runtime")):
        name = {"inferred_heat": "heat", "inferred_cool": "cooling"}.get(r.output)
        if name is None or not number(r.on_s):
            continue
        ran = words.hours(float(r.on_s)) + _about(r.runtime_error_frac)
        starts = words.count(int(r.n_start), "start") + _about(r.starts_error_frac)
        told.append(f"{name} ran {ran} with {starts}")
    return f"inferred from supply and return temperature, {words.joined(told)}" if told else ""


def _about(error_frac: float | None) -> str:
    error = number(error_frac)
    return "" if error is None else f" (about ±{words.share(error)})"


def _worst(findings: Sequence[Finding]) -> str:
    return min((f.severity for f in findings), key=SEVERITIES.index)


def _headline(f: Finding) -> str:
    return f.headline or f.summary


def _aside(f: Finding) -> str:
    return f.aside or _headline(f)


def _clause(text: str) -> str:
    """The text as a part of a sentence: its full stop taken off, the unit's kept."""
    return text if text.endswith("w.c.") else text.rstrip(".")
