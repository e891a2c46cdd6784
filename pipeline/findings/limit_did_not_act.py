"""Limit did not act: supply air stood far over the high limit and the heat stayed on.

What it says
    How often, how long and how far supply air was over the panel's high limit with a heat output
    still on, with which zones calling, and whether the fan was proven to run.

Why it matters
    The limit is there to shut the heat off before ducts and heat exchanger get that hot. Air far
    over it for minutes with heat on means that nothing stopped it: it is acted on at once, and the
    page is never called clear over it.

What looks like it but is not
    Soak after the heat has gone off. A probe that sees the exchanger or the strips instead of the
    air, or reads wrong. A setting in the site file that is not the panel's.
    Heat with no fan: supply air is then not a measure of the air that leaves, but so hot a plenum
    with heat on is as serious; it is told, as likely instead of shown.

Source
    Common practice, no source. The margin is as far as a trunk probe may stand from the panel's
    own sensor.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings import _cautions
from pipeline.findings._base import (
    MAX_TABLE_ROWS,
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
from pipeline.findings._context import with_condition
from pipeline.findings._site import SiteFrames, flags, numbers, records
from pipeline.findings._windows import Event, evidence, lines, windows
from pipeline.result import Mark


@dataclass(frozen=True)
class Stands:
    """The times over the limit outside visits, in order of time, and what their causes read.

    rows : interval.supply_over_limit with the state in which each began
    n_trips : panel limit trips on the same log outside visits, by the limit that was given
    """

    site: SiteFrames
    rows: pd.DataFrame
    n_trips: int

    @property
    def n(self) -> int:
        """How many."""
        return len(self.rows)

    @property
    def n_blown(self) -> int:
        """Of them with the fan proven."""
        return int(flags(self.rows["is_fan_proven"]).sum())

    @property
    def peaks_f(self) -> list[float]:
        """Highest supply air of each."""
        return numbers(self.rows["peak_f"])

    @property
    def over_f(self) -> float:
        """Most that supply air stood over the limit."""
        return float((self.rows["peak_f"] - self.rows["limit_f"]).max())


def _probe(s: Stands) -> Weighed:
    said = f"supply air read {s.site.temperatures(s.peaks_f)} by the logger's probe"
    if s.n_trips:
        return Weighed(
            Weight.AGAINST,
            f"{said}; at {words.count(s.n_trips, 'trip')} on this log probe and limit agreed",
        )
    return Weighed(Weight.OPEN, f"{said}; nothing on this log checks it")


def _setting(s: Stands) -> Weighed:
    limits = numbers(s.rows["limit_f"])
    said = f"the site file gives {s.site.temperatures(limits)}"
    if s.n_trips:
        return Weighed(
            Weight.AGAINST, f"{said}, and {words.count(s.n_trips, 'trip')} came at the setting"
        )
    return Weighed(Weight.OPEN, f"{said}; the log does not hold the panel's own setting")


def _limit(s: Stands) -> Weighed:
    lengths = [float(v) for v in s.rows["length_s"]]
    said = f"heat stayed on over the limit for {words.durations(lengths)}"
    if s.n_trips:
        return Weighed(
            Weight.FITS, f"{said}; it did shut the heat off {words.times(s.n_trips)} at other times"
        )
    return Weighed(Weight.FITS, f"{said}, and no limit trip was logged")


def _no_fan(s: Stands) -> Weighed:
    if s.n_blown == s.n:
        return Weighed(
            Weight.RULED_OUT, f"the fan was on {'throughout' if s.n == 1 else 'every time'}"
        )
    lacking = words.of_all(s.n - s.n_blown, s.n, "time") if s.n > 1 else "that time"
    return Weighed(Weight.FITS, f"{lacking} the fan was off or not known to be on")


FINDING = Declaration(
    title="Limit did not act",
    question="Did supply air stand far over the high limit with the heat still on?",
    needs_tables=(
        "interval.supply_over_limit",
        "interval.condition",
        "measure.trip_context",
        "measure.condition_time",
    ),
    needs_roles=(("supply_temp",), ("output_w1", "output_aux", "output_y1")),
    thresholds=(
        "limit_did_not_act_f",
        "limit_did_not_act_s",
        "supply_judged_after_fan_s",
        "coverage_min_frac",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "the logger's probe: it sees the exchanger or the strips, or reads wrong",
            "Checked first. Lowered when limit trips on the same log came at the setting.",
            _probe,
        ),
        Cause(
            "the setting in the site file is not the panel's",
            "Lowered when limit trips on the same log came at the setting.",
            _setting,
        ),
        Cause(
            "the panel's limit does not see the air or does not shut the heat off: its sensor, its "
            "place, its wires, an output that stays on",
            "Fits whenever heat stays on through it.",
            _limit,
        ),
        Cause(
            "heat with no fan",
            "Fits when the fan was off or not known. Ruled out when it was on every time.",
            _no_fan,
            not_it="a fan that stopped",
        ),
    ),
    check_next=(
        Check(
            "log",
            "hold a second thermometer beside the logger's probe with the fan on, out of sight of "
            "the exchanger and the strips",
            "both agree within a few degrees",
            "move or replace the probe and log again; until then take the reading as true",
        ),
        Check(
            "panel",
            "read the high limit and photograph it; compare with the site file and the plate's "
            "highest outlet temperature",
            "as in the site file, not above the plate",
            "correct the site file, or the panel in the safer direction",
        ),
        Check(
            "panel",
            "a qualified technician checks the panel's supply sensor: its place, its wires, its "
            "reading beside a thermometer",
            "sits in the trunk behind the unit and agrees within a few degrees",
            "that is why the limit did not act: mend it before heat is put back on",
        ),
        Check(
            "unit",
            "a qualified technician checks the furnace's own limit, the blower and the temperature "
            "rise by the equipment's instructions",
            "the blower runs whenever heat does, rise within the plate, own limit acts",
            "heat stays off until it is mended",
        ),
    ),
    cautions=(
        _cautions.HEAT_OFF,
        _cautions.LIMIT,
        _cautions.OWN_LIMIT,
        _cautions.CARBON_MONOXIDE,
        _cautions.ELECTRICITY,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "High-limit trips: there the panel drops the heat.",
        "Soak: there the heat output is off already.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from the first time outside visits; act, unless one reading alone may be behind it."""
    table = site.table("interval.supply_over_limit")
    rows = table[~flags(table["in_visit"])].sort_values("start_ts").reset_index(drop=True)
    if rows.empty:
        return _not_seen(site, len(table))
    rows = with_condition(site.table("interval.condition"), rows, "start_ts")
    trips = site.table("measure.trip_context")
    trips = trips[(trips["kind"] == "high") & ~flags(trips["in_visit"])]
    stands = Stands(site, rows, int((trips["opened_by"] == "panel").sum()))
    events = [_event(site, row) for row in records(rows)]
    certain = flags(rows["is_certain"])
    shown = certain & flags(rows["is_fan_proven"])
    return Found(
        severity="act" if certain.any() else "plan",
        certainty="shown" if shown.any() else "likely" if certain.any() else "possible",
        summary=_summary(stands, bool(certain.any())),
        headline=_headline(stands),
        facts=stands,
        evidence=evidence(events),
        windows=windows(site, events),
        ruled_out=("Not soak: a heat output was on throughout",),
        table=_table(site, rows),
    )


def _not_seen(site: SiteFrames, n_in_visits: int) -> Outcome:
    limits = site.table("run.setting")
    if not (limits["name"] == "high_limit_f").any():
        return CannotTell("the site file gives no high limit")
    heat_s = site.seconds_in(["heating"])
    if heat_s < site.threshold("judged_min_h") * 3600:
        return CannotTell(f"only {words.hours(heat_s)} of heat outside visits")
    covered = _supply_coverage(site)
    if covered < site.threshold("coverage_min_frac"):
        return CannotTell(f"supply air was logged only {words.share(covered)} of the time")
    said = f"supply air never stood far over the limit in {words.hours(heat_s)} of heat"
    if n_in_visits:
        said += f" outside visits; {words.times(n_in_visits)} in a visit, which may be a test"
    return NotFound(said)


def _supply_coverage(site: SiteFrames) -> float:
    rows = site.table("signal.coverage")
    shares = numbers(rows.loc[rows["role"] == "supply_temp", "coverage"])
    return max(shares, default=0.0)


def _headline(s: Stands) -> str:
    site = s.site
    often = "" if s.n == 1 else f" {words.times(s.n)}"
    lengths = [float(v) for v in s.rows["length_s"]]
    return (
        f"the high limit did not act: supply air stood up to "
        f"{site.temperature_difference(s.over_f)} over it{often} with the heat still on, for up to "
        f"{words.duration(max(lengths))}"
    )


def _summary(s: Stands, is_certain: bool) -> str:
    site = s.site
    first = site.clock(int(s.rows["start_ts"].iloc[0]))
    last = site.clock(int(s.rows["start_ts"].iloc[-1]))
    when = first if s.n == 1 else f"first {first}, last {last}"
    limits = site.temperatures(numbers(s.rows["limit_f"]))
    lacking = s.n - s.n_blown
    return words.sentences(
        f"{_headline(s)}; {when}",
        f"supply air reached {site.temperatures(s.peaks_f)}, limit set to {limits}; supply air "
        f"was logged {words.share(_supply_coverage(site))} of the time",
        f"in {words.of_all(lacking, s.n)} the fan was off or not known to be on" if lacking else "",
        "" if is_certain else "one reading alone may be behind it: log supply air more often",
    )


def _fan(is_fan_proven: object) -> str:
    return "on" if is_fan_proven else "off or not known"


def _event(site: SiteFrames, r: Any) -> Event:
    start, end = int(r.start_ts), int(r.end_ts)
    return Event(
        start_ts=start,
        end_ts=end,
        worth=float(r.peak_f) - float(r.limit_f),
        say=(
            f"{site.clock(start)}, {site.calling(r.zones)}, supply air at "
            f"{site.temperature(r.peak_f)} with the limit set to {site.temperature(r.limit_f)} "
            f"and heat on for {words.duration(r.length_s)} of it, fan {_fan(r.is_fan_proven)}"
        ),
        label="over the limit",
        marks=(Mark(start, "far over the limit"),),
        lines=lines(site, start, "high_limit_f"),
    )


def _table(site: SiteFrames, rows: pd.DataFrame) -> tuple[tuple[str, tuple[str, ...]], ...]:
    shown = records(rows.head(MAX_TABLE_ROWS))
    return (
        ("When", tuple(site.clock(int(r.start_ts)) for r in shown)),
        ("Calling", tuple(site.zones(r.zones) for r in shown)),
        ("Stage", tuple("–" if r.stage is None else str(int(r.stage)) for r in shown)),
        ("Supply air", tuple(site.temperature(r.peak_f) for r in shown)),
        ("Limit", tuple(site.temperature(r.limit_f) for r in shown)),
        ("Heat on for", tuple(words.duration(r.length_s) for r in shown)),
        ("Fan", tuple(_fan(r.is_fan_proven) for r in shown)),
    )
