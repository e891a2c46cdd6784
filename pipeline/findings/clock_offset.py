"""Clock offset: one logger's clock disagrees with the clock that carries the panel's outputs.

What it says
    By how much each logger runs ahead or behind, from which shared edges, how sure, whether it was
    taken out in this run, and the exact line that takes it out.

Why it matters
    With clocks minutes apart, supply air is read beside the wrong call and the wrong stage: trips
    are missed or blamed on the wrong zone. It is named before anything is concluded.

What looks like it but is not
    Ignition and fan delays after W on: those edges are not used alone. A time zone or
    daylight-saving rule set otherwise: the offset is then a whole or half hour.

Source
    Ours; the estimate and its bounds are made where clocks are compared.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline import words
from pipeline.findings._base import (
    CannotTell,
    Cause,
    Check,
    Declaration,
    Found,
    NotFound,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._clocks import Clock, clocks, left_on
from pipeline.findings._site import SiteFrames, flags, records
from pipeline.findings._windows import Event, windows
from pipeline.result import EvidenceWindow, Mark, SiteLines, Span
from pipeline.units import MICROSECONDS

HALF_HOUR_S = 1800.0
DAY_S = 86400.0
RUN_MIN_S = 600.0


@dataclass(frozen=True)
class Clocks:
    """The loggers that are off, as logged or in this run, the largest offset first."""

    site: SiteFrames
    off: tuple[Clock, ...]

    @property
    def still(self) -> tuple[Clock, ...]:
        """Those whose offset still stands in the data of this run."""
        warn_s = self.site.threshold("clock_offset_warn_s")
        return tuple(c for c in self.off if abs(c.left_s or 0.0) >= warn_s)


def _time_zone(c: Clocks) -> Weighed:
    said = words.joined(f"{k.logger} is {_ahead(k)}" for k in c.off)
    for clock in c.off:
        offset, doubt = abs(clock.offset_s or 0.0), clock.plus_minus_s or 0.0
        away = abs(offset - round(offset / HALF_HOUR_S) * HALF_HOUR_S)
        if offset >= HALF_HOUR_S - doubt and away <= max(
            doubt, c.site.threshold("clock_offset_warn_s")
        ):
            left = [(k.logger, left_on(c.site, k)) for k in c.off]
            named = [f"{name} looks {s.words}" for name, s in left if s is not None]
            more = f"; {words.joined(named)}" if named else ""
            return Weighed(Weight.STRONG, f"{said}: a whole or half hour{more}")
    return Weighed(Weight.RULED_OUT, f"{said}, not a whole or half hour")


def _set_by_hand(c: Clocks) -> Weighed:
    minutes = [k for k in c.off if abs(k.offset_s or 0.0) < HALF_HOUR_S]
    if minutes:
        said = words.joined(f"{k.logger} is {_ahead(k)}" for k in minutes)
        return Weighed(Weight.FITS, f"{said}, the same at every start and stop compared")
    return Weighed(Weight.AGAINST, "the offset is half an hour or more")


FINDING = Declaration(
    title="Clocks that disagree",
    question="Do the loggers' clocks agree with the one that carries the panel's outputs?",
    about="log",
    needs_tables=(
        "trust.clock_offset",
        "store.file",
        "interval.output_run",
        "run.clock",
        "channel.channel",
        "signal.coverage",
        "run.visit",
    ),
    thresholds=("clock_offset_warn_s",),
    causes=(
        Cause(
            "the logger's clock was set by hand, or from another computer or phone",
            "Raised when the offset is minutes.",
            _set_by_hand,
        ),
        Cause(
            "the logger runs on another time zone or daylight-saving rule",
            "Raised when the offset is a whole or half hour. Ruled out when it is not.",
            _time_zone,
            not_it="a time zone or daylight-saving rule",
        ),
    ),
    check_next=(
        Check(
            "office",
            "{action}",
            "the review says that the clocks agree",
            "compare one moment by hand: when W1 goes off and when supply air turns",
        ),
        Check(
            "log",
            "before the loggers go out again, set every clock from one phone and write down the "
            "time at setting and at collecting",
            "within a few seconds of one another",
            "note the difference for the site file",
        ),
    ),
    confused_with=("A slow probe: it lags at every start and stop by as much as it is slow.",),
    source="Ours, from edges that two loggers share.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from the warning threshold: watch while it stands in the data, note once taken out."""
    compared = clocks(site)
    warn_s = site.threshold("clock_offset_warn_s")
    off = sorted(
        (
            c
            for c in compared
            if c.is_found and max(abs(c.offset_s or 0.0), abs(c.left_s or 0.0)) >= warn_s
        ),
        key=lambda c: (-abs(c.offset_s or 0.0), c.logger),
    )
    if not off:
        return _agree(compared)
    found = Clocks(site, tuple(off))
    still = found.still
    shown = all(c.confidence == "shown" for c in off)
    return Found(
        severity="watch" if still else "note",
        certainty="shown" if shown else "likely",
        summary=_summary(found),
        headline=_headline(found),
        facts=found,
        evidence=tuple(
            Span(site.window.start_ts, site.window.end_ts, f"{c.logger}: {_ahead(c)}") for c in off
        ),
        windows=_windows(found),
        fill={"action": _action(found)},
        table=_table(compared),
        site_lines=_site_lines(found),
    )


def _agree(compared: list[Clock]) -> Outcome:
    good = [c for c in compared if c.is_found]
    open_ = [c for c in compared if not c.is_found and c.confidence != "reference"]
    by_reason: dict[str, list[str]] = {}
    for c in open_:
        by_reason.setdefault(c.why.rstrip("."), []).append(c.logger)
    reasons = "; ".join(
        f"{words.joined(loggers)} could not be compared"
        + (f" ({why[0].lower() + why[1:]})" if why else "")
        for why, loggers in by_reason.items()
    )
    if not good:
        if not compared or (len(compared) == 1 and not open_):
            return CannotTell("there is only one clock")
        return CannotTell(reasons or "no two loggers saw the same start or stop")
    agree = words.joined(f"{c.logger} to {_doubt(c)}" for c in good)
    reference = good[0].reference
    note = f"; {reasons}" if reasons else ""
    return NotFound(f"these agree with {reference}: {agree}{note}")


def _ahead(c: Clock) -> str:
    """'4 min ahead' or '90 s behind', as logged."""
    offset = c.offset_s or 0.0
    return f"{words.duration(abs(offset))} {'ahead' if offset > 0 else 'behind'}"


def _doubt(c: Clock) -> str:
    return f"within {words.duration(c.plus_minus_s)}" if c.plus_minus_s else "within a reading"


def _edges(c: Clock) -> str:
    doubt = f", ± {words.duration(c.plus_minus_s)}" if c.plus_minus_s else ""
    with_what = f" ({c.edge})" if c.edge else ""
    return f"{c.n_edge:,} starts and stops seen by {c.logger}{with_what}{doubt}"


def _headline(c: Clocks) -> str:
    parts = []
    for k in c.off:
        taken = (
            "" if k in c.still else ", taken out here" if len(c.off) == 1 else ", taken out here,"
        )
        parts.append(f"the clock of {k.logger} runs {_ahead(k)} of {k.reference}{taken}")
    text = words.joined(parts)
    return text.replace("behind of", "behind").rstrip(",")


def _summary(c: Clocks) -> str:
    detail = words.joined(_edges(k) for k in c.off)
    then = (
        "until that is put right, its readings stand beside the wrong call and stage"
        if c.still
        else "with that put right, what it read stands beside the right call and stage"
    )
    return words.sentences(f"{_headline(c)}: from {detail}", *_drifts(c), then)


def _drifts(c: Clocks) -> list[str]:
    """What clocks gain or lose, and what one number for the whole log leaves of it."""
    days = (c.site.window.end_ts - c.site.window.start_ts) / MICROSECONDS / DAY_S
    told = []
    for k in c.off:
        if k.drift_s_per_day:
            does = "gains" if k.drift_s_per_day > 0 else "loses"
            each = words.duration(abs(k.drift_s_per_day))
            left = words.duration(abs(k.drift_s_per_day) * days / 2)
            told.append(
                f"{k.logger} {does} about {each} a day, so this holds for the middle of the log: "
                f"one correction leaves up to {left} at either end; a shorter log leaves less"
            )
    return told


def _wanted(c: Clocks) -> list[Clock]:
    """Those that site.toml does not put right yet."""
    sources = {r.logger: r.source for r in records(c.site.table("run.clock"))}
    return [k for k in c.off if k in c.still or sources.get(k.logger) != "site_file"]


def _site_lines(c: Clocks) -> tuple[SiteLines, ...]:
    return tuple(
        SiteLines(
            "in an [[export]] block",
            (f'files = "{_pattern(c.site, k.logger)}"', _line(c, k)[0]),
        )
        for k in _wanted(c)
    )


def _action(c: Clocks) -> str:
    wanted = _wanted(c)
    if not wanted:
        return "nothing to do: site.toml has the correction"
    blocks = words.joined(
        f'files = "{_pattern(c.site, k.logger)}" and {"".join(_line(c, k))}' for k in wanted
    )
    lines = f"add to site.toml an [[export]] block with the lines {blocks}"
    if not c.still:
        return f"{lines}, so that every run has the correction and not only this one"
    # what is done at once first: a ticket has no room for the lines
    return f"review again with --align; for every later run {lines}"


def _line(c: Clocks, k: Clock) -> tuple[str, str]:
    """The line of site.toml that takes the offset out, and a word on it.

    The logger's zone where that explains it, else seconds.
    """
    setting = left_on(c.site, k)
    if setting is not None and not k.applied_s:
        return f'timezone = "{setting.timezone}"', f" (it looks {setting.words})"
    return f"clock_offset_s = {round(k.offset_s or 0.0)}", ""


def _pattern(site: SiteFrames, logger: str) -> str:
    """The path of the logger's file, or a pattern that fits all of its files."""
    files = site.table("store.file")
    paths = sorted(files.loc[files["logger"] == logger, "path"])
    if not paths:
        return f"exports/{logger}*"
    if len(paths) == 1:
        return str(paths[0])
    first, last = paths[0], paths[-1]
    n = next((i for i, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), len(first))
    suffix = first[first.rfind(".") :] if "." in first[n:] else ""
    return f"{first[:n]}*{suffix}"


def _windows(c: Clocks) -> tuple[EvidenceWindow, ...]:
    """The end of the first long run outside visits: where the two clocks can be compared by eye."""
    site, k = c.site, c.off[0]
    channels = site.table("channel.channel")
    carries = set(channels.loc[channels["logger"] == k.logger, "role"])
    by_fan = "static_pressure" in carries and "output_g" in site.logged_roles
    runs = site.table("interval.output_run")
    runs = runs[
        runs["output"].isin(["output_g"] if by_fan else ["output_w1", "output_y1"])
        & flags(runs["is_closed"])
        & (runs["on_s"] >= RUN_MIN_S)
    ].sort_values("start_ts")
    for r in records(runs):
        if not site.overlaps_visit(int(r.start_ts), int(r.end_ts)):
            terminal = r.output.removeprefix("output_").upper()
            end = int(r.end_ts)
            shown = "later" if (k.left_s or 0.0) > 0 else "earlier"
            say = (
                f"{site.clock(end)}, {terminal} goes off by {k.reference}; {k.logger} shows what "
                f"follows about {words.duration(abs(k.left_s or 0.0))} {shown} than it was"
                if k in c.still
                else f"{site.clock(end)}, {terminal} goes off, and {k.logger} follows at once: "
                f"{words.duration(abs(k.applied_s))} have been taken out of its clock"
            )
            event = Event(
                start_ts=end,
                end_ts=end + MICROSECONDS,
                worth=1.0,
                say=say,
                label=f"{terminal} off",
                marks=(Mark(end, f"{terminal} off"),),
            )
            return windows(site, [event])
    return ()


def _table(compared: list[Clock]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    return (
        ("Logger", tuple(c.logger for c in compared)),
        ("Against", tuple(c.reference or "–" for c in compared)),
        (
            "Its clock",
            tuple(
                "the reference"
                if c.confidence == "reference"
                else "cannot tell"
                if c.offset_s is None
                else "agrees"
                if c.offset_s == 0
                else _ahead(c)
                for c in compared
            ),
        ),
        (
            "To within",
            tuple(words.duration(c.plus_minus_s) if c.plus_minus_s else "–" for c in compared),
        ),
        ("Edges", tuple(str(c.n_edge) for c in compared)),
        ("Taken out", tuple(f"{c.applied_s:g} s" for c in compared)),
    )
