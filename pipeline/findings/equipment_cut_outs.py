"""Equipment cut-outs: the furnace stopped heating by itself with the panel's output still on.

What it says
    How often heat fell away and came back while the panel asked for it without a break, with
    which zones calling and on which stage. The panel had no hand in it.

Why it matters
    It is the furnace's own limit, a lost flame, a pressure or rollout switch, or a lockout: the
    equipment protects itself. Repeated cut-outs are a safety question before they are a comfort
    question.

What looks like it but is not
    A panel trip (the output drops too). A damper that opens, or static that falls with it. The
    equipment dropping to its lower stage by itself: supply air settles on a lower level instead
    of falling away. Defrost of a heat pump.

Source
    Common practice, no source. The furnace's own limit may open with plenum air at 120 to 150 °F,
    so no supply temperature is required.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
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
from pipeline.findings._states import Pattern, pattern
from pipeline.findings._windows import Event, evidence, lines, windows
from pipeline.result import Mark
from pipeline.units import MICROSECONDS


@dataclass(frozen=True)
class CutOuts:
    """The cut-outs outside visits, in order of time, and where they come."""

    site: SiteFrames
    rows: pd.DataFrame
    pattern: Pattern

    @property
    def n(self) -> int:
        """How many."""
        return len(self.rows)

    @property
    def n_certain(self) -> int:
        """How many came with the output known to have stayed on."""
        return int(flags(self.rows["is_certain"]).sum())

    @property
    def peaks_f(self) -> list[float]:
        """Supply air just before each fall."""
        return numbers(self.rows["peak_f"])

    @property
    def lows_f(self) -> list[float]:
        """Supply air at the bottom of each fall."""
        return numbers(self.rows["low_f"])

    @property
    def waits_s(self) -> list[float]:
        """From the peak until heat came back, or the output ended."""
        return [(r.end_ts - r.start_ts) / MICROSECONDS for r in records(self.rows)]

    @property
    def has_burner(self) -> bool:
        """Whether a burner was among the sources."""
        return bool((self.rows["source"] == "burner").any())

    @property
    def peaks_together(self) -> bool:
        """Whether all peaks lie within the limit's spread of their median."""
        spread_f = self.site.threshold("cut_out_peaks_together_f")
        middle = median(self.peaks_f)
        return all(abs(p - middle) <= spread_f for p in self.peaks_f)


def _own_limit(c: CutOuts) -> Weighed:
    said = f"supply air stood at {c.site.temperatures(c.peaks_f)} when it fell"
    where = c.pattern.text(c.site, "cut-out")
    if c.n < 2:
        return Weighed(Weight.OPEN, f"{said}; one event does not tell")
    if not c.peaks_together:
        return Weighed(Weight.AGAINST, f"{said}, too far apart for one limit; {where}")
    strong = c.pattern.few_zones and c.pattern.is_telling
    return Weighed(Weight.STRONG if strong else Weight.FITS, f"{said}, close together; {where}")


def _flame(c: CutOuts) -> Weighed | None:
    if not c.has_burner:
        return None
    site = c.site
    low, high = site.threshold("cut_out_retry_min_s"), site.threshold("cut_out_retry_max_s")
    n_retry = sum(low <= w <= high for w in c.waits_s)
    said = f"heat was back after {words.durations(c.waits_s)}"
    if c.n < 2:
        return Weighed(Weight.OPEN, f"{said}; one event does not tell")
    scattered = not c.peaks_together
    if scattered:
        said += ", from scattered supply temperatures"
    if n_retry >= site.threshold("cause_share_min_frac") * c.n:
        weight = Weight.STRONG if scattered else Weight.FITS
        return Weighed(weight, f"{said}: the length of an ignition retry")
    return Weighed(Weight.FITS if scattered else Weight.AGAINST, said)


def _panel_dropped(c: CutOuts) -> Weighed | None:
    n_unsure = c.n - c.n_certain
    if not n_unsure:
        return None
    said = (
        f"the output is known to have stayed on through {c.n_certain} of {c.n} falls; for the rest "
        "it was logged too seldom to tell, or was seen to chatter"
    )
    return Weighed(Weight.OPEN if c.n_certain else Weight.FITS, said)


def _own_stage(c: CutOuts) -> Weighed | None:
    if not c.has_burner:
        return None
    site = c.site
    said = f"supply air fell to {site.temperatures(c.lows_f)}"
    no_fire = site.threshold("supply_no_fire_f")
    if all(low < no_fire for low in c.lows_f):
        return Weighed(
            Weight.RULED_OUT,
            f"{said}, under {site.temperature(no_fire)}: lower than any stage holds it",
        )
    return Weighed(Weight.OPEN, f"{said}; flame was not logged")


FINDING = Declaration(
    title="Equipment cut-outs",
    question="Did the equipment stop by itself while the panel still asked for heat?",
    needs_tables=("interval.cut_out", "interval.condition", "measure.condition_time"),
    needs_roles=(("supply_temp",), ("output_w1", "output_aux")),
    figure="cut_outs",
    thresholds=(
        "cut_outs_plan",
        "cut_outs_act_per_day",
        "cut_out_fall_min_f",
        "cut_out_fall_share",
        "cut_out_fall_s",
        "cut_out_steady_s",
        "cut_out_peaks_together_f",
        "cut_out_retry_min_s",
        "cut_out_retry_max_s",
        "supply_no_fire_f",
        "cause_share_min_frac",
        "cause_other_min_h",
        "cause_rate_ratio_min",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "the furnace's own limit opens: too little air over the exchanger in that state",
            "Raised when supply air stands at nearly the same temperature at every fall, most "
            "when the falls are tied to one zone calling. Lowered when the temperatures scatter.",
            _own_limit,
        ),
        Cause(
            "flame lost or ignition retried: flame sensing, igniter, pressure switch, drain or "
            "vent, gas supply",
            "Raised when heat is back after 45 to 120 s, and when the supply temperatures at the "
            "falls scatter.",
            _flame,
        ),
        Cause(
            "the furnace drops to its lower stage by itself",
            "Ruled out when supply air falls lower than any stage of a burner would hold it.",
            _own_stage,
            not_it="the furnace dropping to its lower stage",
        ),
        Cause(
            "the panel drops its output for seconds: a loose wire, a relay or a chattering call",
            "Possible where the output is logged too seldom to see it drop, or seen to chatter.",
            _panel_dropped,
        ),
    ),
    check_next=(
        Check(
            "unit",
            "read and photograph the board's code history before switching power off",
            "no codes in these hours",
            "limit, flame, pressure-switch or rollout codes say which it was",
        ),
        Check(
            "dampers",
            "call {zone} alone and watch its damper and the relief dampers. If second stage comes "
            f"on: {_cautions.WATCHED}",
            "fully open; relief opens once static passes {target}",
            "too little air over the exchanger with that zone calling: damper, actuator wire or "
            "relief setting",
        ),
        Check(
            "unit",
            "filter, blower speed and temperature rise on each stage with two matched probes "
            "against the rating plate",
            "inside the plate's band",
            "airflow first; gas input by a licensed technician",
        ),
        Check(
            "unit",
            "flame signal, pressure switch, vent and condensate drain, by a qualified technician",
            "as the furnace's instructions give them",
            "that is what stops it: a licensed technician puts it right",
        ),
    ),
    cautions=(
        _cautions.OWN_LIMIT,
        _cautions.CARBON_MONOXIDE,
        _cautions.GAS,
        _cautions.CODES_FIRST,
        _cautions.REPRODUCE,
        _cautions.ELECTRICITY,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "High-limit trips: there the panel drops W.",
        "A damper that opens: there static falls at the same moment and calls or dampers change.",
    ),
    symptom_of=("second-stage-too-few-zones",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from the first cut-out outside visits; severity by number and by day."""
    rows = site.table("interval.cut_out")
    rows = rows[~flags(rows["in_visit"])].sort_values("start_ts").reset_index(drop=True)
    sources = ["burner", "strip", "both"]
    heat_s = site.seconds_in(["heating"], sources=sources)
    kind = "furnace heat" if site.equipment.get("has_burner") else "strip heat"
    if rows.empty:
        if heat_s < site.threshold("judged_min_h") * 3600:
            return CannotTell(words.only(heat_s, kind))
        return NotFound(f"none in {words.hours(heat_s)} of {kind}")
    rows = with_condition(site.table("interval.condition"), rows, "start_ts")
    cut_outs = CutOuts(site, rows, pattern(site, rows, "heating", sources))
    events = [_event(site, row) for row in records(rows)]
    state = cut_outs.pattern.state
    target = site.setting("static_target_inwc")
    on_second_alone = cut_outs.pattern.few_zones and cut_outs.pattern.on_second_stage
    return Found(
        severity=_severity(site, rows),
        certainty="likely" if cut_outs.n_certain > 1 else "possible",
        summary=_summary(cut_outs, heat_s),
        headline=_headline(cut_outs, heat_s),
        facts=cut_outs,
        evidence=evidence(events),
        windows=windows(site, events),
        ruled_out=(
            *_not_the_panel(cut_outs),
            *_not_a_damper(site),
        ),
        fill={
            "zone": site.zones(state.zones) if state and state.zones else "each zone in turn",
            "target": site.static(target) if target is not None else "the blower's rated static",
        },
        linked=("second-stage-too-few-zones",) if on_second_alone else (),
        table=_table(site, rows),
    )


def _not_the_panel(c: CutOuts) -> tuple[str, ...]:
    """The panel is ruled out only where its output is known to have stayed on."""
    return ("Not the panel: its output stayed on throughout",) if c.n_certain == c.n else ()


def _not_a_damper(site: SiteFrames) -> tuple[str, ...]:
    """Dampers are ruled out only where they were logged."""
    steady = words.duration(site.threshold("cut_out_steady_s"))
    if "zone_damper" not in site.logged_roles:
        return ()
    return (
        f"Not a damper: calls, stage and dampers had not changed for {steady} before each fall",
    )


def _severity(site: SiteFrames, rows: pd.DataFrame) -> str:
    days = [site.local_day(int(ts)) for ts in rows["start_ts"]]
    if max(days.count(d) for d in days) >= site.threshold("cut_outs_act_per_day"):
        return "act"
    return "plan" if len(rows) >= site.threshold("cut_outs_plan") else "note"


def _headline(c: CutOuts, heat_s: float) -> str:
    who = "the furnace" if c.has_burner else "the strip heat"
    state = c.pattern.state
    where = (
        f", {words.of_all(c.pattern.n, c.n, 'time')} {state.text(c.site)}"
        if state and c.n > 1
        else ""
    )
    return (
        f"{who} stopped by itself {words.times(c.n)} in {words.hours(heat_s)} of heat with the "
        f"panel still asking for it{where}"
    )


def _summary(c: CutOuts, heat_s: float) -> str:
    site = c.site
    first, last = (
        site.clock(int(c.rows["start_ts"].iloc[0])),
        site.clock(int(c.rows["start_ts"].iloc[-1])),
    )
    when = first if c.n == 1 else f"first {first}, last {last}"
    return words.sentences(
        f"{_headline(c, heat_s)}: {when}",
        f"supply air fell from {site.temperatures(c.peaks_f)} to {site.temperatures(c.lows_f)} "
        "and came back with the output still on, or the output ended first",
        "inferred from supply air: no flame or limit contact was logged"
        if not {"flame", "gas_valve", "equipment_limit"} & site.logged_roles
        else "",
    )


def _event(site: SiteFrames, r: Any) -> Event:
    start, end = int(r.start_ts), int(r.end_ts)
    peak_f, low_f = float(r.peak_f), float(r.low_f)
    who = site.calling(r.zones)
    return Event(
        start_ts=start,
        end_ts=end,
        worth=peak_f - low_f,
        say=(
            f"{site.clock(start)}, {who}, supply air fell from {site.temperature(peak_f)} to "
            f"{site.temperature(low_f)} with the output on, back after "
            f"{words.duration((end - start) / MICROSECONDS)}"
        ),
        label="cut-out",
        marks=(Mark(start, "heat stops"),),
        lines=lines(site, start, "high_limit_f", "static_target_inwc"),
    )


def _table(site: SiteFrames, rows: pd.DataFrame) -> tuple[tuple[str, tuple[str, ...]], ...]:
    shown = records(rows.head(MAX_TABLE_ROWS))
    return (
        ("When", tuple(site.clock(int(r.start_ts)) for r in shown)),
        ("Calling", tuple(site.zones(r.zones) for r in shown)),
        ("Stage", tuple("–" if r.stage is None else str(int(r.stage)) for r in shown)),
        ("From", tuple(site.temperature(r.peak_f) for r in shown)),
        ("Down to", tuple(site.temperature(r.low_f) for r in shown)),
        (
            "Back after",
            tuple(words.duration((r.end_ts - r.start_ts) / MICROSECONDS) for r in shown),
        ),
    )
