"""The `run.*` tables: what the site files say, and what this run looks at.

Built once per run from the sites' files and their attached stores; the stages join them, so that
no stage reads a site file and none has a site's number written into it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import duckdb
import pandas as pd

from pipeline.errors import InputError
from pipeline.run_channels import ALWAYS_END_TS, ALWAYS_START_TS, role_rows, zero_shift_rows
from pipeline.site import Site
from pipeline.stages import put
from pipeline.tables import tables
from pipeline.thresholds import values_for
from pipeline.units import BTUH_PER_KW, MICROSECONDS

BURNER_KINDS = frozenset({"furnace_ac", "dual_fuel", "furnace"})
HEAT_PUMP_KINDS = frozenset({"heat_pump", "dual_fuel"})


@dataclass(frozen=True)
class Ask:
    """What a run was asked to look at: UTC microseconds, None for all that was logged."""

    start_ts: int | None = None
    end_ts: int | None = None


def prepare(
    con: duckdb.DuckDBPyConnection,
    sites: list[Site],
    ask: Ask | Mapping[str, Ask] | None = None,
    aligned: dict[tuple[str, str], float] | None = None,
    still_logging: Collection[str] = (),
) -> None:
    """Fill every `run.*` table for a batch of sites whose stores are attached.

    ask : of all sites alike, or by site id
    aligned : (site id, logger) -> clock offset in seconds that this run takes out because the data
        show it; what a site file gives comes before it

    Raises InputError when a site has no reading at all, or none in the window asked for.
    """
    put(con, "run.clock", _clock_frame(sites, aligned or {}))
    windows = _windows(con, sites, ask or Ask())
    rows: dict[str, list[dict[str, object]]] = {
        name: [] for name in tables() if name.startswith("run.") and name != "run.clock"
    }
    for site in sites:
        start_ts, end_ts = windows[site.id]
        rows["run.window"].append(
            {"site_id": site.id, "start_ts": start_ts, "end_ts": end_ts, "timezone": site.timezone}
        )
        rows["run.day"] += [
            {"site_id": site.id, "day": day, "start_ts": a, "end_ts": b}
            for day, a, b in local_days(site.timezone, start_ts, end_ts)
        ]
        rows["run.site"].append(_site_row(site))
        rows["run.plate"] += _plate_rows(site)
        rows["run.zone"] += _zone_rows(site)
        rows["run.setback"] += _setback_rows(site, start_ts, end_ts)
        rows["run.setting"] += _setting_rows(site)
        rows["run.visit"] += _visit_rows(con, site, site.id in still_logging)
        rows["run.reference"] += [
            {"site_id": site.id, "logger": logger}
            for logger in sorted({e.files for e in site.exports if e.reference})
        ]
        rows["run.zero_shift"] += zero_shift_rows(con, site)
        limits = values_for(site.thresholds)
        rows["run.role"] += role_rows(site, limits)
        rows["run.threshold"].append({"site_id": site.id, **limits})
    for name, records in rows.items():
        columns = None if records else [c.name for c in tables()[name].with_site]
        put(con, name, pd.DataFrame(records, columns=columns))


def _clock_frame(sites: list[Site], aligned: dict[tuple[str, str], float]) -> pd.DataFrame:
    """Clock offsets that this run takes out, one row per logger."""
    given = {
        (s.id, e.files): e.clock_offset_s for s in sites for e in s.exports if e.clock_offset_s
    }
    records = [(*key, offset_s, "align") for key, offset_s in aligned.items() if key not in given]
    records += [(*key, offset_s, "site_file") for key, offset_s in given.items()]
    return pd.DataFrame(sorted(records), columns=["site_id", "logger", "offset_s", "source"])


def local_days(timezone: str, start_ts: int, end_ts: int) -> list[tuple[dt.date, int, int]]:
    """The local days that touch [start_ts, end_ts): (date, midnight, next midnight) in UTC µs.

    A day has 23, 24 or 25 hours. Midnights that a clock change skips or repeats resolve to the
    first instant of the date.
    """
    zone = ZoneInfo(timezone)
    day = dt.datetime.fromtimestamp(start_ts / MICROSECONDS, zone).date()
    last = dt.datetime.fromtimestamp((end_ts - 1) / MICROSECONDS, zone).date()
    days = []
    while day <= last:
        following = day + dt.timedelta(days=1)
        days.append((day, _midnight_ts(day, zone), _midnight_ts(following, zone)))
        day = following
    return days


def _midnight_ts(day: dt.date, zone: ZoneInfo) -> int:
    local = dt.datetime(day.year, day.month, day.day, tzinfo=zone)
    return int(local.timestamp()) * MICROSECONDS


def _no_reading(con: duckdb.DuckDBPyConnection, site: Site) -> InputError:
    """The error of a site without a single reading: nothing is named, or nothing could be used."""
    hint = f"see what is there: zonetrail inspect {site.folder / 'exports'}"
    why = con.execute(
        "select f.path, r.line, r.reason, count(*) over (partition by r.reason) as n"
        " from store.reject r join store.file f on f.site_id = r.site_id and f.file_id = r.file_id"
        " where r.site_id = ? order by n desc, f.path, r.line limit 1",
        [site.id],
    ).fetchone()
    if site.channels and why is not None:
        path, line, reason, n = why
        return InputError(
            "none of the rows gave a reading",
            file=path,
            line=line,
            found=f"{reason} ({n:,} such rows or cells)",
            expected="at least one row with a time and a value of a channel in site.toml",
            hint=hint,
        )
    return InputError(
        "no reading of any channel that site.toml names",
        file=site.path,
        found="columns that no file has" if site.channels else "no [[channel]] at all",
        expected="[[channel]] blocks that name columns of files in exports/",
        hint=hint
        if site.channels
        else "say what each column is (a draft has them as comments marked CONFIRM); " + hint,
    )


def _windows(
    con: duckdb.DuckDBPyConnection, sites: list[Site], asked: Ask | Mapping[str, Ask]
) -> dict[str, tuple[int, int]]:
    """Per site: from the first reading of any used channel to the last, cut to what was asked."""
    logged = {
        site_id: (first, last)
        for site_id, first, last in con.execute(
            "with logged as ("
            "  select site_id, logger, first_ts, last_ts from store.channel where role <> 'ignore'"
            "  union all"
            "  select c.site_id, c.logger, min(s.start_ts), max(s.end_ts) from store.state s"
            "  join store.channel c on c.site_id = s.site_id and c.channel_id = s.channel_id"
            "  group by c.site_id, c.logger"
            ")"
            " select l.site_id,"
            "  min(l.first_ts - (coalesce(k.offset_s, 0) * 1e6)::bigint),"
            "  max(l.last_ts - (coalesce(k.offset_s, 0) * 1e6)::bigint)"
            " from logged l"
            " left join run.clock k on k.site_id = l.site_id and k.logger = l.logger"
            " group by l.site_id"
        ).fetchall()
    }
    windows = {}
    for site in sites:
        ask = asked if isinstance(asked, Ask) else asked.get(site.id, Ask())
        first, last = logged.get(site.id, (None, None))
        if first is None or last is None:
            raise _no_reading(con, site)
        start = max(first, ask.start_ts) if ask.start_ts is not None else first
        end = min(last, ask.end_ts) if ask.end_ts is not None else last
        if end <= start:
            raise _no_window(site, (first, last), ask)
        windows[site.id] = (start, end)
    return windows


def _no_window(site: Site, logged: tuple[int, int], ask: Ask) -> InputError:
    """The error of a site with no time between its first and last reading, or in what was asked."""
    at = [
        ""
        if t is None
        else f"{dt.datetime.fromtimestamp(t / MICROSECONDS, site.zone_info):%Y-%m-%d %H:%M}"
        for t in (*logged, ask.start_ts, ask.end_ts)
    ]
    if logged[0] >= logged[1]:
        return InputError(
            "the log is of one instant only, so it shows nothing over time",
            file=site.path,
            found=f"readings at {at[0]} alone ({site.timezone})",
            expected="readings over hours or days",
            hint="export the whole recording; zonetrail load says what was read of each file",
        )
    return InputError(
        "nothing was logged in the window asked for",
        file=site.path,
        found=" ".join(f"--{n} {t}" for n, t in zip(("from", "to"), at[2:], strict=True) if t),
        expected=f"--from and --to within {at[0]} to {at[1]} ({site.timezone})",
    )


def _site_row(site: Site) -> dict[str, object]:
    e = site.equipment
    return {
        "site_id": site.id,
        "name": site.name or site.id,
        "kind": e.kind,
        "has_burner": e.kind in BURNER_KINDS,
        "has_heat_pump": e.kind in HEAT_PUMP_KINDS,
        "fan_output_in_gas_heat": bool(e.fan_output_in_gas_heat),
        "ob_energised_in": e.ob_energised_in,
        "staged_by": e.staged_by or "unknown",
        "fan_on_delay_s": e.fan_on_delay_s,
        "fan_off_delay_s": e.fan_off_delay_s,
        "altitude_ft": site.altitude_ft,
        "has_economizer": bool(e.economizer),
        "defrost_heat_from": e.defrost_heat_from,
        "fan": e.fan,
        "bypass": e.bypass,
        "design_heating_f": site.design_heating_f,
        "design_cooling_f": site.design_cooling_f,
        "max_external_static_inwc": e.max_external_static_inwc,
    }


def _plate_rows(site: Site) -> list[dict[str, object]]:
    """The rating plate by source and stage; only what is given.

    The rise band and the heating outputs are those of the burner, or of the strips where there is
    no compressor heat either. A heat pump's own heating output is told by its two ratings. Strips
    of more than one stage have one output to switch them all, so their heat is not known.
    """
    e = site.equipment
    given: dict[tuple[str, str, int], dict[str, object]] = {}

    def tell(source: str, mode: str, stage: int, **values: float) -> None:
        given.setdefault((source, mode, stage), {}).update(values)

    heat = "burner" if e.kind in BURNER_KINDS else "strip"
    for stage, (low, high) in enumerate(e.temperature_rise_f or (), start=1):
        tell(heat, "heating", stage, rise_low_f=low, rise_high_f=high)
    if heat == "burner":
        for stage, output in enumerate(e.heating_output_btuh or (), start=1):
            tell("burner", "heating", stage, output_btuh=output)
    if len(e.aux_kw or ()) == 1:
        tell("strip", "heating", 1, output_btuh=(e.aux_kw or (0.0,))[0] * BTUH_PER_KW)
    for stage, output in enumerate(e.cooling_output_btuh or (), start=1):
        tell("compressor", "cooling", stage, output_btuh=output)
    rated = e.heat_pump_output_btuh or {}
    if "at_47f" in rated and "at_17f" in rated:
        # rated at full capacity: the first stage of two has none of its own
        full = 2 if (e.compressor_stages or e.cooling_stages or 1) > 1 else 1
        tell(
            "compressor",
            "heating",
            full,
            output_btuh=rated["at_47f"],
            output_17f_btuh=rated["at_17f"],
        )
    names = ("rise_low_f", "rise_high_f", "output_btuh", "output_17f_btuh")
    return [
        {"site_id": site.id, "source": source, "mode": mode, "stage": stage}
        | {name: values.get(name) for name in names}
        for (source, mode, stage), values in sorted(given.items())
    ]


def _zone_rows(site: Site) -> list[dict[str, object]]:
    """One row per zone; a zone that only a channel names is there too, under its number."""
    given = {z.number: z for z in site.zones}
    numbers = sorted(set(given) | {c.zone for c in site.channels if c.zone is not None})
    rows: list[dict[str, object]] = []
    for number in numbers:
        zone = given.get(number)
        rows.append(
            {
                "site_id": site.id,
                "zone": number,
                "name": zone.name if zone else f"Zone {number}",
                "is_relief": bool(zone.relief) if zone else False,
                "thermostat": (zone.thermostat if zone else None) or "conventional",
                "cycles_per_hour": zone.cycles_per_hour if zone else None,
                "share": zone.share if zone else None,
            }
        )
    return rows


def _setback_rows(site: Site, start_ts: int, end_ts: int) -> list[dict[str, object]]:
    """The stretches of the window in which a zone's schedule is set back, by the local clock."""
    zone_info = site.zone_info
    rows: list[dict[str, object]] = []
    first = dt.datetime.fromtimestamp(start_ts / MICROSECONDS, zone_info).date()
    last = dt.datetime.fromtimestamp((end_ts - 1) / MICROSECONDS, zone_info).date()
    for zone in site.zones:
        if zone.setback is None:
            continue
        begins, ends = (dt.time.fromisoformat(text) for text in zone.setback.split("-"))
        day = first - dt.timedelta(days=1)
        while day <= last:
            until = day if ends > begins else day + dt.timedelta(days=1)
            a, b = (
                int(dt.datetime.combine(d, t, zone_info).timestamp()) * MICROSECONDS
                for d, t in ((day, begins), (until, ends))
            )
            a, b = max(a, start_ts), min(b, end_ts)
            if a < b:
                rows.append({"site_id": site.id, "zone": zone.number, "start_ts": a, "end_ts": b})
            day += dt.timedelta(days=1)
    return rows


def _setting_rows(site: Site) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for name, value, start_ts, end_ts in site.settings_in_force():
        is_word = isinstance(value, str)
        rows.append(
            {
                "site_id": site.id,
                "name": name,
                "value": None if is_word else float(value),
                "value_text": value if is_word else None,
                "start_ts": ALWAYS_START_TS if start_ts is None else start_ts,
                "end_ts": ALWAYS_END_TS if end_ts is None else end_ts,
            }
        )
    return rows


def _visit_rows(
    con: duckdb.DuckDBPyConnection, site: Site, is_still_logging: bool
) -> list[dict[str, object]]:
    """The site file's visits; without any, the first and last minutes of each logger.

    A logger that is still in place has had no last visit.

    Those are on the run's one clock: the logger's own less the offset taken out.
    """
    if site.visits:
        return [
            {
                "site_id": site.id,
                "start_ts": v.start_ts,
                "end_ts": v.end_ts,
                "what": v.what,
                "is_assumed": False,
            }
            for v in site.visits
        ]
    limits = values_for(site.thresholds)
    first_us = int(limits["visit_first_min"] * 60 * MICROSECONDS)
    last_us = int(limits["visit_last_min"] * 60 * MICROSECONDS)
    rows: list[dict[str, object]] = []
    for logger, first, last in con.execute(
        "select c.logger,"
        "  min(c.first_ts) - (coalesce(any_value(k.offset_s), 0) * 1e6)::bigint,"
        "  max(c.last_ts) - (coalesce(any_value(k.offset_s), 0) * 1e6)::bigint"
        " from store.channel c"
        " left join run.clock k on k.site_id = c.site_id and k.logger = c.logger"
        " where c.site_id = ? and c.role <> 'ignore' group by c.logger order by c.logger",
        [site.id],
    ).fetchall():
        if first is None:
            continue
        for start_ts, end_ts, which in (
            (first, min(first + first_us, last), "first"),
            (max(last - last_us, first), last, "last"),
        ):
            if which == "last" and is_still_logging:
                continue
            rows.append(
                {
                    "site_id": site.id,
                    "start_ts": start_ts,
                    "end_ts": end_ts,
                    "what": f"may be the visit: {which} minutes of {logger}",
                    "is_assumed": True,
                }
            )
    return rows
