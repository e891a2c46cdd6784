"""Both fuels at once: furnace and compressor heat the same air for longer than a changeover takes.

What it says
    How often burner and compressor heated together beyond what a changeover or a defrost needs.

Why it matters
    Where the coil sits in the furnace's hot air the refrigerant's pressure climbs: the compressor
    stops on its pressure switch or is damaged.

What looks like it but is not
    Two minutes at a changeover, and furnace heat during a defrost, which tempers the supply air.

Source
    Common practice, no source.
"""

from __future__ import annotations

from statistics import median

from pipeline import words
from pipeline.findings import _cautions, _episodes
from pipeline.findings._base import (
    CannotTell,
    Cause,
    Check,
    Declaration,
    NotFound,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._episodes import Episodes
from pipeline.findings._site import SiteFrames, flags


def _at_changeovers(e: Episodes) -> Weighed:
    n = sum(not r.in_defrost for r in e.rows)
    over = sum(bool(r.is_changeover) for r in e.rows)
    said = f"{words.of_all(over, e.n, 'overlap')} ended with one fuel alone, the rest with the call"
    if over == e.n:
        said = f"{words.of_all(over, e.n, 'overlap')} came where one fuel took over from the other"
    low, high = min(e.lengths_s), max(e.lengths_s)
    alike = high - low <= e.site.threshold("both_fuels_alike_share") * median(e.lengths_s)
    if alike and e.n > 1:
        said += f", each {words.durations([low, high])} long, as a timer makes them"
    if n == 0:
        return Weighed(Weight.RULED_OUT, said)
    share = e.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if n >= share * e.n else Weight.FITS, said)


def _defrost(e: Episodes) -> Weighed:
    n = sum(bool(r.in_defrost) for r in e.rows)
    said = f"a defrost fell in {words.of_all(n, e.n, 'overlap')}"
    if n == 0:
        return Weighed(Weight.RULED_OUT, said)
    share = e.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if n >= share * e.n else Weight.OPEN, said)


def _wire(e: Episodes) -> Weighed:
    burner_s = e.more["burner_s"]
    said = f"the two ran together {words.hours(e.total_s)} in {words.hours(burner_s)} of gas heat"
    if burner_s > 0 and e.total_s >= e.site.threshold("cause_share_min_frac") * burner_s:
        return Weighed(Weight.STRONG, f"{said}: whenever the furnace heats")
    return Weighed(Weight.AGAINST, f"{said}: a joined wire would do it whenever the furnace heats")


FINDING = Declaration(
    title="Furnace and heat pump heating at once",
    question="Do the furnace and the heat pump heat together for longer than a changeover takes?",
    needs_tables=("interval.both_fuels", "measure.condition_time"),
    needs_roles=(("output_w1",), ("output_y1",)),
    figure="conditions",
    thresholds=(
        "both_fuels_max_s",
        "both_fuels_changeover_s",
        "both_fuels_defrost_s",
        "both_fuels_alike_share",
        "episodes_plan_per_week",
        "episodes_plan_days",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "the changeover holds the compressor on while the furnace starts: a delay or a relay "
            "of the panel or of the dual-fuel kit",
            "Raised when they stand where gas comes in for the compressor, most when all are about "
            "as long. Ruled out when each is a defrost.",
            _at_changeovers,
            not_it="the changeover",
        ),
        Cause(
            "W and Y joined, or fed by two controls that work past each other",
            "Raised when nearly all gas heat runs with the compressor on, else lowered.",
            _wire,
        ),
        Cause(
            "the defrost control keeps the furnace on too long",
            "Raised when most have a defrost in them. Ruled out when none has.",
            _defrost,
            not_it="the defrost control",
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the changeover delay between the fuels; then let gas take over from the heat "
            "pump while watching Y and W",
            "Y off before the furnace's burner lights",
            "write down the old value and set the delay by the panel's instructions",
        ),
        Check(
            "unit",
            "power off and verified off: follow W and Y from the panel to furnace and outdoor "
            "unit, and the dual-fuel kit's relay and its coil sensor",
            "one control decides, nothing joined",
            "correct the wiring by both makers' diagrams",
        ),
        Check(
            "outdoor unit",
            "read its fault codes before power is cycled: did it stop on high pressure?",
            "no high-pressure stops",
            "leave gas or heat pump off until the changeover is right",
        ),
    ),
    cautions=(
        _cautions.OWN_LIMIT,
        _cautions.GAS,
        _cautions.REFRIGERANT,
        _cautions.ELECTRICITY,
        _cautions.CODES_FIRST,
    ),
    confused_with=(
        "Defrost with the furnace tempering the air: supply dips, ten minutes at most, Y stays on.",
        "Strip heat helping a heat pump: that is no furnace and is in order.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found if both heated together beyond what is allowed; plan from three a week on two days."""
    if not (site.equipment.get("has_burner") and site.equipment.get("has_heat_pump")):
        return CannotTell("only a furnace with a heat pump has two fuels")
    heat_s = site.seconds_in(["heating"])
    rows = site.table("interval.both_fuels")
    e = _episodes.episodes(
        site,
        rows[flags(rows["is_over"])],
        state_s=heat_s,
        state="heat",
        more={"burner_s": site.seconds_in(["heating"], sources=["burner", "both"])},
    )
    if not e.n:
        if not e.more["burner_s"]:
            return CannotTell("the furnace was not seen to heat outside visits")
        return NotFound(
            f"never together for longer than a changeover takes, in {words.hours(heat_s)} of heat"
        )
    return _episodes.found(
        e,
        severity="plan" if e.is_persistent() else "watch",
        headline=(f"furnace and heat pump heated together {e.often}, {e.how_long}{e.outdoor()}"),
        aside="furnace and heat pump heated together",
        label="both fuels",
        say=lambda r: f"gas and compressor together for {words.duration(r.length_s)}",
        columns=(
            *_episodes.span_columns(site, "Together from"),
            *_episodes.calling_column(site),
            ("At a changeover", lambda r: "yes" if r.is_changeover else "no"),
            ("In a defrost", lambda r: "yes" if r.in_defrost else "no"),
            *_episodes.outdoor_column(site),
        ),
    )
