"""Whether a rule could judge this site at all: what it reads was made, logged and on one clock.

Used by the framework for every rule, and by a rule that leans on another one's events: "not after
a limit trip" may only be said where limit trips could have been seen.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from pipeline import words
from pipeline.channels import INFERRED_ROLES, OUTPUT_ROLES
from pipeline.findings._base import Declaration, Found, NotFound
from pipeline.findings._clocks import doubtful
from pipeline.findings._site import SiteFrames, role_words
from pipeline.sampling import AT_LEAST, CERTAIN, NOT_GIVEN, RESULTS, Standing, standing
from pipeline.units import MICROSECONDS

NEVER_FRAC = 0.005
"""Less than this share of the time would be told as 0 %."""


def why_blind(site: SiteFrames, d: Declaration) -> str | None:
    """Why the rule's events may be there without having been seen; None if they would have been."""
    reason = missing(site, d)
    if reason is not None:
        return reason
    off = doubtful(site, (*d.needs_roles, d.compares))
    return "the loggers' clocks disagree" if off else None


def missing(site: SiteFrames, d: Declaration) -> str | None:
    """What the rule lacks of tables, roles, coverage or fineness, as a clause; None if nothing."""
    for name in d.needs_tables:
        if not site.has_table(name):
            return f"{name} was not made in this run"
    absent = [g for g in d.needs_roles if not any(r in site.logged_roles for r in g)]
    if absent:
        return _why_absent(site, absent)
    sampled = sampling(site, d)
    if sampled is not None and sampled.result == NOT_GIVEN:
        return f"what it needs was {sampled.why}"
    if d.figure is None:
        return None
    covered = site.coverage(d.figure)
    if covered is None:
        return "how much of the log could show it is not known"
    if covered.coverage < site.threshold("coverage_min_frac"):
        lacking = words.joined(role_words(r) for r in covered.missing)
        note = f", {lacking} not logged" if lacking else ""
        untrusted = left_out(site, {role for group in d.needs_roles for role in group})
        if untrusted:
            note += f"; logged and not to be trusted: {words.joined(untrusted)}"
        return f"the channels it needs were {together(covered.coverage)}{note}"
    return None


def sampling(site: SiteFrames, d: Declaration) -> Standing | None:
    """The measure of the rule that suffers most from how seldom its channels were read.

    Only channels that the rule needs count. None: none suffers, or the rule is about the log
    itself, which its own coarseness is no reason not to judge.
    """
    if d.about == "log":
        return None
    needed = {role for group in d.needs_roles for role in group}
    own = {role: s for role, s in site.role_intervals_s.items() if role in needed}
    found = [standing(name, own, site.thresholds) for name in d.needs_tables]
    short = [s for s in found if s is not None and s.result != CERTAIN]
    return max(
        short, key=lambda s: (RESULTS.index(s.result), s.interval_s / s.enough_s), default=None
    )


def as_sampled(site: SiteFrames, d: Declaration, outcome: Found | NotFound) -> Found | NotFound:
    """The outcome with the words "at least" where the log is too coarse for all of it."""
    short = sampling(site, d)
    if short is None or short.result != AT_LEAST:
        return outcome
    if isinstance(outcome, NotFound):
        return NotFound(f"{outcome.why.rstrip('.')} ({short.why})")
    note = f"This is at least what happened: {short.why}"
    return replace(outcome, summary=f"{outcome.summary} {words.sentence(note)}")


def together(coverage_frac: float) -> str:
    """How much of the time some channels were known together, where it is too little."""
    if coverage_frac < NEVER_FRAC:
        return "never known together" if coverage_frac == 0 else "hardly ever known together"
    return f"logged together only {words.share(coverage_frac)} of the time"


def left_out(site: SiteFrames, roles: Collection[str] = ()) -> list[str]:
    """What coverage may be lacking by: states, and these roles, cut out for long enough."""
    if not site.has_table("trust.problem") or not site.has_table("channel.channel"):
        return []
    problems, channels = site.table("trust.problem"), site.table("channel.channel")
    states = set(channels.loc[channels["kind"] == "state", "role"])
    wanted = states | set(roles)
    cut = problems[problems["is_cut"].astype(bool) & problems["role"].isin(wanted)]
    cut = cut.assign(cut_us=cut["end_ts"] - cut["start_ts"])
    least_us = (1 - site.threshold("coverage_min_frac")) * site.window_s * MICROSECONDS
    by_channel = cut.groupby(["role", "channel_id"], sort=True)["cut_us"].sum()
    long = by_channel[by_channel > least_us]
    return list(dict.fromkeys(role_words(role) for role, _ in long.index))


def inferred_error(site: SiteFrames) -> str:
    """How far off what is inferred may be: 'run time about ±4 %, starts about ±5 %'; '' if unknown.

    The larger one where heat and cooling differ; the blower's is another.
    """
    if not site.has_table("measure.runtime"):
        return ""
    rows = site.table("measure.runtime")
    runs = [role for role in INFERRED_ROLES if role != "inferred_fan"]
    rows = rows[rows["output"].isin(runs) & (rows["on_s"] > 0)]
    told = []
    for what, column in (("run time", "runtime_error_frac"), ("starts", "starts_error_frac")):
        errors = rows[column].dropna()
        if len(errors):
            told.append(f"{what} about ±{words.share(float(errors.max()))}")
    return ", ".join(told)


def leans_on_inferred(site: SiteFrames, d: Declaration) -> bool:
    """Whether what the rule needs was not logged, but inferred from supply and return air."""
    logged = [[r for r in group if r in site.logged_roles] for group in d.needs_roles]
    return any(found and set(found) <= set(INFERRED_ROLES) for found in logged)


def _why_absent(site: SiteFrames, absent: Sequence[Sequence[str]]) -> str:
    """Groups of which nothing was logged, and groups that were logged and are not trusted."""
    there: set[str] = set()
    if site.has_table("channel.channel"):
        channels = site.table("channel.channel")
        there = set(channels.loc[channels["is_primary"].astype(bool), "role"])
    said = []
    for word, some in (
        ("not logged", [g for g in absent if not there & set(g)]),
        ("logged and not to be trusted", [g for g in absent if there & set(g)]),
    ):
        if some:
            said.append(f"{word}: {'; '.join(_group_words(g) for g in some)}")
    return "; ".join(said)


def _group_words(group: Sequence[str]) -> str:
    group = [r for r in group if r not in INFERRED_ROLES]
    if set(group) == set(OUTPUT_ROLES):
        return "any output of the panel"
    return words.joined(dict.fromkeys(role_words(r) for r in group), last="or")
