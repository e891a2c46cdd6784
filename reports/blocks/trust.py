"""Data quality: where every row went, what was rejected, what each channel covers, the clocks."""

from __future__ import annotations

from collections import Counter

from markupsafe import Markup

from pipeline.sampling import CERTAIN
from pipeline.units import MICROSECONDS
from reports.block import Block, Model, absent
from reports.display import NONE, number, plural, text
from reports.markup import fill
from reports.table import Cell, Column, Table, table_html

SHOWN_REJECTS = 200
KIND_WORDS = {
    "sampled": "at an interval",
    "change_of_state": "on change",
    "long": "long list",
}
ZONE_SOURCE = {
    "file": "named in the file",
    "site_file": "given in the site file",
    "rows": "seen in its rows: it ran on through a change of the clocks",
    "assumed": "not named anywhere: the site's own taken",
}


def render(model: Model) -> Block:
    """Files, rejects, channels, gaps and clocks; every row of every file is accounted for."""
    parts = [
        _lead(model),
        _files(model),
        _rejects(model),
        _channels(model),
        _gaps(model),
        _clocks(model),
        _conflicts(model),
        _too_coarse(model),
    ]
    return Block("data", "Data quality", Markup("").join(parts), nav="Data")


def _too_coarse(model: Model) -> Markup:
    """Measures whose channels were read more seldom than their figures need."""
    short = [s for s in model.fineness.values() if s.result != CERTAIN]
    if not short:
        return Markup()
    table = Table(
        "Figures for which this log is too coarse",
        (
            Column("Measure"),
            Column("Read every", "number"),
            Column("Every … would do", "number"),
            Column("So it is"),
        ),
        tuple(
            (
                s.measure.removeprefix("measure.").replace("_", " "),
                model.show.duration(s.interval_s),
                model.show.duration(s.enough_s),
                s.result,
            )
            for s in sorted(short, key=lambda s: (-s.interval_s / s.enough_s, s.measure))
        ),
        note="At least: what is shorter than two readings apart may be missed. Not given: too "
        "much would be.",
        fold_after=8,
    )
    return table_html(table)


def _lead(model: Model) -> Markup:
    rows = model.rows("store.file")
    if not rows:
        return absent("No file was loaded", "the store holds none")
    total = {
        k: round(sum(number(r[k]) or 0 for r in rows))
        for k in ("n_read", "n_loaded", "n_rejected", "n_repeated", "n_bad_cells")
    }
    fits = total["n_read"] == total["n_loaded"] + total["n_rejected"] + total["n_repeated"]
    return fill(
        "<p class=lead>{{ read }} rows read = {{ loaded }} loaded + {{ rejected }} rejected + "
        "{{ repeated }} repeated{% if not fits %} (this does not add up: a fault of ours, please "
        "report it){% endif %}. {{ bad }} of loaded rows gave no reading.</p>",
        read=f"{total['n_read']:,}",
        loaded=f"{total['n_loaded']:,}",
        rejected=f"{total['n_rejected']:,}",
        repeated=f"{total['n_repeated']:,}",
        bad=plural(total["n_bad_cells"], "single cell"),
        fits=fits,
    )


def _files(model: Model) -> Markup:
    rows = model.rows("store.file")
    if not rows:
        return Markup()
    counts = (
        ("Rows read", "n_read"),
        ("= loaded", "n_loaded"),
        ("+ rejected", "n_rejected"),
        ("+ repeated", "n_repeated"),
        ("Cells without a reading", "n_bad_cells"),
    )
    rows_went = Table(
        "Files: where every row went",
        (Column("File", "wide"), *(Column(title, "number") for title, _ in counts)),
        tuple((_path(r), *(model.show.count(r[key]) for _, key in counts)) for r in rows),
    )
    read_as = Table(
        "Files: how each was read",
        (
            Column("File", "wide"),
            Column("Logged"),
            Column("From"),
            Column("To"),
            Column("Read as", "wide"),
        ),
        tuple(
            (
                _path(r),
                KIND_WORDS.get(text(r["kind"]), text(r["kind"])),
                model.clock.moment(r["first_ts"]),
                model.clock.moment(r["last_ts"]),
                _read_as(r),
            )
            for r in rows
        ),
        note="From and to are on each logger’s own clock.",
    )
    return table_html(rows_went) + table_html(read_as)


def _path(row: dict[str, object]) -> str:
    gone = "" if row["is_present"] in (True, None) else " (no longer in exports/)"
    return text(row["path"]) + gone


def _read_as(row: dict[str, object]) -> str:
    source = ZONE_SOURCE[text(row["timezone_source"])]
    said = (
        f"{text(row['encoding'])}, parted by “{_delimiter(text(row['delimiter']))}”, decimals "
        f"“{text(row['decimal_sign'])}”, clock {text(row['timezone'])} ({source})"
    )
    unused = text(row.get("unused_columns")).replace("\n", ", ")
    notes = text(row.get("notes")).replace("\n", " ")
    said += f"; columns not used: {unused}" if unused else ""
    return said + (f"; {notes}" if notes else "")


def _delimiter(sign: str) -> str:
    return {"\t": "tab", " ": "space"}.get(sign, sign)


def _rejects(model: Model) -> Markup:
    rows = model.rows("store.reject")
    if not rows:
        return fill("<p>No row and no cell was rejected.</p>")
    files = {number(r["file_id"]): text(r["path"]) for r in model.rows("store.file")}
    why = Counter(text(r["reason"]) for r in rows)
    reasons = "; ".join(f"{reason} ({n:,})" for reason, n in why.most_common(8))
    body = tuple(
        (
            files.get(number(r["file_id"]), f"file {text(r['file_id'])}"),
            model.show.count(r["line"]),
            text(r["column_name"]) or "whole row",
            text(r["text"])[:80],
            text(r["reason"]),
        )
        for r in rows[:SHOWN_REJECTS]
    )
    note = f"Reasons: {reasons}."
    if len(rows) > SHOWN_REJECTS:
        note += f" The first {SHOWN_REJECTS} of {len(rows):,} are listed."
    return table_html(
        Table(
            "Rejected rows and cells",
            (
                Column("File", "wide"),
                Column("Line", "number"),
                Column("Column"),
                Column("What stands there", "wide"),
                Column("Why it is no reading", "wide"),
            ),
            body,
            note=note,
            fold_after=6,
        )
    )


def _channels(model: Model) -> Markup:
    rows = model.rows("channel.channel")
    if not rows:
        return absent("No channels", "no column carries a role")
    covered = {
        number(r["channel_id"]): number(r["coverage"]) for r in model.rows("signal.coverage")
    }
    gaps = Counter(number(g["channel_id"]) for g in model.gaps() if g["position"] == "inside")
    warn = model.result.thresholds.get("coverage_warn_frac", 0.9)
    body = []
    for r in rows:
        channel = number(r["channel_id"])
        c = covered.get(channel)
        words = "reference only" if not r["is_primary"] else model.show.share(c, 1)
        if c is not None and c < warn:
            words += " only"
        interval = model.show.duration(r["interval_s"])
        body.append(
            (
                model.role(r["role"], r["zone"]),
                text(r["column_name"]),
                text(r["logger"]),
                f"every {interval}" if r["is_sampled"] else f"on change, to the nearest {interval}",
                Cell(words, bar=c, hue="on" if c is None or c >= warn else "limit"),
                str(gaps[channel]) if gaps[channel] else "none",
            )
        )
    return table_html(
        Table(
            "Channels and how much of the time each covers",
            (
                Column("Channel"),
                Column("Column in the file", "wide"),
                Column("Logger"),
                Column("Resolution"),
                Column("Covered", "number"),
                Column("Gaps inside", "number"),
            ),
            tuple(body),
        )
    )


def _gaps(model: Model) -> Markup:
    rows = [g for g in model.gaps() if g["position"] == "inside"]
    edges = [g for g in model.gaps() if g["position"] != "inside"]
    if not rows and not edges:
        return fill("<p>No gap in any channel.</p>")
    named: dict[tuple[object, object, str], list[str]] = {}
    for g in [*rows, *edges]:
        key = (g["start_ts"], g["end_ts"], text(g["reason"]))
        named.setdefault(key, []).append(model.role(g["role"], g["zone"]))
    body = []
    for (start, end, reason), roles in sorted(named.items(), key=lambda k: number(k[0][0]) or 0):
        a, b = round(number(start) or 0), round(number(end) or 0)
        shown = ", ".join(roles[:4]) + (f" and {len(roles) - 4} more" if len(roles) > 4 else "")
        body.append(
            (
                model.clock.moment(a, seconds=True),
                model.clock.moment(b, seconds=True),
                model.show.duration((b - a) / MICROSECONDS),
                shown,
                reason,
            )
        )
    return table_html(
        Table(
            "Gaps: stretches in which a channel has no reading that holds",
            (
                Column("From"),
                Column("To"),
                Column("Length", "number"),
                Column("Channels", "wide"),
                Column("Why", "wide"),
            ),
            tuple(body),
            fold_after=10,
        )
    )


def _clocks(model: Model) -> Markup:
    rows = model.rows("trust.clock_offset")
    if not rows:
        return absent("Loggers’ clocks were not compared", "there is nothing to compare them by")
    body = []
    for r in rows:
        offset, plus_minus = number(r["offset_s"]), number(r["plus_minus_s"])
        if text(r["confidence"]) == "reference":
            words = "the reference"
        elif offset is None:
            words = "cannot tell"
        else:
            side = "ahead" if offset > 0 else "behind"
            words = f"{model.show.duration(abs(offset))} {side}" if offset else "together"
            words += f" ± {model.show.duration(plus_minus)}" if plus_minus is not None else ""
        applied = number(r["applied_s"]) or 0
        body.append(
            (
                text(r["logger"]),
                words,
                text(r["reference_logger"]) or NONE,
                text(r["confidence"]),
                model.show.duration(applied) + " taken out" if applied else "nothing taken out",
                text(r["why"]),
            )
        )
    return table_html(
        Table(
            "Loggers’ clocks",
            (
                Column("Logger"),
                Column("Against the reference"),
                Column("Reference"),
                Column("How sure"),
                Column("In this report"),
                Column("Why", "wide"),
            ),
            tuple(body),
        )
    )


def _conflicts(model: Model) -> Markup:
    n = len(model.rows("store.conflict"))
    if not n:
        return Markup()
    return fill(
        "<p><b>{{ n }}</b> for one channel and instant; neither value is used.</p>",
        n=plural(n, "pair of different values", "pairs of different values"),
    )
