"""One site, all the way: load, put on one clock, measure, judge; the record a report is made of.

This is where the pieces meet. The stages know nothing of site files, the findings nothing of SQL,
the reports nothing of the store.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import duckdb
import pandas as pd

from pipeline import __version__, words
from pipeline.findings import SiteFrames, judge_site, verdict
from pipeline.ingest.load import LoadReport, load_site
from pipeline.result import Finding, Judged, SiteInfo, SiteResult, Span, Verdict
from pipeline.run_tables import ALWAYS_START_TS, Ask, prepare
from pipeline.site import Site, Value
from pipeline.site_reader import read_site
from pipeline.stages import Stage, frame, listed, needed_for, put, run
from pipeline.store import attach_sites, connect_working
from pipeline.tables import tables
from pipeline.thresholds import THRESHOLDS, values_for
from pipeline.unusual import days as unusual_days

VIEW_FOLDER = "80_view"
CLOCK_TABLE = "trust.clock_offset"

# Tables of samples: too large to hand on, and of no use to a reader.
NOT_HANDED_ON = frozenset(
    {
        "store.reading",
        "store.state",
        "trust.clock_reading",
        "trust.minute",
        "trust.bin",
        "channel.reading",
        "channel.state",
        "signal.piece",
        "interval.static_piece",
    }
)


@dataclass(frozen=True)
class Review:
    """What a review made: the result, how the load went, and what each step took.

    seconds : (step, seconds) in the order they ended; steps are 'load' and the stages' keys
    """

    result: SiteResult
    load: LoadReport
    seconds: tuple[tuple[str, float], ...] = field(repr=False)


def review_site(
    folder: Path,
    *,
    ask: Ask | None = None,
    align: bool = False,
    units: str = "us",
    redact: bool = False,
    memory: str | None = None,
    progress: Callable[[str], None] | None = None,
) -> Review:
    """The review of one site folder; brings its store up to date first.

    ask : the part of the log to look at; all of it if None
    align : take out clock offsets that the data show; else they are only reported
    memory : as `store.connect_working` takes it
    progress : told each step as it begins

    Raises the errors of pipeline.errors for whatever a user can mend.
    """
    tell = progress or (lambda step: None)
    site = read_site(folder)
    tell("reading exports")
    load = load_site(folder)
    con = connect_working(memory)
    try:
        attach_sites(con, {site.id: site.store_path})
        seconds = [("load", load.seconds)]

        def note(stage: Stage, took_s: float) -> None:
            seconds.append((stage.key, took_s))

        tell("measuring")
        measure_sites(
            con, [site], ask=ask, align=align, keep=read_later(), on_stage=note, at_once=cores()
        )
        tell("judging")
        result = _result(con, site, load, units=units, redact=redact, on_stage=note, ask=ask)
    finally:
        con.close()
    return Review(result, load, tuple(seconds))


def measure_sites(
    con: duckdb.DuckDBPyConnection,
    sites: list[Site],
    *,
    ask: Ask | Mapping[str, Ask] | None = None,
    align: bool = False,
    still_logging: Collection[str] = (),
    wanted: Collection[str] | None = None,
    keep: Collection[str] | None = None,
    on_stage: Callable[[Stage, float], None] | None = None,
    at_once: int = 1,
) -> None:
    """Run every stage up to the measures for a batch of sites whose stores are attached.

    ask, still_logging : as `run_tables.prepare` takes them
    wanted : run only what these tables are made of; of what is made, only they stay
    keep : all is made, these stay; all stay if both are None
    at_once : as `stages.run` takes it

    With `align`, offsets that the first pass shows are taken out and the stages run again from
    the first; two passes at most.
    """
    prepare(con, sites, ask, still_logging=still_logging)
    stages = [s for s in listed() if s.folder < VIEW_FOLDER]
    if wanted is not None:
        keep = {*wanted, CLOCK_TABLE}
        stages = needed_for(stages, keep)
    if align:
        until_clock = needed_for(stages, {CLOCK_TABLE})
        run(con, until_clock, on_stage, at_once)
        aligned = _offsets_to_take_out(con)
        if aligned:
            prepare(con, sites, ask, aligned, still_logging)
            run(con, until_clock, on_stage, at_once)
        stages = [s for s in stages if s not in until_clock]
    run(con, stages, on_stage, at_once, keep)


def read_later() -> frozenset[str]:
    """The tables that a result holds, or that are read again once the findings are known."""
    views = {t for stage in listed() if stage.folder == VIEW_FOLDER for t in stage.reads}
    return frozenset(set(tables()) - NOT_HANDED_ON | views)


def cores() -> int:
    """How many stages of one site are worth running side by side on this machine: two at most.

    More than two seldom wait ready at a time, and each holds its own rows in memory.
    """
    available = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return min(2, available or 1)


def _offsets_to_take_out(con: duckdb.DuckDBPyConnection) -> dict[tuple[str, str], float]:
    """Offsets the data show beyond doubt, by (site, logger), that are not taken out yet."""
    least_s = THRESHOLDS["clock_apply_min_s"].value
    shown = con.execute(
        f"select site_id, logger, offset_s from {CLOCK_TABLE} where confidence = 'shown'"
        " and applied_s = 0 and abs(offset_s) >= greatest(?, plus_minus_s)",
        [least_s],
    ).fetchall()
    return {(site_id, logger): float(offset_s) for site_id, logger, offset_s in shown}


@dataclass(frozen=True)
class Judgement:
    """What the rules say of one site of a measured batch, and the tables they read.

    frames : every table that is handed on, by name
    """

    site: SiteInfo
    window: Span
    frames: dict[str, pd.DataFrame]
    thresholds: dict[str, float]
    findings: list[Finding]
    judged: list[Judged]
    verdict: Verdict


def judge(
    con: duckdb.DuckDBPyConnection, site: Site, *, units: str = "us", redact: bool = False
) -> Judgement:
    """One site of a batch that has been measured in `con`, judged by every rule."""
    site_frames = frames_of(con, site, units=units, redact=redact)
    findings, judged = judge_site(site_frames)
    info = site_frames.site
    head = _with_guesses(verdict(findings, judged, site_frames), info.guesses)
    frames, thresholds = dict(site_frames.tables), dict(site_frames.thresholds)
    return Judgement(info, site_frames.window, frames, thresholds, findings, judged, head)


def frames_of(
    con: duckdb.DuckDBPyConnection,
    site: Site,
    names: Collection[str] | None = None,
    *,
    units: str = "us",
    redact: bool = False,
) -> SiteFrames:
    """What the rules read of one site of a batch that has been measured in `con`.

    names : the tables to hand on; all but those of samples if None
    """
    made = {
        row[0]
        for row in con.execute(
            "select table_schema || '.' || table_name from information_schema.tables"
        ).fetchall()
    }
    wanted = set(tables()) - NOT_HANDED_ON if names is None else {"run.window", "run.zone", *names}
    frames = {name: frame(con, name, site.id) for name in tables() if name in wanted & made}
    window = frames["run.window"].iloc[0]
    return SiteFrames(
        site=_site_info(site, frames["run.zone"], units, redact),
        window=Span(int(window.start_ts), int(window.end_ts)),
        tables=frames,
        thresholds=values_for(site.thresholds),
        units=units,
    )


def _result(
    con: duckdb.DuckDBPyConnection,
    site: Site,
    load: LoadReport,
    *,
    units: str,
    redact: bool,
    ask: Ask | None,
    on_stage: Callable[[Stage, float], None],
) -> SiteResult:
    said = judge(con, site, units=units, redact=redact)
    put(con, "run.finding_window", _finding_windows(site.id, said.findings))
    views = [s for s in listed() if s.folder == VIEW_FOLDER]
    run(con, views, on_stage)
    frames = said.frames | {stage.table: frame(con, stage.table, site.id) for stage in views}
    return SiteResult(
        run_id=_run_id(site, load, ask, frames["run.clock"]),
        tool_version=__version__,
        site=said.site,
        window=said.window,
        verdict=said.verdict,
        findings=tuple(said.findings),
        judged=tuple(said.judged),
        frames=frames,
        thresholds=said.thresholds,
        units=units,
        redacted=redact,
        unusual=unusual_days.judge(
            frames["unusual.site_day"],
            said.thresholds,
            units=units,
            visits=None if redact else frames["run.visit"],
        ),
    )


def _with_guesses(head: Verdict, guesses: tuple[str, ...]) -> Verdict:
    """The head of the page, saying first that it rests on a site file nobody has confirmed."""
    if not guesses:
        return head
    left_out = sum(": # CONFIRM" in g for g in guesses)
    what = words.count(len(guesses), "line") + " of site.toml still guessed"
    if left_out:
        what += f", {words.count(left_out, 'column')} left out because of it"
    listed = f"{what}: look for CONFIRM in it, correct it and review again"
    return replace(
        head,
        sentence=f"Not the whole answer ({what}). {head.sentence}",
        cannot_tell=(f"{words.sentence(listed)}", *head.cannot_tell),
    )


def _finding_windows(site_id: str, findings: list[Finding]) -> pd.DataFrame:
    rows = [(site_id, f.code, w.n, w.start_ts, w.end_ts) for f in findings for w in f.windows]
    return pd.DataFrame(rows, columns=["site_id", "code", "n", "start_ts", "end_ts"])


def _site_info(site: Site, zones: pd.DataFrame, units: str, redact: bool) -> SiteInfo:
    """What a page may show of the site file; redacted: no name, no notes, zones by number."""
    names = {
        int(z): f"Zone {z}" if redact else str(name)
        for z, name in zip(zones["zone"], zones["name"], strict=True)
    }
    return SiteInfo(
        site_id=site.id,
        name=site.id if redact else site.name or site.id,
        timezone=site.timezone,
        complaint=None if redact else site.complaint,
        kind=site.equipment.kind,
        zones=names,
        settings=settings_told(site, units),
        visits=tuple(
            Span(v.start_ts, v.end_ts, "visit" if redact else v.what) for v in site.visits
        ),
        guesses=site.open_guesses(),
    )


def settings_told(site: Site, units: str) -> tuple[tuple[str, str, str], ...]:
    """Every setting with its value as text and since when it holds ('': not known to be set)."""
    told = []
    for name, value, start_ts, _ in site.settings_in_force():
        since = (
            ""
            if start_ts is None
            else words.clock(start_ts, site.timezone, with_date=True, units=units)
        )
        told.append((name, _setting_text(name, value, units), since))
    return tuple(told)


def _setting_text(name: str, value: Value, units: str) -> str:
    """A setting's value with the unit that its name ends in."""
    if isinstance(value, str):
        return value
    if name.endswith("_inwc"):
        return words.static(float(value), units)
    if name.endswith("_f"):
        return words.temperature(float(value), units)
    unit = {"_min": " min", "_s": " s"}.get(name[name.rfind("_") :], "")
    return f"{value:g}{unit}"


def _run_id(site: Site, load: LoadReport, ask: Ask | None, clock: pd.DataFrame) -> str:
    """The same for the same exports, site file, tool and options: a review can be made again."""
    parts = [__version__, site.path.read_bytes().hex(), *sorted(f.sha256 for f in load.files)]
    parts += [str(ask or Ask()), clock.to_json(orient="split"), str(ALWAYS_START_TS)]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]
