"""Zones: how many call at once, and each zone's calls."""

from __future__ import annotations

from collections import defaultdict

from markupsafe import Markup

from pipeline.expected_error import damper_call_error
from pipeline.units import MICROSECONDS
from reports.block import Block, Model, absent
from reports.blocks.runtime import coverage_cell, error_words
from reports.display import number, plural, text
from reports.markup import fill
from reports.table import Cell, Column, Table, table_html


def render(model: Model) -> Block:
    """Two tables with bars, or a sentence where calls were not logged."""
    parts = [_at_once(model), _calls(model), _by_damper(model)]
    return Block("zones", "Zones’ calls", Markup("").join(parts), nav="Zones")


def _at_once(model: Model) -> Markup:
    rows = model.rows("measure.zones_calling")
    if not rows:
        return absent("How many zones call at once is not known", "no calls were logged")
    by: dict[tuple[str, int], list[tuple[float, str]]] = defaultdict(list)
    totals: dict[str, float] = defaultdict(float)
    for r in rows:
        s = number(r["s"]) or 0
        mode = text(r["mode"])
        by[(mode, int(number(r["n_zones"]) or 0))].append((s, text(r["zones"])))
        totals[mode] += s
    body, alone = [], {}
    for (mode, n), combos in sorted(by.items(), key=lambda k: (k[0][0] != "heating", k[0][1])):
        s = sum(c[0] for c in combos)
        share = s / totals[mode] if totals[mode] else 0.0
        if n == 1:
            alone[mode] = share
        often = sorted(combos, reverse=True)[:3]
        body.append(
            (
                mode.capitalize(),
                plural(n, "zone"),
                Cell(
                    f"{model.show.share(share)} · {model.show.duration(s)}",
                    bar=share,
                    hue="cool" if mode == "cooling" else "on",
                ),
                "; ".join(f"{model.zones(z)} {model.show.duration(t)}" for t, z in often),
            )
        )
    said = "; ".join(
        f"while anything calls for {mode}, one zone calls alone "
        f"{model.show.share(share)} of the time"
        for mode, share in alone.items()
    )
    lead = fill(
        "<p class=lead>{{ said }}.</p><p class=basis>Visits left out; calls {{ basis }}.</p>",
        said=said[:1].upper() + said[1:] if said else "No zone ever called alone",
        basis=model.basis("calls"),
    )
    return lead + table_html(
        Table(
            "How many zones call at once",
            (
                Column("Mode"),
                Column("Calling at once"),
                Column("Share of the time anything calls", "number"),
                Column("Most often", "wide"),
            ),
            tuple(body),
        )
    )


def _calls(model: Model) -> Markup:
    rows = model.rows("measure.zone_call")
    if not rows:
        return absent("No calls by zone", "no calls were logged")
    most = max(number(r["calling_s"]) or 0 for r in rows) or 1
    relief = {int(number(r["zone"]) or 0) for r in model.rows("run.zone") if r["is_relief"] is True}
    body = []
    for r in rows:
        name = model.zone(r["zone"])
        if int(number(r["zone"]) or 0) in relief:
            name += " (may relieve static)"
        body.append(
            (
                name,
                text(r["mode"]),
                Cell(
                    model.held("measure.zone_call", model.show.duration(r["calling_s"])),
                    bar=(number(r["calling_s"]) or 0) / most,
                    hue="cool" if r["mode"] == "cooling" else "on",
                ),
                model.held("measure.zone_call", model.show.count(r["n_call"])),
                model.show.duration(r["median_call_s"]),
                coverage_cell(model, r["coverage"]),
                model.show.duration(r["resolution_s"]),
            )
        )
    return table_html(
        Table(
            "Each zone’s calls, visits included",
            (
                Column("Zone"),
                Column("Mode"),
                Column("Calling", "number"),
                Column("Calls", "number"),
                Column("Half are shorter than", "number"),
                Column("Logged", "number"),
                Column("To the nearest", "number"),
            ),
            tuple(body),
        )
    )


def _by_damper(model: Model) -> Markup:
    """Calls that were not logged, read off dampers, with their expected error."""
    by: dict[tuple[int, str], list[float]] = defaultdict(list)
    for r in model.rows("run_state.damper_call"):
        seconds = ((number(r["end_ts"]) or 0) - (number(r["start_ts"]) or 0)) / MICROSECONDS
        by[(int(number(r["zone"]) or 0), text(r["mode"]))].append(seconds)
    if not by:
        return Markup()
    return table_html(
        Table(
            "Calls inferred from dampers, visits included",
            (
                Column("Zone"),
                Column("Mode"),
                Column("Calling", "number"),
                Column("Expected error", "number"),
                Column("Calls", "number"),
                Column("Expected error", "number"),
            ),
            tuple(
                (
                    f"{model.zone(zone)} (inferred)",
                    mode,
                    model.show.duration(sum(lengths)),
                    error_words(model, damper_call_error(mode).time_frac),
                    model.show.count(len(lengths)),
                    error_words(model, damper_call_error(mode).starts_frac),
                )
                for (zone, mode), lengths in sorted(by.items())
            ),
            note="No call was logged: the damper stood open while something heated or cooled. "
            "Only of zones that are not used for relief; no audit of stages or limits rests on it.",
        )
    )
