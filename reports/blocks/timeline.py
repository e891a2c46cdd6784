"""The whole log in one picture: lowest and highest of every stretch, runs, calls, trips."""

from __future__ import annotations

from pipeline import words
from pipeline.channels import OUTPUT_ROLES
from reports.block import Block, Model, absent
from reports.display import number, plural, text
from reports.drawing import figure_html
from reports.evidence import clock_note, reading_panels, track_hue
from reports.figure import Band, TimeFigure, Track
from reports.svg import LEVELS

Spans = list[tuple[int, int]]


def render(model: Model) -> Block:
    """All analog channels and all runs of the window over one axis."""
    figure = whole_log(model)
    title = "The whole log"
    if figure.is_empty:
        return Block("timeline", title, absent("No picture of the whole log", "nothing was logged"))
    return Block("timeline", title, figure_html(figure), (figure,), nav="Whole log")


def whole_log(model: Model) -> TimeFigure:
    """The figure: no peak is lost, because each bucket keeps its lowest and highest reading."""
    window = model.window
    panels, _ = reading_panels(model, model.log, window, calling=set())
    notes: tuple[str, ...] = ()
    if panels:
        notes = ("Hatched: not recorded; every gap is listed under Data quality.",)
    trips = model.rows("interval.trip")
    tracks = tuple(_outputs(model) + _calls(model) + _trips(trips))
    when = model.clock.span(window.start_ts, window.end_ts)
    said = [plural(sum(len(p.lines) for p in panels), "channel")] if panels else []
    said += [plural(len(tracks), "row") + " of runs, calls and trips"] if tracks else []
    if trips:
        trip_words = plural(len(trips), "limit trip")
    elif model.can_tell("high-limit-trips"):
        trip_words = "no limit trip was seen"
    else:
        trip_words = f"limit trips: cannot tell here ({model.why_not('high-limit-trips')})"
    return TimeFigure(
        key="whole-log",
        title=f"{when}.",
        sentence=_capital(f"{' and '.join(said)}; {trip_words}."),
        start_ts=window.start_ts,
        end_ts=window.end_ts,
        offset_us=model.clock.offset_us(window.start_ts),
        zone_name=model.clock.name(window.start_ts),
        hours=model.clock.hours,
        panels=panels,
        tracks=tracks,
        marks=(),
        bands=tuple(
            Band(v.start_ts, v.end_ts, "service visit", "visit") for v in model.result.site.visits
        ),
        notes=(
            *notes,
            *_thinned(model),
            "Where readings are denser than the drawing, lines join the lowest and the highest "
            "of every few, so no peak is lost; looked at closely, the zoomable chart draws every "
            + ("reading." if model.thinned_to_s is None else "one that the page holds."),
            *_crowded(tracks),
            *clock_note(model, window),
        ),
    )


def _thinned(model: Model) -> tuple[str, ...]:
    if model.thinned_to_s is None:
        return ()
    every = words.duration(model.thinned_to_s)
    return (
        f"{model.n_logged:,} readings are more than a page can carry: between the minutes that the "
        f"findings show it holds the lowest and the highest of every {every}. Review a part of the "
        "log (--from, --to) to see it reading by reading.",
    )


def _crowded(tracks: tuple[Track, ...]) -> tuple[str, ...]:
    if not any(len(t.on) > LEVELS and not t.is_event for t in tracks):
        return ()
    return (
        "Where runs are closer together than the drawing, the height of a row is the share of that "
        "time it was on; looked at closely, the zoomable chart has every run.",
    )


def _capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _spans_by(model: Model, table: str, *names: str) -> dict[tuple[object, ...], Spans]:
    """Begin and end of a table's rows, by the columns named: a year has a hundred thousand."""
    frame = model.frame(table)
    if frame is None:
        return {}
    return {
        tuple(key): list(zip(own["start_ts"].tolist(), own["end_ts"].tolist(), strict=True))
        for key, own in frame.groupby(list(names), sort=False)
    }


def _runs(rows: list[dict[str, object]]) -> tuple[tuple[int, int], ...]:
    return _merged([(_ts(r["start_ts"]), _ts(r["end_ts"])) for r in rows])


def _merged(spans: Spans) -> tuple[tuple[int, int], ...]:
    out: list[tuple[int, int]] = []
    for a, b in sorted(spans):
        if out and a <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], b))
        else:
            out.append((a, b))
    return tuple(out)


def _ts(value: object) -> int:
    return int(number(value) or 0)


def _unknown(model: Model, roles: set[str], zone: int | None) -> tuple[tuple[int, int], ...]:
    own = [
        g
        for g in model.gaps()
        if text(g["role"]) in roles and (zone is None or number(g["zone"]) == zone)
    ]
    return _runs(own)


def _outputs(model: Model) -> list[Track]:
    runs = _spans_by(model, "interval.output_run", "output")
    return [
        Track(
            model.role(role), "on", "outputs", _merged(runs[(role,)]), _unknown(model, {role}, None)
        )
        for role in OUTPUT_ROLES
        if (role,) in runs
    ]


def _calls(model: Model) -> list[Track]:
    calls = _spans_by(model, "interval.call", "zone", "mode")
    out = []
    for zone in model.zone_numbers:
        for mode, word in (("heating", "heat call"), ("cooling", "cool call")):
            own = calls.get((zone, mode))
            if own:
                roles = {"zone_call_w1"} if mode == "heating" else {"zone_call_y1"}
                out.append(
                    Track(
                        f"{model.zone(zone)} {word}",
                        track_hue(model, "zone_call_w1", zone),
                        "calls",
                        _merged(own),
                        _unknown(model, roles, zone),
                    )
                )
    return out


def _trips(trips: list[dict[str, object]]) -> list[Track]:
    return [Track("Limit trips", "limit", "trips", _runs(trips), is_event=True)] if trips else []
