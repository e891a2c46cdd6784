"""The framework around the findings: what holds for all of them alike.

- a rule whose tables or roles are missing, or whose figure has too little coverage, cannot tell
- what rests on runs that were only inferred says so, is never `act` and never more than likely
- where a log is too coarse for a measure it is at least what is told, and then not told at all
- a rule that compares two clocks which disagree cannot say "not found", and what it finds is
  only possible
- causes are ranked by their own tests; ruled out ones become "ruled out" sentences
- findings about the log are judged first; findings that see the same events as another are not
  listed twice; those that belong together stand together, the worst first
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from pipeline import words
from pipeline.findings import _replays
from pipeline.findings._base import (
    WALK,
    CannotTell,
    Declaration,
    Found,
    NotFound,
    Outcome,
    Weight,
)
from pipeline.findings._clocks import doubtful
from pipeline.findings._site import SiteFrames
from pipeline.findings._standing import as_sampled, inferred_error, leans_on_inferred, missing
from pipeline.result import SEVERITIES, Finding, Judged, RankedCause


@dataclass(frozen=True)
class Rule:
    """One module of this package: its code, its declaration and its judgement."""

    code: str
    declaration: Declaration
    judge: Callable[[SiteFrames], Outcome]


def rules() -> list[Rule]:
    """Every finding of the package, findings about the log first, then by name.

    A module whose name starts with an underscore is not a finding.
    Raises AttributeError for a module without FINDING or judge.
    """
    found = []
    package = importlib.import_module("pipeline.findings")
    for info in pkgutil.iter_modules(package.__path__):
        if info.name.startswith("_"):
            continue
        module = importlib.import_module(f"pipeline.findings.{info.name}")
        found.append(Rule(info.name.replace("_", "-"), module.FINDING, module.judge))
    return sorted(found, key=lambda r: (r.declaration.about != "log", r.code))


def tables_needed(chosen: Sequence[Rule] | None = None) -> frozenset[str]:
    """Every table that these rules (all if None) and the framework read, by name."""
    framework = {
        "run.site",
        "run.setting",
        "run.visit",
        "signal.coverage",
        "channel.channel",
        "channel.rate",
        "measure.coverage",
        "measure.condition_time",
        "trust.clock_offset",
    }
    asked = rules() if chosen is None else chosen
    return frozenset(framework.union(*(r.declaration.needs_tables for r in asked)))


def judge_site(site: SiteFrames) -> tuple[list[Finding], list[Judged]]:
    """The findings of one site in the order they are read, and the result of every rule.

    Raises KeyError naming the table or threshold if the caller left one out that a rule needs
    and the rule's declaration does not name.
    """
    return judge_rules(site, rules())


def judge_rules(site: SiteFrames, chosen: Sequence[Rule]) -> tuple[list[Finding], list[Judged]]:
    """As judge_site, for the rules given, in the order given."""
    outcomes = [(rule, outcome_of(site, rule)) for rule in chosen]
    found = {rule.code: (rule, o) for rule, o in outcomes if isinstance(o, Found)}
    hidden = {
        code: by
        for by, (rule, _) in found.items()
        for code in rule.declaration.suppresses
        if code in found
    }
    shown = {code: pair for code, pair in found.items() if code not in hidden}
    findings = [_finding(site, rule, o, frozenset(shown)) for rule, o in shown.values()]
    titles = {rule.code: rule.declaration.title for rule in chosen}
    judged = []
    for rule, outcome in outcomes:
        if isinstance(outcome, Found):
            result, why = "found", words.sentence(outcome.headline)
            if rule.code in hidden:
                why += f" The same events stand under: {titles[hidden[rule.code]].lower()}."
        else:
            result = "not found" if isinstance(outcome, NotFound) else "cannot tell"
            why = words.sentence(outcome.why)
        d = rule.declaration
        judged.append(Judged(rule.code, d.title, d.question, result, why))
    return list(ordered(findings)), judged


def outcome_of(site: SiteFrames, rule: Rule) -> Outcome:
    """The rule's outcome with the framework's conditions applied."""
    d = rule.declaration
    reason = missing(site, d)
    if reason is not None:
        return CannotTell(reason)
    outcome = rule.judge(site)
    if isinstance(outcome, CannotTell):
        return outcome
    off = doubtful(site, (*d.needs_roles, d.compares))
    if off:
        clock = "; ".join(
            f"the clock of {c.logger} is {words.duration(abs(c.left_s or 0.0))} off" for c in off
        )
        blind_s = site.threshold("clock_blind_s")
        if isinstance(outcome, NotFound) or any(abs(c.left_s or 0.0) >= blind_s for c in off):
            return CannotTell(f"{clock}, so its readings do not line up with the outputs")
        return replace(
            outcome,
            severity="plan" if outcome.severity == "act" else outcome.severity,
            certainty="possible",
            summary=f"{outcome.summary} Judge it again with the clocks put right: {clock}.",
        )
    if leans_on_inferred(site, d):
        outcome = _as_inferred(outcome, inferred_error(site))
    outcome = as_sampled(site, d, outcome)
    covered = site.coverage(d.figure) if d.figure else None
    if covered and covered.coverage < site.threshold("coverage_warn_frac"):
        note = f"logged {words.share(covered.coverage)} of the time"
        if isinstance(outcome, NotFound):
            return NotFound(f"{outcome.why.rstrip('.')} ({note})")
        return replace(outcome, summary=f"{outcome.summary} {words.sentence(note)}")
    return outcome


def _as_inferred(outcome: Found | NotFound, error: str) -> Found | NotFound:
    """The outcome with its mark: runs inferred, how far off, nothing that sends a truck by itself.

    error : as inferred_error says
    """
    if isinstance(outcome, NotFound):
        return NotFound(f"{outcome.why.rstrip('.')} (runs {INFERRED})")
    note = f"No output was logged: runs are {INFERRED}{f' ({error})' if error else ''}"
    return replace(
        outcome,
        severity="plan" if outcome.severity == "act" else outcome.severity,
        certainty="possible" if outcome.certainty == "possible" else "likely",
        summary=f"{outcome.summary} {words.sentence(note)}",
    )


INFERRED = "inferred from supply and return temperature"


def ordered(findings: Sequence[Finding]) -> list[Finding]:
    """Findings as they are read: what belongs together stands together.

    Groups (findings linked by goes_with) in order of their worst severity; within a group the
    worst first, then what brings about before what is brought about. Findings about the log that
    are more than a note come before all others: what is concluded further on rests on them.
    """
    by_code = {f.code: f for f in findings}
    group = {code: code for code in by_code}
    for f in findings:
        for other in f.goes_with:
            old, new = group[f.code], group[other]
            group = {code: new if g == old else g for code, g in group.items()}

    def rank(f: Finding) -> int:
        return SEVERITIES.index(f.severity)

    worst = {
        g: min(rank(by_code[c]) for c, other in group.items() if other == g)
        for g in set(group.values())
    }
    return sorted(
        findings,
        key=lambda f: (
            not (f.about == "log" and f.severity != "note"),
            worst[group[f.code]],
            f.about == "log",
            group[f.code],
            rank(f),
            len(f.goes_with),
            f.code,
        ),
    )


def _finding(site: SiteFrames, rule: Rule, outcome: Found, shown_codes: frozenset[str]) -> Finding:
    d = rule.declaration
    tested = [(cause, cause.test(outcome.facts)) for cause in d.causes]
    weighed = [(cause, w) for cause, w in tested if w is not None]
    kept = sorted(
        (pair for pair in weighed if pair[1].weight > Weight.RULED_OUT),
        key=lambda pair: -pair[1].weight,
    )
    dropped = [(cause, w) for cause, w in weighed if w.weight == Weight.RULED_OUT]
    linked = d.symptom_of if outcome.linked is None else outcome.linked
    covered = site.coverage(d.figure) if d.figure else None
    checks = sorted(d.check_next, key=lambda check: WALK.index(check.where))
    return Finding(
        code=rule.code,
        title=d.title,
        severity=outcome.severity,
        about=d.about,
        certainty=outcome.certainty,
        summary=words.sentence(outcome.summary),
        evidence=outcome.evidence,
        windows=outcome.windows,
        ruled_out=tuple(words.stopped(text) for text in outcome.ruled_out)
        + tuple(f"Not {c.not_it or c.text}: {words.stopped(w.because)}" for c, w in dropped),
        causes=tuple(
            RankedCause(
                words.sentence(c.text),
                words.sentence(w.because),
                _replays.command(site, c.replays) if c.replays else "",
            )
            for c, w in kept
        ),
        checks=tuple(words.in_units(check.text(outcome.fill), site.units) for check in checks),
        cautions=d.cautions,
        source=d.source,
        coverage=covered.coverage if covered else None,
        resolution_s=covered.resolution_s if covered else None,
        table=outcome.table,
        thresholds=d.thresholds,
        headline=outcome.headline,
        aside=outcome.aside or outcome.headline,
        goes_with=tuple(c for c in d.symptom_of if c in linked and c in shown_codes),
        site_lines=outcome.site_lines,
    )
