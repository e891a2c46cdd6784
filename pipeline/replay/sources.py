"""What heats when: balance points by outdoor air, and compressor starts that would have waited."""

from __future__ import annotations

from statistics import median

from pipeline import words
from pipeline.findings import SiteFrames
from pipeline.findings._site import flags, records
from pipeline.replay.record import Column, Line, ReplayTable, Reproduced
from pipeline.replay.values import Asked, Made, heads, lines_of
from pipeline.units import MICROSECONDS

POINTS = ("low_balance_f", "high_balance_f")


def balance_points(site: SiteFrames, asked: Asked) -> Made:
    """Hours of heat by fuel at each pair of points."""
    kind = site.equipment.get("kind")
    if kind not in ("dual_fuel", "heat_pump"):
        return [], [], ["Balance points are for heat pumps: nothing to replay."]
    fuel = "furnace" if kind == "dual_fuel" else "strip heat"
    spells, unknown_s = _heating_spells(site)
    if not spells:
        return [], [], ["No heat outside visits with outdoor air known: no fuel can be replayed."]
    now = (site.setting(POINTS[0]), site.setting(POINTS[1]))

    def figures(low: float | None, high: float | None) -> tuple[float | None, ...]:
        pump = other = moved = 0.0
        for seconds, outdoor_f, is_other in spells:
            would = _other_fuel(outdoor_f, is_other, (low, high), now)
            pump += seconds * (not would)
            other += seconds * would
            moved += seconds * (would != is_other)
        return pump / 3600, other / 3600, moved / 3600

    logged_other = sum(s for s, _, is_other in spells if is_other)
    logged_pump = sum(s for s, _, is_other in spells if not is_other)
    lines = (
        Line(("as logged", ""), (logged_pump / 3600, logged_other / 3600, None)),
        *lines_of(site, asked, POINTS, figures),
    )
    table = ReplayTable(
        key="fuel",
        title="Hours of heat by fuel",
        heads=heads(POINTS),
        columns=(
            Column("heat pump alone", "h"),
            Column(fuel, "h"),
            Column("changes over", "h"),
        ),
        lines=lines,
        sentence=words.sentences(
            *(
                f"{'logged' if line.labels[0] == 'as logged' else 'at ' + _points(line)}: heat "
                f"pump {words.hours((line.values[0] or 0) * 3600)}, {fuel} "
                f"{words.hours((line.values[1] or 0) * 3600)}"
                for line in lines
                if not line.is_present
            )
        ),
        notes=(
            "Hours are those of the log: the other fuel would have needed more or fewer of them "
            "for the same heat.",
            f"Where a new setting leaves the choice open, the heat pump is taken to carry it: "
            f"whether {fuel} would have had to help is not known.",
            *(
                [f"{words.hours(unknown_s)} of heat with outdoor air not known are left out."]
                if unknown_s >= 360
                else []
            ),
        ),
        drawn=1,
    )
    replayed = figures(*now)
    moved_h = replayed[2] or 0.0
    total_h = (logged_other + logged_pump) / 3600
    agrees = moved_h <= (1 - site.threshold("replay_agrees_share")) * total_h
    check = Reproduced(
        f"hours of {fuel}", logged_other / 3600, replayed[1] or 0.0, "h", agrees,
        "each fuel ran on its side of the points" if agrees else
        f"{words.hours(moved_h * 3600)} of heat ran on the fuel that the points as given would not "
        "have allowed: see the finding on balance points",
    )  # fmt: skip
    return [table], [check], []


def _points(line: Line) -> str:
    return f"low {line.labels[0]} and high {line.labels[1]}"


def _other_fuel(
    outdoor_f: float,
    is_other: bool,
    points: tuple[float | None, float | None],
    now: tuple[float | None, float | None],
) -> bool:
    """Whether furnace or strip heat would have carried this heat."""
    low, high = points
    if low is not None and outdoor_f < low:
        return True
    if high is not None and outdoor_f > high:
        return False
    if now[0] is not None and outdoor_f < now[0]:
        return False  # the compressor was locked out and no longer would be
    return is_other


def _heating_spells(site: SiteFrames) -> tuple[list[tuple[float, float, bool]], float]:
    """Heat outside visits as (seconds, outdoor °F, furnace or strips on), and time not known."""
    table = site.table("interval.condition")
    rows = table[(table["class"] == "heating") & ~flags(table["in_visit"])]
    weather = [
        (int(r.start_ts), int(r.end_ts), float(r.outdoor_f))
        for r in records(site.table("interval.weather").sort_values("start_ts"))
    ]
    spells: list[tuple[float, float, bool]] = []
    unknown = 0.0
    n = 0
    for r in records(rows.sort_values("start_ts")):
        a, b = int(r.start_ts), int(r.end_ts)
        is_other = r.source in ("burner", "strip", "both")
        known = 0
        while n < len(weather) and weather[n][1] <= a:
            n += 1
        k = n
        while k < len(weather) and weather[k][0] < b:
            seconds = (min(b, weather[k][1]) - max(a, weather[k][0])) / MICROSECONDS
            spells.append((seconds, weather[k][2], is_other))
            known += min(b, weather[k][1]) - max(a, weather[k][0])
            k += 1
        unknown += (b - a - known) / MICROSECONDS
    return spells, unknown


def minimum_off(site: SiteFrames, asked: Asked) -> Made:
    """Compressor starts that each minimum-off would have held back."""
    name = "compressor_min_off_min"
    table = site.table("interval.source_run")
    rows = table[(table["source"] == "compressor") & ~flags(table["in_visit"])]
    rests = [float(r) for r in rows["rest_before_s"].dropna()]
    if not rests:
        return [], [], ["No compressor rest was seen whole: no minimum-off can be replayed."]
    slack_s = site.threshold("short_rest_allowance_s") + _interval_s(site)

    def figures(minutes: float | None) -> tuple[float | None, ...]:
        if minutes is None:
            return None, None, None
        waits = [minutes * 60 - r for r in rests if r < minutes * 60 - slack_s]
        return float(len(waits)), sum(waits) / 60, max(waits, default=0.0) / 60

    lines = lines_of(site, asked, (name,), figures)
    made = ReplayTable(
        key="minimum-off",
        title="Compressor starts that would have waited",
        heads=heads((name,)),
        columns=(
            Column("starts held back", "starts"),
            Column("waiting in all", "min"),
            Column("longest wait", "min"),
        ),
        lines=lines,
        sentence=words.sentences(
            *(
                f"at {line.labels[0]} {words.of_all(int(line.values[0] or 0), len(rests))} starts "
                f"would have waited, {words.duration((line.values[1] or 0) * 60)} in all"
                for line in lines
                if not line.is_present
            ),
            f"the usual rest was {words.duration(median(rests))}",
        ),
        notes=(
            "A start held back moves all that follow it; a compressor's own timer may hold it "
            "longer than the panel.",
        ),
        drawn=0,
    )
    now = site.setting(name)
    checks = []
    if now is not None:
        early = int(figures(now)[0] or 0)
        checks.append(
            Reproduced(
                "compressor starts sooner than the minimum-off", float(early), 0.0, "starts",
                early == 0,
                "every rest was as long as set" if not early else
                f"{words.count(early, 'start')} came sooner than the setting allows: the timer "
                "does not hold, or something else starts the compressor",
            )
        )  # fmt: skip
    return [made], checks, []


def _interval_s(site: SiteFrames) -> float:
    rows = site.table("channel.channel")
    own = rows[rows["role"] == "output_y1"]["interval_s"].dropna()
    return float(own.max()) if len(own) else 0.0
