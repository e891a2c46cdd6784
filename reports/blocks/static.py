"""Duct static while the blower ran: by number of zones calling, stage and combination."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from markupsafe import Markup

from pipeline.clock_left import clock_note
from pipeline.expected_error import fan_error
from pipeline.sampling import NOT_GIVEN
from reports.block import Block, Model, absent
from reports.display import NONE, day_text, number, plural, text
from reports.markup import fill
from reports.table import DAYS_LISTED, Cell, Column, Table, table_html

CLASS_WORDS = {
    "heating": "Heating",
    "cooling": "Cooling",
    "purge": "Purge after a call",
    "fan_only": "Fan only",
}
FAN_SOURCES = {
    "static_pressure": "static itself",
    "outputs": "the outputs and the fan’s delays",
    "supply_temp": "supply and return air",
}
"""What a blower's running is read off where nothing was logged of it."""


def render(model: Model) -> Block:
    """Totals in a sentence, then each class, stage and combination with its spread and target."""
    title = "Duct static"
    rows = model.rows("measure.static_by_calling")
    if not rows:
        why = "supply static was not logged while the blower was known to run"
        return Block("static", title, absent("No static figures", why))
    parts = [_sentence(model), _by_count(model, rows), _by_combination(model, rows), _days(model)]
    return Block("static", title, Markup("").join(parts), nav="Static")


def target(model: Model) -> float | None:
    """The static target last in force [in. w.c.]; None where nobody gave one."""
    rows = [r for r in model.rows("run.setting") if r["name"] == "static_target_inwc"]
    if rows:
        return number(max(rows, key=lambda r: number(r["start_ts"]) or 0)["value"])
    found = [number(r["target_inwc"]) for r in model.rows("interval.static_above_target")]
    return found[-1] if found else None


def _sentence(model: Model) -> Markup:
    rows = model.rows("measure.static_total")
    if not rows:
        return Markup()
    r = rows[0]
    fan = number(r["fan_outside_visit_s"]) or 0
    above = number(r["above_target_outside_visit_s"])
    basis = model.show.basis(r["coverage"], r["resolution_s"])
    goal = target(model)
    short = model.fineness.get("measure.static_total")
    if short is not None and short.result == NOT_GIVEN:
        said = f"Time over target is not given: static was {short.why}."
    elif above is None:
        said = "No target was given, so nothing is called too high."
    else:
        aim = f" ({model.show.value('pressure', goal)})" if goal is not None else ""
        time = model.held("measure.static_total", model.show.duration(above))
        said = (
            f"Over target{aim} for {time} of {model.show.hours(fan)} with the blower on "
            f"({model.show.share(above / fan if fan else None)}), in "
            f"{plural(number(r['n_excursion']) or 0, 'stretch', 'stretches')} of a minute or more."
        )
    return fill(
        "<p class=lead>{{ said }} The highest reading was {{ top }}{{ relief }}.</p>"
        "<p class=basis>Visits left out; {{ basis }}. {{ clock }}</p>",
        clock=clock_note(model.result, "static_pressure"),
        said=said,
        top=model.show.value("pressure", r["max_inwc"]),
        relief=_relief(model, r["n_relief"]),
        basis=f"{basis}{_blower(model, r.get('fan_source'))}",
    )


def _blower(model: Model, source: object) -> str:
    """What says that the blower ran, where that was not logged of it; '' else."""
    name = FAN_SOURCES.get(text(source))
    if name is None:
        return ""
    error = fan_error(text(source))
    about = f", its time about ±{model.show.share(error.time_frac)}" if error else ""
    return f"; when the blower ran is inferred from {name}{about}"


def _relief(model: Model, n: object) -> str:
    """How often relief opened; nothing can be said of it where no damper was logged."""
    if not any(r["role"] == "zone_damper" for r in model.rows("channel.channel")):
        return "; whether relief opened cannot be told, no damper was logged"
    return f"; {plural(number(n) or 0, 'relief opening')} seen"


def _spread(model: Model, row: dict[str, object], top: float, goal: float | None) -> Cell:
    p50, p95 = number(row["p50_inwc"]), number(row["p95_inwc"])
    high = number(row["max_inwc"])
    if p50 is None or p95 is None:
        return Cell("dampers never settled")
    words = f"{model.show.bare('pressure', p50)} – {model.show.bare('pressure', p95)}"
    if top <= 0 or high is None:
        return Cell(words)
    line = min(goal / top, 1.0) if goal is not None else None
    clip = [max(0.0, min(1.0, v / top)) for v in (p50, p95)]
    return Cell(words, spread=(clip[0], clip[0], clip[1], line), hue="static")


def _head(model: Model) -> tuple[Column, ...]:
    unit = model.show.unit("pressure").label
    return (
        Column("Fan time", "number"),
        Column(f"Half – 95 % of the time under, {unit}", "number"),
        Column(f"Highest, {unit}", "number"),
        Column("Over target", "number"),
    )


def _cells(
    model: Model, row: dict[str, object], top: float, goal: float | None
) -> tuple[Cell | str, ...]:
    fan, above = number(row["fan_s"]) or 0, number(row["above_target_s"])
    over: Cell | str = NONE
    if above is not None:
        share = above / fan if fan else 0.0
        over = Cell(f"{model.show.share(share)} · {model.show.duration(above)}", share, "limit")
    return (
        model.show.hours(fan),
        _spread(model, row, top, goal),
        model.show.bare("pressure", row["max_inwc"]),
        over,
    )


def _by_count(model: Model, rows: list[dict[str, object]]) -> Markup:
    """Heating and cooling by stage and number of zones calling.

    Percentiles of several combinations cannot be joined; only times and the highest are.
    """
    sums: dict[tuple[str, float, float], dict[str, float]] = defaultdict(lambda: defaultdict(float))
    known_target = any(number(r["above_target_s"]) is not None for r in rows)
    for r in rows:
        n = number(r["n_zones"])
        if text(r["class"]) not in ("heating", "cooling") or n is None:
            continue
        s = sums[(text(r["class"]), number(r["stage"]) or 0, n)]
        s["fan"] += number(r["fan_s"]) or 0
        s["above"] += number(r["above_target_s"]) or 0
        s["weighted"] += (number(r["mean_inwc"]) or 0) * (number(r["settled_s"]) or 0)
        s["settled"] += number(r["settled_s"]) or 0
        s["max"] = max(s["max"], number(r["max_inwc"]) or 0)
    if not sums:
        return Markup()
    unit = model.show.unit("pressure").label
    top = max(s["max"] for s in sums.values()) or 1
    goal = target(model)
    body = []
    for (what, stage, n), s in sorted(sums.items()):
        mean = s["weighted"] / s["settled"] if s["settled"] else None
        share = s["above"] / s["fan"] if s["fan"] else 0.0
        line = goal / top if goal is not None and goal <= top else None
        body.append(
            (
                f"{CLASS_WORDS[what]}, {'second' if stage >= 2 else 'first'} stage",
                plural(n, "zone"),
                model.show.hours(s["fan"]),
                Cell(
                    " · ".join(model.show.bare("pressure", v) for v in (mean, s["max"])),
                    spread=(mean / top, mean / top, s["max"] / top, line) if mean else None,
                    hue="static",
                ),
                Cell(
                    f"{model.show.share(share)} · {model.show.duration(s['above'])}", share, "limit"
                )
                if known_target
                else NONE,
            )
        )
    aim = "; the dashed line is the target" if goal is not None else ""
    return table_html(
        Table(
            "By stage and number of zones calling",
            (
                Column("Running"),
                Column("Calling"),
                Column("Fan time", "number"),
                Column(f"Mean · highest, {unit}", "number"),
                Column("Over target", "number"),
            ),
            tuple(body),
            note=f"Bar from the mean to the highest{aim}. Means with dampers at rest; times with "
            "dampers at rest or moving.",
        )
    )


def _by_combination(model: Model, rows: list[dict[str, object]]) -> Markup:
    top = max((number(r["max_inwc"]) or 0 for r in rows), default=0)
    goal = target(model)
    ordered = sorted(
        rows,
        key=lambda r: (
            list(CLASS_WORDS).index(text(r["class"])) if text(r["class"]) in CLASS_WORDS else 9,
            number(r["stage"]) or 0,
            number(r["n_zones"]) or 0,
            text(r["zones"]),
        ),
    )
    body = []
    for r in ordered:
        stage = number(r["stage"]) or 0
        running = CLASS_WORDS.get(text(r["class"]), text(r["class"]))
        running += f", {'second' if stage >= 2 else 'first'} stage" if stage else ""
        body.append((running, model.zones(r["zones"]), *_cells(model, r, top, goal)))
    aim = "; dashed: target" if goal is not None else ""
    return table_html(
        Table(
            "By calling combination",
            (Column("Running"), Column("Calling", "wide"), *_head(model)),
            tuple(body),
            note=f"Bar from the value half of the time is under to the one 95 % is under{aim}. "
            "Dampers at rest.",
            fold_after=12,
        )
    )


def _days(model: Model) -> Markup:
    rows = model.rows("measure.static_day")
    if not rows:
        return Markup()
    unit = model.show.unit("pressure").label
    known = [number(r["above_target_s"]) for r in rows]
    most = max((v for v in known if v is not None), default=0) or 1
    body = []
    for r, above in zip(rows, known, strict=True):
        day = r["day"]
        body.append(
            (
                day_text(day) if hasattr(day, "weekday") else str(day),
                model.show.hours(r["fan_s"]),
                NONE
                if above is None
                else Cell(
                    model.show.duration(above), bar=float(np.clip(above / most, 0, 1)), hue="limit"
                ),
                model.show.bare("pressure", r["max_inwc"]),
            )
        )
    return table_html(
        Table(
            "By local day, visits left out",
            (
                Column("Day"),
                Column("Fan time", "number"),
                Column("Over target", "number"),
                Column(f"Highest, {unit}", "number"),
            ),
            tuple(body),
            fold_after=DAYS_LISTED,
        )
    )
