"""The customer's words, part by part, against what the log can say to each."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from pipeline import words
from pipeline.findings._site import records
from pipeline.result import SiteResult

MOST_PARTS = 4
_PARTS = re.compile(r"\s*(?:[,;.!?\n]+|\b(?<!on )and\b(?! off)|\bbut\b)\s*")


@dataclass(frozen=True)
class Answer:
    """A part of the complaint and what the log says to it."""

    words: str
    said: str


@dataclass(frozen=True)
class Topic:
    """What a complaint may be about.

    stems : beginnings of words, in lower case, by which it is recognised
    codes : findings that answer it, the gravest first
    aside : what is said with it: what the log does not carry
    """

    stems: tuple[str, ...]
    codes: tuple[str, ...]
    aside: str = ""


TOPICS = (
    Topic(
        ("short cycl", "short-cycl", "on and off", "cycl", "keeps starting", "too often"),
        ("short-cycling", "output-chatter"),
    ),
    Topic(
        ("shut", "cuts out", "cuts off", "cut out", "trip", "quit", "stops", "goes off", "lock"),
        ("limit-did-not-act", "high-limit-trips", "equipment-cut-outs", "low-limit-trips"),
    ),
    Topic(
        ("roar", "loud", "nois", "whistl", "bang", "rumbl", "hiss", "rattl", "howl"),
        ("static-peak-in-purge", "static-above-target"),
        "noise itself is not logged",
    ),
    Topic(
        ("bill", "expens", "gas use", "strip heat", "backup", "aux"),
        ("furnace-above-high-balance", "compressor-below-low-balance", "second-stage-early"),
        "cost is not logged",
    ),
)
COLD = ("cold", "chill", "freez", "not warm", "no heat", "not heat", "never warm", "not keep")
HOT = ("hot", "stuffy", "warm", "not cool", "no cool", "no air")


def answers(result: SiteResult) -> list[Answer]:
    """Each part of the complaint with its answer; none where there is none or it is redacted."""
    complaint = "" if result.redacted else (result.site.complaint or "")
    parts = [p.strip(" \"'“”") for p in _PARTS.split(complaint)]
    parts = [p for p in parts if any(c.isalpha() for c in p)]
    return [Answer(p, _answer(result, p.lower())) for p in parts[:MOST_PARTS]]


def _answer(result: SiteResult, part: str) -> str:
    for topic in TOPICS:
        if _about(part, topic.stems):
            return _by_findings(result, topic)
    if _about(part, COLD):
        return _by_rooms(result, part, "heating")
    if _about(part, HOT):
        return _by_rooms(result, part, "cooling")
    return "not something this log can show"


def _about(part: str, stems: tuple[str, ...]) -> bool:
    return any(re.search(rf"(?<![a-z]){re.escape(stem)}", part) for stem in stems)


def _by_findings(result: SiteResult, topic: Topic) -> str:
    """'yes: high-limit trips, 23 times', what was looked for and not seen, or why not judged."""
    aside = f" ({topic.aside})" if topic.aside else ""
    for code in topic.codes:
        for f in result.findings:
            if f.code == code:
                often = f", {words.times(len(f.evidence))}" if f.evidence else ""
                lead = "fits" if topic.aside else "yes"
                return f"{lead}: {f.title[:1].lower()}{f.title[1:]}{often}{aside}"
    judged = [j for code in topic.codes for j in result.judged if j.code == code]
    clean = [j.title.lower() for j in judged if j.result == "not found"]
    if clean:
        return f"not in this log: no {words.joined(clean, 'or')}{aside}"
    unsure = [j for j in judged if j.result == "cannot tell"]
    if unsure:
        return f"cannot tell: {words.lowered(unsure[0].why, result.site.zones.values())}"
    return "no rule of this version looks at it"


def _by_rooms(result: SiteResult, part: str, mode: str) -> str:
    """Whether the zone spoken of (else any) fell behind, from measure.zone_comfort."""
    frame = result.frames.get("measure.zone_comfort")
    rows = [] if frame is None else [r for r in records(frame) if r.mode == mode]
    if not rows:
        ran = "cooling" if mode == "cooling" else "heat"
        return f"cannot tell: no room was watched while calling for {ran}"
    named = _zone_spoken_of(result, part)
    if named is not None:
        rows = [r for r in rows if int(r.zone) == named]
        if not rows:
            return f"cannot tell: {result.site.zones[named]} was not logged"
    behind = sorted(
        (r for r in rows if (r.not_keeping_up_s or 0) > 0),
        key=lambda r: -r.not_keeping_up_s,
    )
    if behind:
        worst = behind[0]
        if worst.rule != "setpoint":  # long calls fit the words, but prove nothing by themselves
            return (
                f"fits: {_name(result, worst)} called for "
                f"{words.hours(worst.not_keeping_up_s)} in long calls that hardly moved it, on "
                f"{words.count(int(worst.n_day), 'day')} (its setpoint was not logged)"
            )
        return (
            f"yes: {_name(result, worst)} was not keeping up for "
            f"{words.hours(worst.not_keeping_up_s)} on {words.count(int(worst.n_day), 'day')}"
        )
    who = _name(result, rows[0]) if named is not None else "no zone"
    return f"not in this log: {who} {'was never' if named is not None else 'was'} found behind"


def _name(result: SiteResult, row: Any) -> str:
    return result.site.zones.get(int(row.zone), f"zone {int(row.zone)}")


def _zone_spoken_of(result: SiteResult, part: str) -> int | None:
    """The zone that shares most words with the part; None if none does."""
    spoken = set(re.findall(r"[^\W\d_]{3,}", part))
    scored = {
        zone: len(spoken & set(re.findall(r"[^\W\d_]{3,}", name.lower())))
        for zone, name in result.site.zones.items()
    }
    best = max(scored, key=lambda z: scored[z], default=None)
    return best if best is not None and scored[best] > 0 else None
