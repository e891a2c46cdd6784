"""Runtime: per output, the exclusive split by stage, by outdoor temperature, and day by day."""

from __future__ import annotations

from markupsafe import Markup

from pipeline import words
from pipeline.channels import OUTPUT_ROLES
from pipeline.sampling import NOT_GIVEN
from reports.block import Block, Model, absent
from reports.display import NONE, day_text, number, plural, text
from reports.table import DAYS_LISTED, Cell, Column, Table, table_html

SOURCE_WORDS = {
    kind: words.source(kind).removeprefix("the ")
    for kind in ("burner", "strip", "compressor", "both", "heat")
}
STAGE_WORDS = {
    "first": "first stage",
    "second": "second stage",
    "aux": "auxiliary",
    "any": "stages not told apart",
}
INFERRED_NAMES = {
    "inferred_heat": "Heat ran",
    "inferred_cool": "Cooling ran",
    "inferred_fan": "Blower ran",
}


def render(model: Model) -> Block:
    """Four tables with bars; each number with its coverage and resolution."""
    parts = [
        _outputs(model), _inferred(model), _stages(model), _by_outdoor(model), _by_day(model),
    ]  # fmt: skip
    return Block("runtime", "Runtime per stage", Markup("").join(parts), nav="Runtime")


def _order(row: dict[str, object]) -> int:
    output = text(row["output"])
    return OUTPUT_ROLES.index(output) if output in OUTPUT_ROLES else len(OUTPUT_ROLES)


def _outputs(model: Model) -> Markup:
    rows = [r for r in model.rows("measure.runtime") if r.get("is_inferred") is not True]
    rows.sort(key=_order)
    if not rows:
        return absent("No runtime of outputs", "no output was logged")
    most = max((number(r["on_s"]) or 0 for r in rows), default=0) or 1
    table = Table(
        "What the panel put out, visits included",
        (
            Column("Output"),
            Column("On", "number"),
            Column("± from sampling", "number"),
            Column("Starts", "number"),
            Column("Runs with an end not seen", "number"),
            Column("Short breaks bridged", "number"),
            Column("Logged", "number"),
            Column("To the nearest", "number"),
        ),
        tuple(
            (
                model.role(r["output"]),
                _time(model, "measure.runtime", r["on_s"], (number(r["on_s"]) or 0) / most),
                model.show.duration(r["plus_minus_s"]),
                model.held("measure.runtime", model.show.count(r["n_start"])),
                model.held("measure.runtime", model.show.count(r["n_open_run"])),
                model.show.count(r["n_chatter"]),
                coverage_cell(model, r["coverage"]),
                model.show.duration(r["resolution_s"]),
            )
            for r in rows
        ),
        note="W, Y and G are what the panel asks for; a furnace, compressor or blower that ran is "
        "shown only where it was logged itself.",
    )
    return table_html(table)


def _inferred(model: Model) -> Markup:
    """Runs of the equipment that were read off supply and return temperature, with their error."""
    rows = [r for r in model.rows("measure.runtime") if r.get("is_inferred") is True]
    if not rows:
        return Markup()
    asked = [r for r in rows if number(r["asked_s"]) is not None]
    note = (
        "Read off how supply air moves when the equipment starts and stops, not off its level: "
        "with the fan off the probe shows the attic or the soak. The errors were measured on "
        "simulated systems whose outputs were logged and hidden. Strip heat beside a compressor, "
        "limits and what the panel asked for cannot be told this way; second stage only where "
        "supply stands at two levels clear of one another. Heat is the time warm air came from "
        "flame or compressor, not the time it was asked for."
    )
    if any(r["source"] == "heat" for r in model.rows("measure.stage_time")):
        note += (
            " Which fuel made it cannot be told from supply air alone, and where a furnace makes "
            "most of it, much of a compressor's heat may be missed."
        )
    if asked:
        note += (
            f" W was on for about {model.show.duration(asked[0]['asked_s'])}: the burner's time "
            "with a usual ignition before each run."
        )
    table = Table(
        "What ran, inferred from supply and return temperature, visits included",
        (
            Column("What"),
            Column("Time", "number"),
            Column("Expected error", "number"),
            Column("Starts", "number"),
            Column("Expected error", "number"),
            Column("Known", "number"),
            Column("To the nearest", "number"),
        ),
        tuple(
            (
                run_name(model, r["output"]),
                model.show.duration(r["on_s"]),
                error_words(model, r["runtime_error_frac"]),
                model.show.count(r["n_start"]),
                error_words(model, r["starts_error_frac"]),
                coverage_cell(model, r["coverage"]),
                model.show.duration(r["resolution_s"]),
            )
            for r in rows
        )
        + tuple(_second(model, r) for r in model.rows("run_state.inferred_stage")),
        note=note,
    )
    return table_html(table)


def _time(model: Model, measure: str, seconds: object, bar: float | None = None) -> Cell:
    """A time of the measure as far as the log is fine enough for it; no bar where it is not."""
    said = model.held(measure, model.show.duration(seconds))
    return Cell(said, bar=None if said == NOT_GIVEN else bar)


def _second(model: Model, row: dict[str, object]) -> tuple[str, ...]:
    """Second stage of one source, by the levels of supply over return."""
    error = number(row["second_error_frac"])
    source = SOURCE_WORDS.get(text(row["source"]), text(row["source"]))
    seconds, of_s = number(row["second_s"]), number(row["run_s"])
    off_s = None if error is None or of_s is None else error * of_s
    # a figure that may be wrong by as much as itself says nothing
    is_told = seconds is not None and off_s is not None and off_s < seconds
    return (
        f"Second stage of the {source}, {text(row['mode'])} (inferred)",
        model.show.duration(seconds) if is_told else "cannot tell",
        f"give or take {model.show.duration(off_s)}" if is_told else NONE,
        *(NONE,) * 4,
    )


def run_name(model: Model, role: object) -> str:
    """An output, or an inferred run: 'W1 out', 'Heat ran (inferred)'."""
    name = INFERRED_NAMES.get(text(role))
    return f"{name} (inferred)" if name else model.role(role)


def error_words(model: Model, share: object) -> str:
    """'about ±3 %'; 'not known' where it was never measured."""
    return "not known" if number(share) is None else f"about ±{model.show.share(share)}"


def coverage_cell(model: Model, coverage: object) -> Cell:
    """The share logged; under the warning share it is marked in words."""
    c = number(coverage)
    low = model.result.thresholds.get("coverage_warn_frac", 0.9)
    if c is not None and c < low:
        return Cell(f"{model.show.share(c)} only", word="thin")
    return Cell(model.show.share(c))


def _stages(model: Model) -> Markup:
    rows = sorted(model.rows("measure.stage_time"), key=lambda r: text(r["mode"]) != "heating")
    if not rows:
        return absent("No split by stage", "outputs do not tell what heated or cooled")
    totals: dict[object, float] = {}
    for r in rows:
        totals[r["mode"]] = totals.get(r["mode"], 0.0) + (number(r["s"]) or 0)
    visit = _only_in_visits(model)
    table = Table(
        "What heated and cooled, in which stage, visits included",
        (
            Column("Mode"),
            Column("Source"),
            Column("Stage"),
            Column("Time", "number"),
            Column("± at most", "number"),
            Column("Share of the mode", "number"),
            Column("Known", "number"),
            Column("To the nearest", "number"),
        ),
        tuple(
            (
                text(r["mode"]).capitalize()
                + (" (in a visit)" if r["mode"] in visit else "")
                + (", inferred" if r.get("is_inferred") is True else ""),
                SOURCE_WORDS.get(text(r["source"]), text(r["source"]) or NONE),
                STAGE_WORDS.get(text(r["stage"]), text(r["stage"]) or NONE),
                _time(model, "measure.stage_time", r["s"]),
                # sampling bounds what was logged; what was inferred is off by more
                "as inferred above"
                if r.get("is_inferred") is True
                else model.show.duration(r["plus_minus_s"]),
                _share(model, r, totals),
                coverage_cell(model, r["coverage"]),
                model.show.duration(r["resolution_s"]),
            )
            for r in rows
        ),
    )
    return table_html(table)


def _only_in_visits(model: Model) -> set[str]:
    """Modes whose every run touches a service visit."""
    outside: set[str] = set()
    inside: set[str] = set()
    for run in model.rows("interval.source_run"):
        (inside if run["in_visit"] is True else outside).add(text(run["mode"]))
    return inside - outside


def _share(model: Model, row: dict[str, object], totals: dict[object, float]) -> Cell:
    total = totals[row["mode"]]
    share = (number(row["s"]) or 0) / total if total else None
    hue = "cool" if row["mode"] == "cooling" else "on"
    return Cell(model.show.share(share), bar=share, hue=hue)


def _by_outdoor(model: Model) -> Markup:
    """Each output's time in every range of outdoor air, as hours and as a share of that range."""
    rows = [
        r
        for r in model.rows("measure.runtime_split")
        if r["split"] == "outdoor" and text(r["what"]) in OUTPUT_ROLES
    ]
    outputs = sorted({text(r["what"]) for r in rows}, key=OUTPUT_ROLES.index)
    if not outputs:
        return absent(
            "No runtime by outdoor temperature", "outdoor air or the outputs were not logged"
        )
    places = 0 if model.show.system == "us" else 1  # the ranges are whole in °F
    width_f = model.result.thresholds["outdoor_bin_f"]
    by = {(number(r["low_f"]) or 0.0, text(r["what"])): r for r in rows}
    body = []
    for low_f in sorted({low_f for low_f, _ in by}):
        known_s = next(number(r["known_s"]) for (at_f, _), r in by.items() if at_f == low_f)
        cells: list[Cell | str] = [
            f"{model.show.bare('temperature', low_f, places)} to "
            f"{model.show.value('temperature', low_f + width_f, places)}".replace(" ", "\u00a0"),
            model.show.hours(known_s),
        ]
        for output in outputs:
            on_s = number(by[low_f, output]["on_s"]) if (low_f, output) in by else 0.0
            cells.append(_part_on(model, on_s or 0.0, known_s or 0.0))
        body.append(tuple(cells))
    basis = model.show.basis(rows[0]["coverage"], rows[0]["resolution_s"])
    return table_html(
        Table(
            "On time by outdoor temperature, visits included",
            (
                Column("Outdoor air"),
                Column("Hours of it", "number"),
                *(Column(run_name(model, o), "number") for o in outputs),
            ),
            tuple(body),
            note="Bars and per cent: how much of the hours at that outdoor temperature the output "
            f"was on. Outputs and outdoor air together {basis}.",
        )
    )


def _part_on(model: Model, on_s: float, of_s: float) -> Cell | str:
    """'5.1 h, 92 %' with its bar; a dash where it was never on."""
    if not on_s or not of_s:
        return NONE
    said = model.held("measure.runtime_split", model.show.hours(on_s))
    if said == NOT_GIVEN:
        return said
    return Cell(f"{said}, {model.show.share(on_s / of_s)}", bar=on_s / of_s)


def _by_day(model: Model) -> Markup:
    rows = model.rows("measure.runtime_day")
    if not rows:
        return Markup()
    outputs = sorted({text(r["output"]) for r in rows}, key=lambda o: _order({"output": o}))
    # the reversing valve's time says what the compressor did, not how long anything ran
    outputs = [o for o in outputs if o != "output_ob"]
    outputs = [o for o in outputs if any(number(r["on_s"]) for r in rows if r["output"] == o)]
    if not outputs:
        return absent("No runtime by day", "no output was ever on")
    most = {o: max(number(r["on_s"]) or 0 for r in rows if r["output"] == o) for o in outputs}
    by = {(_day(r["day"]), text(r["output"])): r for r in rows}
    labels = {_day(r["day"]): _day_label(r["day"]) for r in rows}
    body, thin = [], 0
    for day in sorted(labels):
        cells: list[Cell | str] = [labels[day]]
        for o in outputs:
            r = by.get((day, o))
            if r is None or not number(r["valid_s"]):
                cells.append("not recorded")
                continue
            share = (number(r["valid_s"]) or 0) / (number(r["day_s"]) or 1)
            short = share < model.result.thresholds.get("coverage_warn_frac", 0.9)
            thin += short
            said = model.held("measure.runtime_day", model.show.hours(r["on_s"]))
            if said == NOT_GIVEN:
                cells.append(said)
                continue
            said += f" in {model.show.share(share)}" if short else ""
            cells.append(Cell(said, bar=(number(r["on_s"]) or 0) / most[o]))
        body.append(tuple(cells))
    note = "Bars: each output against its own longest day."
    if any(o.startswith("inferred_") for o in outputs):
        note += " Inferred times may be off by the share that stands with their totals."
    if thin:
        note += f" “in 80 %”: so much of the day was recorded ({plural(thin, 'such cell')})."
    return table_html(
        Table(
            "On time by local day, visits included",
            (Column("Day"), *(Column(run_name(model, o), "number") for o in outputs)),
            tuple(body),
            note=note,
            fold_after=DAYS_LISTED,
        )
    )


def _day(value: object) -> str:
    return str(value)[:10]


def _day_label(value: object) -> str:
    return day_text(value) if hasattr(value, "weekday") else _day(value)
