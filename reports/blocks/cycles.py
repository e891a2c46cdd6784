"""Cycles: starts, short runs and rests, and the rate against the thermostat's curve."""

from __future__ import annotations

from collections import Counter

from markupsafe import Markup

from pipeline.sampling import AT_LEAST, NOT_GIVEN
from reports.block import Block, Model, absent
from reports.blocks.runtime import SOURCE_WORDS, coverage_cell
from reports.display import NONE, number, plural, text
from reports.drawing import figure_html
from reports.figure import Curve, PointFigure
from reports.markup import slug
from reports.table import Cell, Column, Table, table_html


def render(model: Model) -> Block:
    """A table per source and one drawing for each source that has a fitted rate."""
    title = "Starts and cycles"
    rows = model.rows("measure.cycle")
    if not rows:
        return Block(
            "cycles", title, absent("No cycles", "nothing started, or no output was logged")
        )
    figures = [f for r in rows if (f := _curve(model, r)) is not None]
    parts = [_table(model, rows), *(figure_html(f) for f in figures), _fits(model), _short(model)]
    return Block("cycles", title, Markup("").join(parts), tuple(figures), nav="Cycles")


def _name(row: dict[str, object]) -> str:
    source = SOURCE_WORDS.get(text(row["source"]), text(row["source"]))
    inferred = ", inferred" if row.get("is_inferred") is True else ""
    return f"{source}, {text(row['mode'])}{inferred}".capitalize()


def _table(model: Model, rows: list[dict[str, object]]) -> Markup:
    def held(said: str) -> str:
        return model.held("measure.cycle", said)

    def short(row: dict[str, object]) -> Cell:
        n = number(row["n_short_run"]) or 0
        closed = number(row["n_closed_run"]) or 0
        count = f"{round(n)} of {round(closed)}" if closed else f"{round(n)}"
        said = held(count)
        if said == count and row["is_at_least"]:
            said = f"{AT_LEAST} {count}"
        return Cell(said, bar=None if said == NOT_GIVEN else n / closed if closed else 0.0)

    table = Table(
        "Starts, short runs and short rests, visits left out",
        (
            Column("Source and mode"),
            Column("Starts", "number"),
            Column("Half of the runs are shorter than", "number"),
            Column("Short runs", "number"),
            Column("more, ended by a limit", "number"),
            Column("“Short” is under", "number"),
            Column("Short rests", "number"),
            Column("Known", "number"),
            Column("To the nearest", "number"),
        ),
        tuple(
            (
                _name(r),
                held(model.show.count(r["n_start"])),
                held(model.show.duration(r["median_run_s"])),
                short(r),
                held(model.show.count(r["n_short_run_by_limit"])),
                model.show.duration(r["short_run_limit_s"]),
                held(model.show.count(r["n_short_rest"]))
                if number(r["short_rest_limit_s"]) is not None
                else NONE,
                coverage_cell(model, r["coverage"]),
                model.show.duration(r["resolution_s"]),
            )
            for r in rows
        ),
    )
    return table_html(table)


def _curve(model: Model, cycle: dict[str, object]) -> PointFigure | None:
    """Starts in an hour against the share of the hour on, with the fitted and the set curve."""
    what, mode = text(cycle["source"]), text(cycle["mode"])
    seen = [
        h
        for h in model.rows("measure.cycle_hour")
        if h["what"] == what and h["mode"] == mode and number(h["runtime_frac"])
    ]
    hours = [(number(h["runtime_frac"]) or 0.0, number(h["n_start"]) or 0.0) for h in seen]
    if len(hours) < model.result.thresholds.get("cycle_fit_min_hours", 8):
        return None
    fit = next(
        (f for f in model.rows("measure.cycle_fit") if f["what"] == what and f["mode"] == mode),
        None,
    )
    nmax = number(fit["nmax_per_h"]) if fit else None
    given = number(fit["set_per_h"]) if fit else None
    counts = Counter((round(x, 2), y) for x, y in hours)
    curves = []
    xs = tuple(i / 40 for i in range(41))
    if nmax is not None:
        curves.append(
            _parabola(f"about {nmax:.1f} an hour at half load", "supply", "solid", nmax, xs)
        )
    if given is not None:
        curves.append(_parabola(f"as set, {given:g} an hour", "muted", "dash", given, xs))
    top = max([y for _, y in hours] + [nmax or 0, given or 0, 1])
    used = plural(number(fit["n_hour"]) or 0, "hour") if fit else "no hour"
    said = (
        f"{_name(cycle)}: cycles about {nmax:.1f} times an hour at half load, from {used} between "
        "20 % and 80 % on."
        if nmax is not None
        else f"{_name(cycle)}: too few hours between 20 % and 80 % on to give a rate ({used})."
    )
    return PointFigure(
        key=f"cycles-{slug(what)}-{slug(mode)}",
        title="Starts in an hour against the share of the hour on.",
        sentence=said,
        x_title="share of the hour on",
        y_title="Starts in the hour",
        x_range=(0.0, 1.0),
        y_range=(0.0, top * 1.08),
        points=tuple(counts),
        counts=tuple(counts.values()),
        curves=tuple(curves),
        notes=(
            "Each dot is a clock hour seen throughout in which it ran, larger where several fall "
            "together. One thermostat alone follows 4 × rate × on × (1 − on).",
        ),
        table=Table(
            f"Every hour of it: {_name(cycle)}",
            (Column("Hour from"), Column("On", "number"), Column("Starts", "number")),
            tuple(
                (
                    model.clock.moment(h["hour_ts"]),
                    model.show.share(h["runtime_frac"]),
                    model.show.count(h["n_start"]),
                )
                for h in sorted(seen, key=lambda h: number(h["hour_ts"]) or 0)
            ),
            folded=True,
        ),
    )


def _parabola(name: str, hue: str, dash: str, rate: float, xs: tuple[float, ...]) -> Curve:
    return Curve(name, hue, dash, xs, tuple(4 * rate * x * (1 - x) for x in xs))


def _fits(model: Model) -> Markup:
    rows = [r for r in model.rows("measure.cycle_fit") if number(r["nmax_per_h"]) is not None]
    if not rows:
        return Markup()
    most = max(number(r["nmax_per_h"]) or 0 for r in rows) or 1
    return table_html(
        Table(
            "Cycle rate of every caller, fitted over hours between 20 % and 80 % on",
            (
                Column("What"),
                Column("Mode"),
                Column("An hour at half load", "number"),
                Column("As set", "number"),
                Column("Hours in the fit", "number"),
            ),
            tuple(
                (
                    _what(model, text(r["what"])),
                    text(r["mode"]),
                    Cell(
                        f"about {number(r['nmax_per_h']):.1f}",
                        bar=(number(r["nmax_per_h"]) or 0) / most,
                    ),
                    "not given"
                    if number(r["set_per_h"]) is None
                    else f"{number(r['set_per_h']):g}",
                    model.show.count(r["n_hour"]),
                )
                for r in rows
            ),
        )
    )


def _what(model: Model, what: str) -> str:
    if what.startswith("zone "):
        return f"{model.zone(what.removeprefix('zone '))} call"
    return SOURCE_WORDS.get(what, what).capitalize()


def _short(model: Model) -> Markup:
    rows = sorted(model.rows("measure.short_cycle"), key=lambda r: number(r["start_ts"]) or 0)
    if not rows:
        return Markup()
    return table_html(
        Table(
            "Every short run and short rest, visits left out",
            (
                Column("From"),
                Column("What"),
                Column("Length", "number"),
                Column("Calling", "wide"),
                Column("Belongs to", "wide"),
            ),
            tuple(
                (
                    model.clock.moment(r["start_ts"], seconds=True),
                    f"{SOURCE_WORDS.get(text(r['source']), text(r['source']))} {text(r['what'])}",
                    model.show.duration(r["length_s"]),
                    model.zones(r["zones"]),
                    "a limit ended it"
                    if r["by_limit"]
                    else "within 15 min of a trip"
                    if r["after_trip"]
                    else NONE,
                )
                for r in rows
            ),
            fold_after=8,
        )
    )
