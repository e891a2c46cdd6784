-- one row per primary channel: how much of the window it covers
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
interval_s = "DOUBLE | s | nominal interval"
valid_s = "DOUBLE | s | time within the window in which a trusted value holds"
window_s = "DOUBLE | s | length of the window"
coverage = "DOUBLE | share | valid_s / window_s"
is_inferred = "BOOLEAN | - | no channel: read off supply and return temperature"
*/
select
    c.site_id,
    c.channel_id,
    c.role,
    c.zone,
    c.interval_s,
    (any_value(w.end_ts - w.start_ts) - coalesce(sum(g.end_ts - g.start_ts), 0))::double / 1e6 as valid_s,
    any_value(w.end_ts - w.start_ts) / 1e6 as window_s,
    valid_s / window_s as coverage,
    false as is_inferred,
from channel.channel c
join run.window w on w.site_id = c.site_id
left join trust.gap g on g.site_id = c.site_id and g.channel_id = c.channel_id
where c.is_primary and c.kind in ('analog', 'state')
group by c.site_id, c.channel_id, c.role, c.zone, c.interval_s
union all
select
    s.site_id,
    null,
    s.role,
    null,
    i.interval_s,
    sum(s.end_ts - s.start_ts)::double / 1e6,
    any_value(w.end_ts - w.start_ts) / 1e6,
    sum(s.end_ts - s.start_ts)::double / any_value(w.end_ts - w.start_ts),
    true,
from signal.state s
join run.window w on w.site_id = s.site_id
join (select site_id, any_value(interval_s) as interval_s from run_state.inferred_state group by site_id) i
    on i.site_id = s.site_id
where s.is_inferred
group by s.site_id, s.role, i.interval_s
order by site_id, channel_id, role
