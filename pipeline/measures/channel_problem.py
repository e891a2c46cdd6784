"""one row per stretch in which a channel is not to be believed, and what would correct it"""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

import pandas as pd

from pipeline.measures import (
    check_outdoor,
    check_probes,
    check_readings,
    check_states,
    check_static,
    check_zones,
)
from pipeline.measures.one_row import by_site
from pipeline.measures.trouble import Channel, Problem, SiteChannels, tuples

TABLE = "trust.problem"
STAGE = "30_trust/38"
DECLARED = """
[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
code = "VARCHAR | - | the finding that tells of it"
start_ts = "BIGINT | us | from, as near as the log shows"
end_ts = "BIGINT | us | until"
figure = "DOUBLE | as figure_unit says | the number that shows it"
figure_unit = "VARCHAR | - | store, store difference, share, times, zone or answers equipment"
n = "BIGINT | - | events that show it"
of_n = "BIGINT | - | of those that could"
is_cut = "BOOLEAN | - | its readings are taken out: a gap with the reason"
reason = "VARCHAR | - | why nothing holds there, in a few plain words"
correction = "VARCHAR | - | what its block of site.toml would have to say; null: no safe correction"
"""
READS = [
    "channel.channel",
    "channel.state",
    "store.channel",
    "trust.clock_left",
    "trust.look",
    "trust.constant",
    "trust.outlier",
    "trust.run",
    "trust.rest",
    "trust.bin",
    "run.setting",
    "run.site",
    "run.threshold",
    "run.visit",
    "run.window",
    "run.zero_shift",
    "run.zone",
    "run_state.fan_output",
]
COLUMNS = [
    "site_id",
    "channel_id",
    "role",
    "zone",
    "code",
    "start_ts",
    "end_ts",
    "figure",
    "figure_unit",
    "n",
    "of_n",
    "is_cut",
    "reason",
    "correction",
]
CHECKS = (
    check_readings.problems,
    check_probes.problems,
    check_static.problems,
    check_outdoor.problems,
    check_zones.problems,
)
WHOLE = ("unit-mismatch", "swapped-probes")
"""What makes every reading of a channel wrong, and with that explains odd ones among them."""
STAYS = {
    "unit-mismatch": (*WHOLE, "missing-readings"),  # a step in an unknown unit is no step
    "swapped-probes": (*WHOLE, "missing-readings", "log-too-coarse"),
}
"""What is still said of a channel that is wrong as a whole."""

IN_THE_HOUSE = ("zone_temp", "return_temp", "supply_temp")
BEYOND = ("sensor-out-of-range", "sensor-spikes")


def build(frames: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """One row per channel, code and stretch of each site, in (site_id, channel_id, start_ts) order.

    frames : the tables of READS, any number of sites; instants int64 UTC microseconds
    """
    limits_of = by_site(frames["run.threshold"])
    frames = {name: f for name, f in frames.items() if name != "run.threshold"}
    of_site = {name: dict(list(f.groupby("site_id", sort=False))) for name, f in frames.items()}
    empty = {name: f.iloc[:0] for name, f in frames.items()}
    rows: list[dict[str, Any]] = []
    for site_id in frames["run.window"]["site_id"]:
        tables = {n: of_site[n].get(site_id, empty[n]) for n in frames}
        site = _site(tables, {name: float(value) for name, value in limits_of[site_id].items()})
        by_id = {c.channel_id: c for c in site.channels}
        for p in found(site):
            c = by_id[p.channel_id]
            rows.append({"site_id": site_id, "role": c.role, "zone": c.zone, **asdict(p)})
    made = pd.DataFrame(rows, columns=COLUMNS)
    return made.sort_values(["site_id", "channel_id", "start_ts", "code"], ignore_index=True)


def found(site: SiteChannels) -> list[Problem]:
    """Every problem of one site; what explains another one leaves it out.

    States come first: without outputs that can be believed nobody knows when the equipment ran. A
    unit that is wrong puts readings out of range, and so does a column under another's name.
    """
    of_states = list(check_states.problems(site))
    wrong = {p.channel_id for p in of_states}
    if any(c.channel_id in wrong for c in site.channels if c.role in check_states.SOURCES):
        run = site.tables["trust.run"]
        site = replace(site, tables={**site.tables, "trust.run": run.iloc[:0]})
    others = [p for check in CHECKS for p in check(site)]
    others = _without_a_cold_house(site, others)
    whole = {(p.channel_id, p.code) for p in others if p.code in WHOLE}
    kept = [p for p in others if all(p.code in STAYS[w] for c, w in whole if c == p.channel_id)]
    return of_states + kept


def _without_a_cold_house(site: SiteChannels, problems: list[Problem]) -> list[Problem]:
    """The problems without readings too low for a room where every room has them.

    Sensors do not fail together: a house without heat for days is as cold as they say, and no
    colder than the outdoors.
    """
    of = {c.channel_id: c for c in site.channels if c.role in IN_THE_HOUSE}
    rooms = {c.channel_id for c in of.values() if c.role == "zone_temp"}
    outdoor = site.of_role("outdoor_temp")
    look = check_readings.look_of(site, outdoor) if outdoor is not None else None
    if look is None or len(rooms) < 2:
        return problems
    least_f = float(look.low_value) - site.limits["cold_house_under_f"]
    most_f = site.limits["cold_house_f"]
    cold = [
        p
        for p in problems
        if p.channel_id in of and p.code in BEYOND and least_f <= p.figure <= most_f
    ]
    if not rooms <= {p.channel_id for p in cold}:
        return problems
    return [p for p in problems if p not in cold]


def _site(tables: dict[str, pd.DataFrame], limits: dict[str, float]) -> SiteChannels:
    window = tuples(tables["run.window"])[0]
    listed = tables["channel.channel"]
    listed = listed[listed["is_primary"] & listed["kind"].isin(["analog", "state"])]
    units = dict(
        zip(tables["store.channel"]["channel_id"], tables["store.channel"]["unit"], strict=True)
    )
    channels = tuple(
        Channel(
            int(c.channel_id),
            str(c.role),
            None if pd.isna(c.zone) else int(c.zone),
            str(c.logger),
            float(c.interval_s) if pd.notna(c.interval_s) else float("nan"),
            str(units.get(c.channel_id)),
        )
        for c in tuples(listed)
    )
    site = next(iter(tables["run.site"].to_dict(orient="records")), {})
    return SiteChannels(
        tables,
        limits,
        {str(k): v for k, v in site.items()},
        int(window.start_ts),
        int(window.end_ts),
        str(window.timezone),
        channels,
    )
