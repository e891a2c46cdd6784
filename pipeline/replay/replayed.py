"""Other settings on the same log: what they would have commanded, and what that cannot know.

The measures of the review are made once; each asked value is then held against them. Second stage
is commanded anew on the calls as logged (`staging`), time above another static target and
limits reached come from the `replay` stages, waits and fuels from runs and weather. The row "as
set" is made in the same way from the settings in force, so that the log itself can say whether
this way of counting gives what was logged.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline import __version__
from pipeline.findings import SiteFrames
from pipeline.ingest.load import load_site
from pipeline.replay.record import CANNOT_KNOW, Replay
from pipeline.replay.settings import asked_settings
from pipeline.replay.tables import cautions, every
from pipeline.review import judge, measure_sites
from pipeline.run_tables import ALWAYS_END_TS, ALWAYS_START_TS
from pipeline.site_reader import read_site
from pipeline.stages import frame, listed, put, run
from pipeline.store import attach_sites, connect_working

SCHEMA_NAME = "zonetrail.replay/1"
FOLDER = "90_replay"
LEVELS = ("static_target_inwc", "high_limit_f", "low_limit_f")
"""Settings whose replay needs readings: these go through the stages."""


def replay_site(
    folder: Path,
    sets: Sequence[str],
    *,
    align: bool = False,
    units: str = "us",
    redact: bool = False,
    progress: Callable[[str], None] | None = None,
) -> Replay:
    """The replay of one site folder at the asked settings; brings its store up to date first.

    align : take out clock offsets that the data show

    Raises InputError for settings that cannot be understood or are unsafe, and the errors of
    pipeline.errors for whatever else a user can mend.
    """
    tell = progress or (lambda step: None)
    site = read_site(folder)
    asked = asked_settings(site, sets)
    tell("reading exports")
    load_site(folder)
    con = connect_working()
    try:
        attach_sites(con, {site.id: site.store_path})
        tell("measuring")
        measure_sites(con, [site], align=align)
        tell("replaying")
        said = judge(con, site, units=units, redact=redact)
        put(con, "run.replay_level", asked_levels(site.id, asked, said.frames["run.setting"]))
        stages = [s for s in listed() if s.folder == FOLDER]
        run(con, stages)
        made = {stage.table: frame(con, stage.table, site.id) for stage in stages}
    finally:
        con.close()
    frames = SiteFrames(
        site=said.site,
        window=said.window,
        tables=said.frames | made,
        thresholds=said.thresholds,
        units=units,
    )
    return replay(frames, asked)


def asked_levels(
    site_id: str, asked: dict[str, tuple[float, ...]], setting: pd.DataFrame
) -> pd.DataFrame:
    """run.replay_level: the asked values for all time, and as 0 what was in force when."""
    rows: list[tuple[str, int, str, float, int, int]] = []
    for name in LEVELS:
        if name not in asked:
            continue
        own = setting[setting["name"] == name].dropna(subset=["value"])
        rows += [
            (site_id, 0, name, float(v), int(a), int(b))
            for v, a, b in zip(own["value"], own["start_ts"], own["end_ts"], strict=True)
        ]
        rows += [
            (site_id, n, name, value, ALWAYS_START_TS, ALWAYS_END_TS)
            for n, value in enumerate(asked[name], start=1)
        ]
    columns = ["site_id", "n", "name", "value", "start_ts", "end_ts"]
    return pd.DataFrame(rows, columns=columns)


def replay(site: SiteFrames, asked: dict[str, tuple[float, ...]]) -> Replay:
    """The record, from the frames of one site with its `replay` tables made for what is asked."""
    tables, reproduced, notes = every(site, asked)
    return Replay(
        site_id=site.site.site_id,
        name=site.site.name,
        timezone=site.site.timezone,
        start_ts=site.window.start_ts,
        end_ts=site.window.end_ts,
        asked=tuple(asked.items()),
        tables=tuple(tables),
        reproduced=tuple(reproduced),
        cannot_know=(*CANNOT_KNOW, *notes),
        cautions=cautions(asked),
        units=site.units,
        tool_version=__version__,
    )


def replay_document(made: Replay) -> dict[str, Any]:
    """The replay as plain dictionaries and lists: replay.json. Settings stay in their own units."""
    from pipeline.review_measures import iso

    document = asdict(made)
    start, end = document.pop("start_ts"), document.pop("end_ts")
    return {
        "schema": SCHEMA_NAME,
        **document,
        "asked": {name: list(values) for name, values in made.asked},
        "window": {"start": iso(start), "end": iso(end)},
    }
