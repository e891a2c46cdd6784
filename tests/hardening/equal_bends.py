"""Bends of a stage's SQL that cannot change an answer, each with the reason, checked by hand.

They are counted apart and not tried. A line here that no bend fits any more fails a test.
"""

from __future__ import annotations

# By their form, in any stage: pattern of the text with the bent part as `at`, bend, reason.
BY_FORM: tuple[tuple[str, str, str], ...] = (
    (
        r"(?P<at>\bjoin) run\.(?:threshold|site|window) (?P<t>\w+) on "
        r"(?P=t)\.site_id = \w+\.site_id\b(?!\s+and\b)",
        "join -> left join",
        "every site has one row there, so none is left without a partner",
    ),
    (
        r"// 86400000000 \+ (?P<at>1)\)",
        "1 -> 2",
        "a day more is looked at, and the day that both lie in decides as before",
    ),
    (
        r"_ts - (?P<at>1)\) // 86400000000 \+ 1\)",
        "1 -> 2",
        "another day is looked at only where a microsecond of it is meant",
    ),
    (
        r"end_ts - (?P<at>1) >= b\.start_ts",
        "1 -> 2",
        "another day is looked at only where a microsecond of it is meant",
    ),
    (
        r"_ts (?P<at>-) 1\) // 86400000000 \+ 1\)",
        "- -> +",
        "a day more is looked at, and the day that both lie in decides as before",
    ),
    (r"\bselect (?P<at>1) from\b", "1 -> 2", "within exists: that there is a row counts"),
)

# One by one: the stage, how its line and the next begin, bend, reason.
ONE_BY_ONE: tuple[tuple[str, str, str, str], ...] = (
    (
        "20_channel/24_rate",
        "join channel.channel c on",
        "join -> left join",
        "where asks for what only a partner has",
    ),
    (
        "30_trust/30_clock_reading",
        "join channel.channel c on",
        "join -> left join",
        "where asks for what only a partner has",
    ),
    (
        "30_trust/39_gap",
        "join used u on",
        "join -> left join",
        "where compares with what only a partner has",
    ),
    (
        "40_interval/65_rise",
        "asof join steady s on",
        "join -> left join",
        "where compares with what only a partner has",
    ),
    (
        "50_measure/76_runtime_split",
        "asof join interval.condition c on",
        "join -> left join",
        "where compares with what only a partner has",
    ),
    (
        "40_interval/76_source_response",
        "join bucket b on b.site_id = p.site_id where p.role = 'supply_temp'",
        "join -> left join",
        "the next join is by what only a partner has",
    ),
    (
        "50_measure/53_runtime_day",
        "join run.day d on d.site_id = s.site_id and s.start_ts < d.end_ts",
        "join -> left join",
        "every instant of the window lies in a day",
    ),
    (
        "25_run_state/29_fan_output",
        "join told t on t.site_id = s.site_id",
        "join -> left join",
        "told has a row for every site",
    ),
    (
        "35_signal/38_coverage",
        "join (select site_id, any_value(interval_s) as interval_s from run_state.inferred_state",
        "join -> left join",
        "an inferred state has the inferred states that it was made of",
    ),
    (
        "95_export/96_reading",
        "join channel.channel c on c.site_id = r.site_id",
        "join -> left join",
        "a reading is of a channel that is listed",
    ),
    (
        "50_measure/51_coverage",
        "union all select distinct site_id, role, role",
        "union all -> union",
        "no row of either part is there twice",
    ),
    (
        "50_measure/77_setting_seen",
        "union all select site_id, name, value, low, high, n_event",
        "union all -> union",
        "each part has settings of its own",
    ),
    (
        "50_measure/81_rise",
        "union all select *replace (null as n_zones",
        "union all -> union",
        "the parts differ in is_total, their rows in what they are of",
    ),
    (
        "80_view/81_log_reading",
        "union all select site_id, channel_id, end_ts, end_value, true",
        "union all -> union",
        "the parts differ in gap_after, their rows in their instant",
    ),
    (
        "95_export/96_reading",
        "union all select site_id, channel_id, end_ts from signal.piece",
        "union all -> union",
        "only asked whether a reading is in it",
    ),
    (
        "90_replay/91_above",
        "when low_inwc > level_inwc then 1",
        "> -> >=",
        "with its low end at the level the line's part above it is 1 as well",
    ),
    (
        "40_interval/47_static_piece",
        "when least(start_steady_inwc, end_steady_inwc) > ",
        "> -> >=",
        "with its low end at the level the line's part above it is 1 as well",
    ),
    (
        "40_interval/47_static_piece",
        "least(above_s, (end_ts - start_ts) / 1e6 * (low_inwc > target_inwc)::int)",
        "- -> +",
        "where the low end is above the target, above_s is all of it and the lesser one",
    ),
    (
        "40_interval/43_bridged_call",
        "true )::int as is_new",
        "true -> false",
        "groups are numbered from 0 instead of 1",
    ),
    (
        "40_interval/58_opposing_call",
        "order by m.site_id, min(m.start_ts)",
        "min( -> max(",
        "stretches do not overlap, so their order is the same",
    ),
    (
        "40_interval/63_not_keeping_up",
        "regr_slope(temp_f * sense, (ts - 1600000000000000)",
        "1600000000000000 -> 3200000000000000",
        "a slope is the same from whatever instant time is counted",
    ),
    (
        "40_interval/62_recovery",
        "where if(s.mode = 'heating', s.to_f > s.from_f",
        "> -> >=",
        "a step is never of nothing",
    ),
    (
        "50_measure/57_cycle_hour",
        "join run.day d on d.site_id = o.site_id and d.start_ts < o.end_ts and d.end_ts > ",
        "> -> >=",
        "of a day that ends as the stretch begins no hour is taken",
    ),
    *(
        (
            "40_interval/60_zone_minute",
            f"max(value) filter (role = '{role}')",
            "max( -> min(",
            "one value of a role at an instant",
        )
        for role in (
            "zone_temp",
            "zone_heat_setpoint",
            "zone_cool_setpoint",
            "supply_temp",
            "return_temp",
            "outdoor_temp",
        )
    ),
    (
        "40_interval/60_zone_minute",
        "where role in ('zone_temp', 'zone_heat_setpoint', 'zone_cool_setpoint') "
        "and end_ts - start_ts > 60000000",
        "and -> or",
        "short pieces give their minute a second time, other roles none that is read",
    ),
    *(
        (
            "70_unusual/61_logged_day",
            f"max(coalesce(g.lost_s, 0)) filter (c.what = '{role}')",
            "max( -> min(",
            "one channel of such a role",
        )
        for role in ("supply_temp", "return_temp", "static_pressure", "outdoor_temp")
    ),
    (
        "70_unusual/61_logged_day",
        "join day d on d.site_id = v.site_id and v.start_ts < d.end_ts",
        "join -> left join",
        "a visit of no day gives a row of no site, which nothing is joined to",
    ),
    (
        "50_measure/53_runtime_day",
        "join run.day d on d.site_id = r.site_id and r.start_ts >= d.start_ts",
        "join -> left join",
        "every instant of the window lies in a day",
    ),
    (
        "50_measure/67_source_day",
        "join run.day d on d.site_id = r.site_id and r.start_ts < d.end_ts",
        "join -> left join",
        "every instant of the window lies in a day",
    ),
    (
        "20_channel/23_state",
        "join channel.channel c on",
        "join -> left join",
        "where asks for what only a partner has",
    ),
    (
        "95_export/96_reading",
        "left join store.channel s on",
        "left join -> join",
        "a channel that is listed is one of the store",
    ),
    (
        "50_measure/64_zones_calling",
        "union all select",
        "union all -> union",
        "the parts differ in mode, their rows in what they are of",
    ),
    (
        "30_trust/31_minute",
        "union all select site_id, channel_id, minute_n, avg(value)",
        "union all -> union",
        "a minute is alone or one of several, in its row in either",
    ),
    (
        "40_interval/42_call",
        "union all select site_id, zone, mode, start_ts, end_ts",
        "union all -> union",
        "a zone's thermostat is of one kind",
    ),
    (
        "30_trust/39_gap",
        "), true) as is_new",
        "true -> false",
        "groups are numbered from 0 instead of 1",
    ),
    (
        "50_measure/72_equipment_stage",
        "partition by site_id, start_ts order by ts range between mean_us preceding and 1",
        "1 -> 2",
        "no two readings of a channel lie a microsecond apart",
    ),
    (
        "40_interval/41_output_run",
        "lead(is_on or is_chatter) over w as will_run",
        "or -> and",
        "read at a run's last part, which none that runs follows",
    ),
)
